"""The injector's verdict over the history of its checks and changes."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from spraycheck.bench.leakage import PUBLISHED_BACK_LEAKAGE
from spraycheck.bench.specification import BenchSpecification
from spraycheck.errors import InputError
from spraycheck.judge.injector import (
    REQUIRED,
    STANDINGS,
    BenchRecord,
    BenchTest,
    Change,
    ChangeKind,
    InjectorRuling,
    InjectorVerdict,
    Standing,
    judge_injector,
)
from spraycheck.judge.result import Verdict

WORDS = {"p": Verdict.PASS, "f": Verdict.FAIL, "r": Verdict.RECHECK}
TESTS = {"O": BenchTest.OPENING, "P": BenchTest.PATTERN, "B": BenchTest.BACK_LEAKAGE}


def judge(story: str, **more: Any) -> InjectorRuling:
    """Judge a story of entries.

    ``Op`` is an opening pressure that passes, ``H1f`` a hold from entry 1 that fails, ``S`` a new
    spacer, ``N`` a new part.
    """
    records, changes = [], []
    for entry, word in enumerate(story.split(), start=1):
        if word in ("S", "N"):
            kind = ChangeKind.SPACER if word == "S" else ChangeKind.PART
            changes.append(Change(kind=kind, entry=entry))
        elif word[0] == "H":
            records.append(
                BenchRecord(
                    test=BenchTest.HOLD, verdict=WORDS[word[-1]], entry=entry,
                    opening_entry=int(word[1:-1]),
                )
            )  # fmt: skip
        else:
            records.append(BenchRecord(test=TESTS[word[0]], verdict=WORDS[word[1]], entry=entry))
    return judge_injector(records, changes, **more)


@pytest.mark.parametrize(
    ("story", "verdict", "missing", "outdated", "unsettled"),
    [
        ("", "open", "OHP", "", ""),
        ("Op", "open", "HP", "", ""),
        ("Op H1p", "open", "P", "", ""),
        ("Op H1p Pp", "pass", "", "", ""),
        ("Pp Op H2p", "pass", "", "", ""),
        ("Op H1r Pp", "open", "", "", "H"),
        ("Op H1f Pp", "fail", "", "", ""),
        ("Of", "fail", "HP", "", ""),
        ("Of Pr", "fail", "H", "", "P"),
        # a new spacer or part outdates everything before it, failures too
        ("Op H1p Pp S", "open", "", "OHP", ""),
        ("Of S Op", "open", "HP", "", ""),
        ("Of S Op H3p Pp", "pass", "", "", ""),
        ("Op H1p Pp S Op", "open", "", "HP", ""),
        ("Op H1p Pp N Op H5p", "open", "", "P", ""),
        ("Op H1p Pp N Op H5p Pp", "pass", "", "", ""),
        ("Op H1p Pp N Op H5p Pp S", "open", "", "OHP", ""),
        # a hold taken from an opening pressure that was read again is outdated
        ("Op H1p Pp Op", "open", "", "H", ""),
        ("Op H1p Pp Op H4p", "pass", "", "", ""),
        ("Op Op H1p Pp", "open", "", "H", ""),
        ("Op H1f Pp Op", "open", "", "H", ""),
        # from one before the change, even if held after it
        ("Op S H1p Pp", "open", "", "OH", ""),
        # the latest counts
        ("Op H1f H1p Pp", "pass", "", "", ""),
        ("Op H1p Pp Pf", "fail", "", "", ""),
    ],
)
def test_stories(story: str, verdict: str, missing: str, outdated: str, unsettled: str) -> None:
    letters = {BenchTest.OPENING: "O", BenchTest.HOLD: "H", BenchTest.PATTERN: "P"}
    ruling = judge(story)
    assert ruling.verdict == verdict
    for standing, expected in (
        (Standing.MISSING, missing),
        (Standing.OUTDATED, outdated),
        (Standing.UNSETTLED, unsettled),
    ):
        assert "".join(letters[test] for test in ruling.that_are(standing)) == expected


def test_a_pass_after_a_failure_without_a_change_is_pointed_out() -> None:
    repeated = {one.test for one in judge("Op H1f H1p Pp").standings if one.repeated}
    assert repeated == {BenchTest.HOLD}
    assert not any(one.repeated for one in judge("Of S Op H3p Pp").standings)


def test_a_check_that_is_not_required_is_told_but_decides_nothing() -> None:
    ruling = judge("Op H1p Pp Bf")
    assert ruling.verdict is InjectorVerdict.PASS
    assert [one.test for one in ruling.standings] == [
        BenchTest.OPENING, BenchTest.HOLD, BenchTest.BACK_LEAKAGE, BenchTest.PATTERN
    ]  # fmt: skip
    with_leakage = BenchSpecification(back_leakage=PUBLISHED_BACK_LEAKAGE).required
    assert set(with_leakage) == {*REQUIRED, BenchTest.BACK_LEAKAGE}
    assert judge("Op H1p Pp Bf", required=with_leakage).verdict is InjectorVerdict.FAIL
    assert judge("Op H1p Pp", required=with_leakage).verdict is InjectorVerdict.OPEN
    assert BenchSpecification().required == REQUIRED


def test_pass_means_all_three_passed_after_the_last_change_whatever_the_story() -> None:
    # Every story of five entries: the rule said in another way.
    words = ["Op", "Of", "H", "Pp", "Pf", "S"]
    passed = failed = 0
    for story in itertools.product(words, repeat=5):
        openings = [i for i, word in enumerate(story, start=1) if word[0] == "O"]
        told, last_opening = [], 0
        for i, word in enumerate(story, start=1):
            if word[0] == "O":
                last_opening = i
            if word == "H" and not last_opening:
                break
            told.append(f"H{last_opening}p" if word == "H" else word)
        if len(told) < 5:
            continue
        ruling = judge(" ".join(told))
        change = max((i for i, word in enumerate(told, start=1) if word == "S"), default=0)
        after = told[change:]
        last = {letter: [w for w in after if w[0] == letter][-1:] for letter in "OP"}
        held = f"H{openings[-1]}p" in after if openings and openings[-1] > change else False
        if last["O"] == ["Of"] or last["P"] == ["Pf"]:
            expected = InjectorVerdict.FAIL
        elif last["O"] == ["Op"] and last["P"] == ["Pp"] and held:
            expected = InjectorVerdict.PASS
        else:
            expected = InjectorVerdict.OPEN
        assert ruling.verdict is expected, told
        passed += expected is InjectorVerdict.PASS
        failed += expected is InjectorVerdict.FAIL
    assert passed > 50
    assert failed > 500


def test_every_verdict_of_a_check_leads_to_a_standing() -> None:
    assert set(STANDINGS) == set(Verdict)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: BenchRecord(test=BenchTest.HOLD, verdict=Verdict.PASS, entry=2), "for a hold"),
        (
            lambda: BenchRecord(
                test=BenchTest.PATTERN, verdict=Verdict.PASS, entry=2, opening_entry=1
            ),
            "None for every other",
        ),
        (lambda: judge("Pp H1p"), "taken from entry 1"),
        (lambda: judge("H2p Op"), "read before it"),
        (
            lambda: judge_injector(
                [BenchRecord(test=BenchTest.OPENING, verdict=Verdict.PASS, entry=1)],
                [Change(kind=ChangeKind.PART, entry=1)],
            ),
            "stands there twice",
        ),
    ],
)
def test_what_cannot_be_is_refused(make: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        make()
