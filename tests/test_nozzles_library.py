from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.nozzles import nozzle_library as library
from spraycheck.nozzles.nozzle_library import (
    EXAMPLES,
    Library,
    NozzleFolder,
    folder_for_new,
    open_library,
)
from spraycheck.nozzles.read import read_nozzle

FOUR = "holes = 4\n"


def folder_of(path: Path, *names: str) -> Path:
    path.mkdir(parents=True, exist_ok=True)
    for name in names:
        (path / f"{name}.toml").write_text(FOUR)
    return path


def library_of(folder: Path) -> Library:
    return open_library(str(folder), {})


# -- which folder


def test_option_before_variable_before_settings(tmp_path: Path) -> None:
    for name in ("option", "variable", "settings/spraycheck/nozzles"):
        folder_of(tmp_path / name, name.split("/")[0])
    environ = {"XDG_CONFIG_HOME": str(tmp_path / "settings"), "HOME": str(tmp_path)}
    environ["APPDATA"] = environ["XDG_CONFIG_HOME"]
    told = environ | {"SPRAYCHECK_NOZZLES": str(tmp_path / "variable")}
    for asked, where, name, origin in (
        (str(tmp_path / "option"), told, "option", "--nozzles"),
        (None, told, "variable", "SPRAYCHECK_NOZZLES"),
    ):
        own, shipped = open_library(asked, where).folders
        assert (own.names(), own.origin) == ([name], origin)
        assert shipped.path == EXAMPLES
    settings = library.user_folder(environ)
    folder_of(settings, "mine")
    assert "mine" in open_library(None, environ).folders[0].names()
    assert "mine" in open_library(None, environ | {"SPRAYCHECK_NOZZLES": ""}).folders[0].names()
    nobody = {"HOME": str(tmp_path / "nobody"), "XDG_CONFIG_HOME": "", "APPDATA": str(tmp_path)}
    assert [folder.path for folder in open_library(None, nobody).folders] == [EXAMPLES]


def test_a_folder_that_was_named_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"--nozzles .* is no folder"):
        open_library(str(tmp_path / "gone"), {})
    with pytest.raises(InputError, match=r"SPRAYCHECK_NOZZLES .* is no folder"):
        open_library(None, {"SPRAYCHECK_NOZZLES": str(tmp_path / "gone")})


def test_where_a_new_file_goes(tmp_path: Path) -> None:
    environ = {"HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path / "s")}
    environ["APPDATA"] = environ["XDG_CONFIG_HOME"]
    own = folder_for_new(None, environ)
    assert own.is_dir()
    assert own == library.user_folder(environ)
    assert folder_for_new(str(tmp_path), environ) == tmp_path
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="cannot be made"):
        folder_for_new(None, environ | {n: str(tmp_path / "file") for n in environ})


# -- by name


def test_the_users_nozzle_goes_before_the_shipped_one(tmp_path: Path) -> None:
    (tmp_path / "even-4.toml").write_text('name = "mine"\nholes = 4\n')
    found = library_of(tmp_path)
    assert found.read("even-4").name == "mine"
    assert found.read("even-6").layout.azimuth_deg == Layout.evenly_spread(6).azimuth_deg
    origins = [folder.origin for folder, name in found if name == "even-4"]
    assert origins == ["--nozzles"]


@pytest.mark.parametrize(
    "asked", ["lorry A", "Lorry_A", "lorry-a", " LORRY  A ", "lorry A.toml", "lorry a.toml"]
)
def test_spelling_is_forgiven_where_it_leaves_one_answer(tmp_path: Path, asked: str) -> None:
    found = library_of(folder_of(tmp_path, "lorry A", "lorry AB"))
    assert found.path_of(asked) == tmp_path / "lorry A.toml"


def test_a_name_that_can_mean_two_is_refused(tmp_path: Path) -> None:
    found = library_of(folder_of(tmp_path, "lorry-A", "lorry_A"))
    assert found.path_of("lorry_A").name == "lorry_A.toml"
    with pytest.raises(InputError, match=r"can mean lorry-A or lorry_A in .*, expected one"):
        found.path_of("lorry a")


