"""Where the user's own files lie, on each system, and that nothing is made by asking."""

from __future__ import annotations

from pathlib import Path

import pytest

from spraycheck.nozzles.nozzle_library import user_folder
from spraycheck.train.quiz.results_file import default_results
from spraycheck.user_folders import data_folder, settings_folder


@pytest.mark.parametrize(
    ("system", "environ", "settings", "data"),
    [
        ("linux", {}, ".config", ".local/share"),
        ("linux", {"XDG_CONFIG_HOME": "{home}/c", "XDG_DATA_HOME": "{home}/d"}, "c", "d"),
        ("linux", {"XDG_CONFIG_HOME": "c", "XDG_DATA_HOME": ""}, ".config", ".local/share"),
        ("linux", {"APPDATA": "{home}/a", "LOCALAPPDATA": "{home}/l"}, ".config", ".local/share"),
        ("darwin", {"XDG_DATA_HOME": "{home}/d"}, *["Library/Application Support"] * 2),
        ("win32", {"APPDATA": "{home}/a", "LOCALAPPDATA": "{home}/l"}, "a", "l"),
        ("win32", {}, "AppData/Roaming", "AppData/Local"),
    ],
)
def test_each_system_has_its_places(
    system: str,
    environ: dict[str, str],
    settings: str,
    data: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sys.platform", system)
    given = {name: value.format(home=tmp_path) for name, value in environ.items()}
    given["HOME"] = str(tmp_path)
    assert settings_folder(given) == tmp_path / settings / "spraycheck"
    assert data_folder(given) == tmp_path / data / "spraycheck"
    assert not list(tmp_path.iterdir())


def test_nozzles_are_settings_and_results_are_data(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    for name in ("HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    assert user_folder({"HOME": str(tmp_path)}) == tmp_path / ".config" / "spraycheck" / "nozzles"
    assert default_results() == tmp_path / "spraycheck" / "quiz.jsonl"
