"""The comparison with the freeze can fail: what is changed by hand in a copy is told."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from golden.compare import summary
from golden.differences import Compared, compare
from golden.documents import Golden, goldens
from golden.renamed import RENAMED
from golden.tolerances import RULES, SHARE, tolerance

SAMPLES = {golden.name: golden for golden in goldens(["samples", "small", "batch"])}
SLANTED = SAMPLES["good-slanted-view with its sheet"]
WEAK = SAMPLES["two-faults-of-four"]
NOTHING: dict[str, dict[str, str]] = {sort: {} for sort in RENAMED}

Change = Callable[[dict[str, Any]], object]


def changed(golden: Golden, change: Change, **options: Any) -> Compared:
    document = copy.deepcopy(golden.document)
    change(document)
    options = {"renamed": NOTHING, "explained": {}, **options}
    return compare(golden, replace(golden, document=document), **options)


def told(compared: Compared) -> list[str]:
    return [f"{d.sort} {d.place}" for d in compared.differences if d.fails]


def put(*path: Any) -> Change:
    """Set the value at a path; a function changes what stands there."""
    *steps, last, value = path

    def change(document: dict[str, Any]) -> None:
        holder: Any = document
        for step in steps:
            holder = holder[step]
        holder[last] = value(holder[last]) if callable(value) else value

    return change


@pytest.mark.parametrize("golden", SAMPLES.values(), ids=lambda golden: golden.title)
def test_a_frozen_answer_is_like_itself(golden: Golden) -> None:
    compared = changed(golden, lambda _: None)
    assert compared.differences == ()
    assert compared.moved == 0


@pytest.mark.parametrize(
    ("golden", "change", "expected"),
    [
        (SLANTED, put("verdict", "recheck"), ["verdict verdict"]),
        (SLANTED, put("holes", 2, "state", "unsure"), ["state holes[3].state"]),
        (WEAK, put("findings", 0, "code", "hole-heavy"), ["code findings.codes"]),
        (WEAK, put("findings", lambda f: f[::-1]), ["code findings.codes"]),
        (SLANTED, put("card", "flags", lambda f: [*f, "oblique-view"]), ["flag card.flags"]),
        (SLANTED, put("plumes", 1, "area_mm2", None), ["value plumes[2].area_mm2"]),
        (SLANTED, put("limits", "risk", "value", 0.0501), ["number limits.risk.value"]),
        (SLANTED, lambda d: d["plumes"][1].pop("reach_mm"), ["missing plumes[2].reach_mm"]),
        (
            SLANTED,
            lambda d: d["holes"].pop(1),
            ["missing holes[2]", "value holes.count"],
        ),
        (SLANTED, put("holes", 0, "reason", "other words"), []),
        (SLANTED, put("card", "new_key", 1), []),
        (SAMPLES["manifest"], put("photos", 0, "holes_weak", 3), ["value photos[axial-004"]),
        (SAMPLES["manifest"], put("holes", 0, "state", "weak"), ["state holes[card-4801"]),
    ],
)  # fmt: skip
def test_what_is_not_a_number_compares_exactly(
    golden: Golden, change: Change, expected: list[str]
) -> None:
    found = told(changed(golden, change))
    assert len(found) == len(expected)
    assert all(one.startswith(start) for one, start in zip(found, expected, strict=True))


def test_exit_code_and_error_compare_exactly() -> None:
    other = compare(SLANTED, replace(SLANTED, code=3, raised="PhotoError"), explained={})
    assert told(other) == ["verdict exit code", "verdict raised"]


@pytest.mark.parametrize(
    ("key", "u"),
    [
        (("plumes", 2, "direction_deg"), ("plumes", 2, "direction_u_deg")),
        (("plumes", 2, "area_mm2"), ("plumes", 2, "area_u_mm2")),
        (("plumes", 2, "area_frac"), ("plumes", 2, "area_u_frac")),
        (("plumes", 2, "reach_mm"), ("centre", "u_mm")),
        (("plumes", 2, "centroid_px", 1), ("centre", "u_px")),
        (("centre", "x_mm"), ("centre", "u_mm")),
        (("centre", "y_px"), ("centre", "u_px")),
        (("holes", 2, "deviation_deg"), ("holes", 2, "deviation_u_deg")),
        (("holes", 2, "expected_deg"), ("rotation_u_deg",)),
        (("holes", 2, "area_ratio"), ("holes", 2, "area_ratio_u")),
    ],
)
def test_a_number_may_move_by_a_tenth_of_its_uncertainty(
    key: tuple[Any, ...], u: tuple[Any, ...]
) -> None:
    own: Any = SLANTED.document
    for step in u:
        own = own[step]
    for share, fails in ((0.09, False), (-0.09, False), (0.11, True), (-0.11, True)):
        step = share * own
        found = changed(SLANTED, put(*key, lambda value, step=step: value + step))
        assert found.moved == 1
        assert bool(told(found)) == fails, (key, share)
        assert max(found.ratios.values()) == pytest.approx(abs(share) / SHARE)


def test_directions_close_round_the_circle() -> None:
    near = put("plumes", 2, "direction_deg", lambda value: value - 360.0)
    assert told(changed(SLANTED, near)) == []


def test_what_has_no_uncertainty_moves_by_little() -> None:
    ragged = put("plumes", 0, "raggedness", lambda value: 1.02 * value)
    assert told(changed(SLANTED, ragged)) == ["number plumes[1].raggedness"]
    wider = put("plumes", 0, "direction_u_deg", lambda value: 1.06 * value)
    assert told(changed(SLANTED, wider)) == ["number plumes[1].direction_u_deg"]
    likely = put("holes", 0, "probability", lambda value: value - 0.1)
    assert told(changed(SLANTED, likely)) == ["number holes[1].probability"]


@pytest.mark.parametrize("name", ["axial-001", "axial-004", "shots-000", "shots-010"])
def test_every_number_of_the_other_documents_is_held(name: str) -> None:
    """Each number, moved by its whole size and more, is told."""
    golden = SAMPLES[name]

    def shift(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: shift(item) for key, item in value.items()}
        if isinstance(value, list):
            return [shift(item) for item in value]
        return value * 1.5 + 77.0 if isinstance(value, float) else value

    compared = changed(golden, lambda d: d.update(shift(copy.deepcopy(d))))
    assert compared.numbers > 100
    assert compared.moved == compared.numbers
    assert sum(d.sort == "number" for d in compared.differences) == compared.numbers


def test_a_renamed_key_is_found_and_still_compared() -> None:
    def rename(document: dict[str, Any]) -> None:
        for plume in document["plumes"]:
            plume["outer_radius_mm"] = plume.pop("reach_mm")
        document["holes"][0]["state"] = "fine"

    renamed = NOTHING | {
        "key": {"plumes.reach_mm": "plumes.outer_radius_mm"},
        "word": {"clear": "fine"},
    }
    count = len(SLANTED.document["plumes"])
    plain = changed(SLANTED, rename)
    assert sum(d.sort == "missing" for d in plain.differences) == count
    assert sum(d.sort == "added" for d in plain.differences) == count
    # The other holes are not called by the new word.
    told_now = told(changed(SLANTED, rename, renamed=renamed))
    assert told_now == [f"state holes[{k}].state" for k in range(2, count + 1)]


def test_a_part_that_moved_elsewhere_is_found() -> None:
    def move(document: dict[str, Any]) -> None:
        document["spray"] = {"rows": document.pop("plumes")}

    renamed = NOTHING | {"key": {"plumes": "spray.rows"}}
    # Rows lie in a list of their own name now: their places go with the last part.
    assert [d for d in told(changed(SLANTED, move, renamed=renamed)) if "[" not in d] == []


def test_what_is_explained_does_not_fail_but_is_told() -> None:
    change = put("holes", 2, "state", "unsure")
    why = {"samples/good-*": {"holes.state": "the number judged is the number shown"}}
    found = changed(SLANTED, change, explained=why)
    assert told(found) == []
    assert [d.reason for d in found.differences] == list(why["samples/good-*"].values())
    table = summary([(SLANTED, found)])
    assert table.splitlines()[1].split()[-1] == "1"


def test_the_summary_counts_and_names_what_moved() -> None:
    def change(document: dict[str, Any]) -> None:
        document["verdict"] = "fail"
        document["plumes"][0]["direction_deg"] += 3.0

    table = summary([(SLANTED, changed(SLANTED, change)), (WEAK, None)])
    assert f"{SLANTED.document['verdict']} -> fail (1)" in table
    assert "plumes.direction_deg" in table


def test_every_rule_is_for_a_number_that_is_there() -> None:
    keys = {f".{key}" for golden in goldens() for key in compare(golden, golden).keys}
    assert [end for end in RULES if not any(key.endswith(f".{end}") for key in keys)] == []


def test_a_tolerance_is_never_nothing() -> None:
    assert tolerance("plumes.drops_frac", 0.0, ()) > 0
    assert tolerance("limits.risk.value", 0.0, ()) > 0
