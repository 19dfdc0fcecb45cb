"""Every member of every closed set is known to every table and renderer that shows it."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace

import pytest
from report_factory import make_result

from spraycheck.cli import exits
from spraycheck.judge.axial import KIND_OF_LIMIT as AXIAL_KIND_OF_LIMIT
from spraycheck.judge.axial import QUANTITY
from spraycheck.judge.case import Rules
from spraycheck.judge.checks import DOUBTS, Effect, check_limit, remedy_of
from spraycheck.judge.holes import HOLE_LIMITS
from spraycheck.judge.judge import JUDGED_ON
from spraycheck.judge.layout import HOLES
from spraycheck.judge.limits import RENAMED, AxialLimits, Limits, limit_fields
from spraycheck.judge.nozzle import KINDS as AXIAL_KINDS_OF_NOZZLE
from spraycheck.judge.pattern import KIND_OF_LIMIT, PER_CARD
from spraycheck.judge.result import (
    ABOUT_PHOTO,
    Doubt,
    HoleState,
    Kind,
    MatchedBy,
    Outcome,
    Remedy,
    Verdict,
)
from spraycheck.judge.shots.comparing import Way
from spraycheck.judge.verdict import STATES
from spraycheck.report.document import result_document
from spraycheck.report.document.schema import schema_text
from spraycheck.report.looks import BADGES, CHANGE_LOOKS, LOOKS, OUTCOME_LOOKS, Sight
from spraycheck.report.model import build_report
from spraycheck.report.model.holes import count_states
from spraycheck.report.overlay import draw_overlay
from spraycheck.report.terminal import terminal_report
from spraycheck.report.words import labels
from spraycheck.report.words.findings import KINDS, doubt_text


@pytest.mark.parametrize("state", HoleState)
def test_a_hole_of_every_state_is_told_drawn_and_written(state: HoleState) -> None:
    a = make_result((state, "clear", "clear"))
    assert a.holes[0].state is state
    assert str(state) in terminal_report(build_report(a), colour=False, width=100)
    document = result_document(a)
    assert document["holes"][0]["state"] == state
    assert json.loads(json.dumps(document))["holes"][0]["state"] == state.value
    assert draw_overlay(a, max_side_px=400).ndim == 3
    assert count_states(a.holes)[state] >= 1
    assert state in LOOKS


def test_the_documents_schema_knows_exactly_these_states_and_verdicts() -> None:
    text = schema_text()
    schema = json.loads(text)
    found: list[set[str]] = []

    def walk(node: object) -> None:
        if isinstance(node, dict):
            if isinstance(node.get("enum"), list):
                found.append({str(value) for value in node["enum"] if value is not None})
            for value in node.values():
                walk(value)
        elif isinstance(node, list):
            for value in node:
                walk(value)

    walk(schema)
    assert {str(state) for state in HoleState} in found
    assert {str(verdict) for verdict in Verdict} in found


@pytest.mark.parametrize("verdict", Verdict)
def test_every_verdict_has_an_exit_code_and_is_written(verdict: Verdict) -> None:
    assert verdict in exits.OF_VERDICT
    a = make_result(("clear",) * 3, verdict=verdict)
    assert terminal_report(build_report(a), colour=False, width=100).startswith(verdict.upper())
    assert result_document(a)["verdict"] == verdict


@pytest.mark.parametrize("doubt", Doubt)
def test_every_doubt_of_a_hole_is_told_and_written(doubt: Doubt) -> None:
    a = make_result(("unsure", "clear", "clear"))
    a = replace(a, holes=(replace(a.holes[0], doubts=(doubt,)), *a.holes[1:]))
    (first, *_) = result_document(a)["holes"]
    assert first["doubts"] == [doubt.value]
    assert first["reason"] == doubt_text(doubt, "area_low_ratio")


def test_every_doubt_has_an_effect_and_words_without_blanks() -> None:
    assert set(DOUBTS) == set(Doubt) == set(labels.DOUBTS)
    for doubt in Doubt:
        for shots in (1, 3):
            words = doubt_text(doubt, "area_low_ratio", shots)
            assert words
            assert "{" not in words


def test_every_remedy_has_words_and_every_doubt_a_remedy() -> None:
    assert set(labels.REMEDIES) == set(Remedy)
    assert {remedy_of([doubt]) for doubt in Doubt} | {remedy_of([], 3)} == set(Remedy)
    assert remedy_of([Doubt.NEAR_LIMIT, Doubt.NOISE, Doubt.OVER_EDGE]) is Remedy.DRY_PHOTO


def test_the_catalogue_holds_every_kind_in_its_order_of_importance() -> None:
    assert list(KINDS) == [kind.value for kind in Kind]
    assert {kind for kind in Kind if KINDS[kind].about == "photo"} == ABOUT_PHOTO
    for kind in Kind:
        assert (KINDS[kind].about == "hole") == kind.startswith("hole-")


def test_every_limit_leads_to_a_state_or_a_finding() -> None:
    of_holes = {one.name for one in limit_fields(Limits)}
    assert set(KIND_OF_LIMIT) | {"stray_frac", "tilt_deg", "risk"} == of_holes
    assert set(HOLE_LIMITS) | {"plume"} == set(STATES)
    assert set(PER_CARD) <= of_holes
    of_axial = {one.name for one in limit_fields(AxialLimits)} - {"risk"}
    assert set(AXIAL_KIND_OF_LIMIT) == of_axial
    assert set(QUANTITY) | {"spray_angle_deg"} == of_axial
    assert of_axial | set(HOLE_LIMITS) <= set(labels.VALUES)
    assert set(RENAMED.values()) <= of_axial
    assert not set(RENAMED) & of_axial


def test_every_member_has_its_line_of_words_and_its_look() -> None:
    assert set(labels.STATES) == set(HoleState)
    assert set(LOOKS) == {*HoleState, *Sight}
    assert set(labels.VERDICTS) == set(BADGES) == set(Verdict)
    assert set(labels.OUTCOMES) == set(OUTCOME_LOOKS) == set(Outcome)
    assert set(labels.MATCHED_BY) == set(MatchedBy)
    assert set(labels.CHANGES) == set(Way)
    assert set(CHANGE_LOOKS) <= set(Way)
    every_limit = {one.name for kind in (Limits, AxialLimits) for one in limit_fields(kind)}
    assert set(labels.LIMITS) == every_limit


def test_every_kind_of_nozzle_is_judged() -> None:
    assert set(JUDGED_ON) == {HOLES, *AXIAL_KINDS_OF_NOZZLE}


@pytest.mark.parametrize("doubt", Doubt)
def test_what_a_doubt_does_to_a_check(doubt: Doubt) -> None:
    check = check_limit("direction_deg", 9.0, 0.5, Limits(), doubts=(doubt,))
    withheld = DOUBTS[doubt][0] in (Effect.WITHHELD, Effect.WAIVED)
    assert (check.probability == check.probability) != withheld  # NaN is not itself


def test_the_rules_to_be_studied_can_all_be_switched_off() -> None:
    off = Rules(fading_light=False, exchanged_holes=False, centre_shift=False)
    assert replace(off, fading_light=True) != off
    assert Rules() == Rules(fading_light=True, exchanged_holes=True, centre_shift=True)


MOST_MODULES = 90
"""Modules of the package that a plain sheet loads; the aim is below 40 when every room is rebuilt
(89 when the judge was, 23 of them its own)."""


def test_a_plain_sheet_loads_no_more_modules_than_it_needs() -> None:
    code = (
        "import sys, numpy as np\n"
        "from spraycheck import measure_photo\n"
        "from spraycheck.errors import SprayCheckError\n"
        "import spraycheck.pipeline, spraycheck.judge.matched\n"
        "try: measure_photo(np.full((300, 400, 3), 190, np.uint8), holes=4)\n"
        "except SprayCheckError: pass\n"
        "print(*sorted(m for m in sys.modules if m.split('.')[0] == 'spraycheck'))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = done.stdout.split()
    assert len(loaded) <= MOST_MODULES, loaded
    assert sum(name.startswith("spraycheck.judge") for name in loaded) <= 23
    for seldom in ("judge.axial", "judge.shots", "spray.axial.measure", "report"):
        assert f"spraycheck.{seldom}" not in loaded
