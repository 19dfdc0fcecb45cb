"""Strip and rebuild checklist: the shipped list, a shop's own, and what is missing."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

import spraycheck.bench
from spraycheck.bench.checklist import (
    SHIPPED,
    ChecklistEntry,
    Condition,
    Gap,
    Torque,
    changes_of,
    find_gaps,
    read_checklist,
)
from spraycheck.errors import InputError
from spraycheck.judge.injector import ChangeKind
from spraycheck.units import TorqueUnit

MAKER = Torque(value=70, unit=TorqueUnit.NM, source="invented data sheet")


def finished() -> list[ChecklistEntry]:
    return [
        ChecklistEntry(
            key=part.key,
            condition=Condition.GOOD,
            replaced=part.always_new,
            torque=MAKER if part.torque else None,
        )
        for part in read_checklist().part
    ]


def changed(key: str, **more: Any) -> list[ChecklistEntry]:
    return [ChecklistEntry(key=key, **more) if one.key == key else one for one in finished()]


def test_the_shipped_list_has_every_part_in_the_order_of_the_work() -> None:
    parts = read_checklist().part
    assert [part.key for part in parts] == [
        "body", "return-passage", "spacer", "spring", "spring-seat", "separator-plate",
        "needle-and-body", "retaining-nut", "seals", "washer",
    ]  # fmt: skip
    assert [part.key for part in parts if part.always_new] == ["seals", "washer"]
    assert [part.key for part in parts if part.torque] == ["retaining-nut"]
    (pair,) = (part for part in parts if part.pair)
    assert "slides down freely by its own weight" in pair.look_for
    assert "locating pins" in {part.key: part for part in parts}["separator-plate"].name


def test_a_finished_list_has_no_gaps_and_an_empty_one_all() -> None:
    assert find_gaps(read_checklist(), finished()) == ()
    gaps = find_gaps(read_checklist(), [])
    assert {key for key, _ in gaps} == {part.key for part in read_checklist().part}
    assert ("retaining-nut", Gap.NO_TORQUE) in gaps


@pytest.mark.parametrize(
    ("entries", "gaps"),
    [
        (changed("body"), [("body", Gap.NOT_LOOKED_AT)]),
        (changed("body", replaced=True), []),
        (changed("seals", condition=Condition.GOOD), [("seals", Gap.NOT_RENEWED)]),
        (changed("retaining-nut", condition=Condition.GOOD), [("retaining-nut", Gap.NO_TORQUE)]),
        (changed("spring", condition=Condition.WORN), [("spring", Gap.STILL_BAD)]),
        (changed("spring", condition=Condition.WORN, replaced=True), []),
        (changed("spring", condition=Condition.CLEANED), []),
    ],
)
def test_what_is_missing(entries: list[ChecklistEntry], gaps: list[tuple[str, Gap]]) -> None:
    assert list(find_gaps(read_checklist(), entries)) == gaps


def test_a_rebuild_outdates_the_injectors_checks() -> None:
    assert changes_of([], 7) == ()
    (opened,) = changes_of(finished(), 7)
    assert (opened.kind, opened.entry) == (ChangeKind.PART, 7)
    (spacer,) = changes_of([ChecklistEntry(key="spacer", replaced=True)], 8)
    assert spacer.kind is ChangeKind.SPACER


def test_a_shop_edits_a_copy(tmp_path: Path) -> None:
    own = tmp_path / "ours.toml"
    shutil.copy(Path(spraycheck.bench.__file__).with_name(SHIPPED), own)
    assert read_checklist(own) == read_checklist()
    own.write_text(own.read_text() + '\n[[part]]\nkey = "plug"\nname = "return plug"\n')
    assert read_checklist(own).part[-1].name == "return plug"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "missing required field"),
        ("name = 3", "Expected `str`"),
        ('name = "x"\npart = []', "no part"),
        ('name = "x"\n[[part]]\nkey = "a"\nnmae = "b"', "nmae"),
        ('name = "x"\n[[part]]\nkey = "a"', "missing required field `name`"),
        ('name = "x"\n[[part]]\nkey = "A b"\nname = "b"', "key 'A b'"),
        ('name = "x"\n' + 2 * '[[part]]\nkey = "a"\nname = "b"\n', "key 'a'"),
        ("name = ", "ours.toml"),
        ("#" * 100_001, "more than"),
    ],
)
def test_a_broken_list_is_refused_by_name(tmp_path: Path, text: str, message: str) -> None:
    own = tmp_path / "ours.toml"
    own.write_text(text)
    with pytest.raises(InputError, match=message) as caught:
        read_checklist(own)
    assert "ours.toml" in str(caught.value)


def test_a_list_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "latin.toml").write_bytes(b'name = "\xe9"')
    for path in (tmp_path / "absent.toml", tmp_path, tmp_path / "latin.toml"):
        with pytest.raises(InputError, match="expected"):
            read_checklist(path)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Torque(value=70, unit=TorqueUnit.NM, source=" "), "do not tighten"),
        (lambda: Torque(value=-7, unit=TorqueUnit.NM, source="x"), "expected 0.1 to 1000"),
        (lambda: Torque(value=7000, unit=TorqueUnit.KGF_M, source="x"), "expected 0.1 to 1000"),
        (lambda: find_gaps(read_checklist(), [ChecklistEntry(key="pump")]), "not on the list"),
        (lambda: find_gaps(read_checklist(), [ChecklistEntry(key="body")] * 2), "there twice"),
    ],
)
def test_what_cannot_be_is_refused(make: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        make()