def test_an_unknown_name_offers_the_closest(tmp_path: Path) -> None:
    found = library_of(folder_of(tmp_path, "lorry-A", "lorry-B", "tractor"))
    with pytest.raises(InputError, match="did you mean lorry-B or lorry-A"):
        found.path_of("lorryB")
    with pytest.raises(InputError, match="nozzle list names them all"):
        found.path_of("qqqqqq")


@pytest.mark.parametrize(
    "name",
    ["", " ", ".", "..", "../even-4", "/etc/hostname", "a/b", "a\\b", "..\\x", "C:x", ".hidden",
     "x\0y", "x\ny", "~/x", "x\x1b[31m"],
)  # fmt: skip
def test_a_path_is_no_name(tmp_path: Path, name: str) -> None:
    folder_of(tmp_path, "even-4")
    folder_of(tmp_path / "in/a", "b")
    with pytest.raises(InputError, match="is no name, expected") as caught:
        library_of(tmp_path / "in").path_of(name)
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)


def test_links_may_not_lead_out_of_the_folder(tmp_path: Path) -> None:
    inside = folder_of(tmp_path / "in", "real")
    folder_of(tmp_path / "out", "secret")
    os.symlink("real.toml", inside / "alias.toml")
    os.symlink(tmp_path / "out/secret.toml", inside / "leak.toml")
    os.symlink("../out/secret.toml", inside / "sly.toml")
    os.symlink("round.toml", inside / "round.toml")
    os.symlink("nowhere.toml", inside / "gone.toml")
    (inside / "folder.toml").mkdir()
    found = library_of(inside)
    assert found.read("alias").layout == Layout.evenly_spread(4)
    for name, said in (
        ("leak", "leads out of its folder"),
        ("sly", "leads out of its folder"),
        ("round", "cannot be read"),
        ("gone", "cannot be read"),
        ("folder", "no ordinary file"),
    ):
        with pytest.raises(InputError, match=said):
            found.path_of(name)
    os.symlink(inside, tmp_path / "linked")  # the folder itself may be a link
    assert library_of(tmp_path / "linked").read("real").layout == Layout.evenly_spread(4)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(InputError, match="no ordinary file"):
        library_of(tmp_path).path_of("pipe")


def test_a_name_is_found_without_opening_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder_of(tmp_path, *(f"n{k}" for k in range(200)))
    opened: list[str] = []

    def read(path: Path, **options: Any) -> object:
        opened.append(path.stem)
        return read_nozzle(path, **options)

    monkeypatch.setattr(library, "read_nozzle", read)
    library_of(tmp_path).read("n150")
    library_of(tmp_path).read("N_17".replace("_", ""))
    with pytest.raises(InputError, match="did you mean"):
        library_of(tmp_path).read("n1500")
    assert opened == ["n150", "n17"]


def test_numbers_in_names_sort_as_numbers(tmp_path: Path) -> None:
    folder = NozzleFolder(path=folder_of(tmp_path, "b2", "b10", "A3", "10"), origin="")
    assert folder.names() == ["10", "A3", "b2", "b10"]


def test_an_unreadable_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        NozzleFolder(path=tmp_path / "gone", origin="").names()


# -- the shipped examples


def test_the_shipped_examples() -> None:
    found = open_library(None, {"HOME": "/nowhere", "APPDATA": "/nowhere"})
    nozzles = {name: found.read(name) for _, name in found}
    even = {f"even-{n}": n for n in range(3, 11)}
    assert set(nozzles) == {*even, "slanted-5", "two-row-8", "pintle", "single-hole"}
    for name, count in even.items():
        assert len(nozzles[name].layout) == count
        assert nozzles[name].layout.even
    assert len(nozzles["slanted-5"].layout) == 5
    assert nozzles["slanted-5"].layout.counts_from == "dowel"
    assert set(nozzles["two-row-8"].layout.row) == {1, 2}
    assert {nozzles[name].kind for name in ("pintle", "single-hole")} == {"pintle", "single-hole"}
    for nozzle in nozzles.values():
        assert "invented example" in nozzle.name
        nozzle.limits_under()
    opening, hold = nozzles["even-4"].opening, nozzles["even-4"].seat_hold
    assert opening is not None
    assert hold is not None
    assert (opening.value, hold.value, opening.unit) == (2800, 2500, "psi")
    assert opening.source == hold.source == "common practice, no source"
    for path in EXAMPLES.iterdir():
        assert path.read_text().startswith("# An invented example, not any maker's nozzle")
