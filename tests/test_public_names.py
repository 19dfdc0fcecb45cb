from __future__ import annotations

import subprocess
import sys

import pytest

import spraycheck

PUBLIC = {
    *("measure_photo", "read_photo", "photo_from_array"),
    *("read_layout", "read_nozzle", "read_limits"),
    *("Photo", "CardSpec", "Layout", "Limits", "Result", "Pipeline"),
    *("Standoff", "SprayTime", "find_card"),
    *("rectify_card", "map_wetness", "locate_centre", "segment_plumes", "measure_plumes"),
    *("check_spray", "decide_case"),
    *("WetnessSettings", "PlumeSettings", "MeasureSettings"),
    *("combine_shots", "compare_cards"),
    *("AxialNozzle", "AxialLimits"),
    *("SprayCheckError", "InputError", "PhotoError", "LayoutError", "ArchiveError"),
    *("MeasurementError", "PhotoQualityError", "CardNotFoundError", "SprayNotFoundError"),
    "CentreNotFoundError",
    "__version__",
}
# Written down a second time on purpose: a public name is a promise.

HEAVY = ("numpy", "cv2", "scipy", "skimage", "matplotlib", "rich", "PIL", "msgspec")


def run(code: str) -> str:
    # A process of its own: in this one everything is imported already.
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    return done.stdout.strip()


def test_the_public_names_are_these() -> None:
    assert set(spraycheck.__all__) == PUBLIC
    assert list(spraycheck.__all__) == sorted(spraycheck.__all__)
    assert set(dir(spraycheck)) >= PUBLIC


@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_every_public_name_is_there_and_documented(name: str) -> None:
    value = getattr(spraycheck, name)
    assert value is getattr(spraycheck, name)
    if name == "__version__":
        assert value.count(".") == 2
    else:
        assert value.__name__ == name
        assert value.__doc__


def test_unknown_names_are_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'measure_phto'"):
        _ = spraycheck.measure_phto


def test_star_import_gives_them_all() -> None:
    names = run(
        "from spraycheck import *; print(' '.join(sorted(n for n in dir() if n[0] != '_')))"
    )
    assert set(names.split()) == PUBLIC - {"__version__"}


@pytest.mark.parametrize(
    "code",
    [
        "import spraycheck",
        "from spraycheck.cli.main import build_parser; build_parser().format_help()",
        "from spraycheck import SprayCheckError",
        "import spraycheck.__main__",
    ],
)
def test_nothing_heavy_is_imported_early(code: str) -> None:
    found = run(f"import sys; {code}; print([m for m in {HEAVY!r} if m in sys.modules])")
    assert found == "[]"


def test_the_check_above_can_fail() -> None:
    found = run(
        "import sys; from spraycheck import Photo; "
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    assert "numpy" in found


def test_the_version_is_that_of_the_package() -> None:
    import tomllib
    from pathlib import Path

    project = tomllib.loads((Path(__file__).parent.parent / "pyproject.toml").read_text("utf-8"))
    assert spraycheck.__version__ == project["project"]["version"]
