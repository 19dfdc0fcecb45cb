"""The quiz: fair papers, practice that follows, answers kept, reports, and the page."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from pages import Page, check_needs_no_network
from refusals import check_refused

from spraycheck.cli.main import main
from spraycheck.errors import ArchiveError, InputError
from spraycheck.report.words import AID, CAUTION
from spraycheck.train.quiz import page as quiz_pages
from spraycheck.train.quiz import session
from spraycheck.train.quiz.kinds import LOOK_ALIKES, QUIZ_KINDS
from spraycheck.train.quiz.page import PageQuestion, quiz_page
from spraycheck.train.quiz.progress import Progress, all_progress
from spraycheck.train.quiz.progress_plot import plot_files, progress_plot
from spraycheck.train.quiz.question import (
    Fault,
    Question,
    QuestionSpec,
    draw_question,
    judge_question,
    score_tool,
)
from spraycheck.train.quiz.record import (
    SCHEMA,
    Answer,
    AnswerRecord,
    FaultAsked,
    Session,
    clean_name,
    practice_history,
    record_of,
)
from spraycheck.train.quiz.results_file import append_results, load_results, read_results
from spraycheck.train.quiz.score import DrawnJet, NamedPlace, Score, parse_places, score_answer
from spraycheck.train.quiz.selection import exam_questions, practice_question
from spraycheck.train.quiz.session import Dialogue, SessionSetup, run_session
from spraycheck.train.quiz.words import RULE, fault_in_words, progress_text
from spraycheck.train.tool_answer import ToolAnswer

HOSTILE = "Eve \"'</script><img src=x onerror=alert(1)>{{ 7*7 }} $x^2$"


# -- papers


def test_a_class_gets_the_same_paper_from_a_seed_and_another_from_another() -> None:
    assert exam_questions(7, 20) == exam_questions(7, 20)
    assert exam_questions(7, 20) != exam_questions(8, 20)
    assert len({spec.seed for spec in exam_questions(7, 20)}) == 20


@pytest.mark.parametrize("seed", range(5))
def test_a_paper_mixes_good_and_bad_fairly(seed: int) -> None:
    paper = exam_questions(seed, 60)
    bad = [spec for spec in paper if spec.faults]
    assert len(bad) == 30
    firsts = Counter(spec.faults[0].kind for spec in bad)
    assert set(firsts.values()) == {6}
    assert set(firsts) == set(QUIZ_KINDS)
    assert sum(len(spec.faults) == 2 for spec in bad) == 6
    # A look-alike is no hint either way, and never the same one over and over.
    alike = [[spec.look_alike for spec in paper if bool(spec.faults) == faulty and spec.look_alike]
             for faulty in (False, True)]  # fmt: skip
    assert [len(words) for words in alike] == [15, 10]
    assert max(Counter(alike[0] + alike[1]).values()) <= 4
    # Not all of one sort first.
    assert 8 <= sum(bool(spec.faults) for spec in paper[:30]) <= 22


def test_severities_of_a_paper_are_spread_over_their_ladders() -> None:
    faults = [fault for spec in exam_questions(3, 200) for fault in spec.faults]
    for word, kind in QUIZ_KINDS.items():
        levels = [fault.severity for fault in faults if fault.kind == word]
        if not kind.graded:
            assert set(levels) == {math.inf}
            continue
        place = np.log(np.array(levels) / kind.least) / math.log(kind.most / kind.least)
        assert place.min() >= 0
        assert place.max() <= 1
        counts = np.histogram(place, bins=4, range=(0, 1))[0]
        assert counts.min() >= 3, (word, counts)


@pytest.mark.parametrize(
    ("seed", "questions"), [(-1, 10), (1, 0), (1, 201)]
)  # fmt: skip
def test_impossible_papers_are_refused(seed: int, questions: int) -> None:
    with pytest.raises(InputError, match="expected"):
        exam_questions(seed, questions)


def test_unknown_faults_and_look_alikes_are_refused() -> None:
    with pytest.raises(InputError, match="unknown"):
        QuestionSpec(seed=1, faults=(Fault(kind="purple"),))
    with pytest.raises(InputError, match="expected one of"):
        QuestionSpec(seed=1, look_alike="ghost")


# -- practice


def test_practice_becomes_harder_after_finds_and_easier_after_misses() -> None:
    def level(answers: Sequence[bool]) -> float:
        history = {word: list(answers) if word == "weak" else [True] * 99 for word in QUIZ_KINDS}
        rng = np.random.default_rng(5)
        while True:
            spec = practice_question(rng, history)
            if spec.faults:
                assert spec.faults[0].kind == "weak"  # the kind asked least often comes next
                return spec.faults[0].severity

    start = level([])
    assert level([True]) < start
    assert level([True, True]) < level([True])
    assert level([False]) > start
    kind = QUIZ_KINDS["weak"]
    assert level([True] * 40) == pytest.approx(kind.least)
    assert level([False] * 40) == pytest.approx(kind.most)


def test_practice_settles_where_three_of_four_are_found() -> None:
    kind, rng = QUIZ_KINDS["off-line"], np.random.default_rng(11)
    history: dict[str, list[bool]] = {word: [True] * 4000 for word in QUIZ_KINDS}
    history["off-line"] = []
    shown: list[float] = []
    while len(shown) < 400:
        spec = practice_question(rng, history)
        if not spec.faults or spec.faults[0].kind != "off-line":
            continue
        shown.append(spec.faults[0].severity)
        # A person who finds 10 degrees three times of four.
        chance = 1 / (1 + (10 / shown[-1]) ** 4 / 3)
        history["off-line"].append(bool(rng.uniform() < chance))
    assert np.mean(history["off-line"][40:]) == pytest.approx(0.75, abs=0.06)
    assert np.exp(np.mean(np.log(shown[40:]))) == pytest.approx(10, rel=0.15)
    assert kind.least * 0.999 <= min(shown) <= max(shown) <= kind.most * 1.001


def test_practice_balances_good_and_faulty_in_every_six() -> None:
    rng, recent = np.random.default_rng(2), []
    for _ in range(60):
        recent.append(bool(practice_question(rng, {}, recent).faults))
    blocks = np.array(recent).reshape(-1, 6).sum(axis=1)
    assert set(blocks.tolist()) == {3}


# -- marking


def holes(*kinds: str) -> tuple[DrawnJet, ...]:
    """Targets at even steps, clockwise from 12 o'clock."""
    step = 360 / len(kinds)
    return tuple(
        DrawnJet(
            hole=k + 1, kind=kind, severity=0.5 if kind else 0.0, expected_deg=step * k,
            direction_deg=math.nan if kind == "blocked" else step * k,
        )
        for k, kind in enumerate(kinds)
    )  # fmt: skip


def stray_at(direction_deg: float) -> DrawnJet:
    return DrawnJet(
        hole=0, kind="stray", severity=0.6, expected_deg=direction_deg, direction_deg=direction_deg
    )


def test_a_place_belongs_to_the_nearest_hole_even_across_twelve() -> None:
    targets = holes("weak", "", "", "")
    for clock in (350.0, 0.0, 30.0):
        score = score_answer(targets, "faulty", [NamedPlace(kind="weak", clock_deg=clock)])
        assert score.all_right, clock
    score = score_answer(targets, "faulty", [NamedPlace(kind="weak", clock_deg=75.0)])
    assert (score.found, score.false_holes, score.all_right) == ((False,), 1, False)


def test_kind_and_place_are_marked_apart() -> None:
    score = score_answer(
        holes("", "blocked", ""), "faulty", [NamedPlace(kind="weak", clock_deg=120.0)]
    )
    assert (score.verdict_right, score.found, score.kind_right) == (True, (True,), (False,))
    assert not score.all_right


def test_a_stray_jet_is_not_held_against_a_hole() -> None:
    targets = (*holes("", "", ""), stray_at(50.0))
    right = score_answer(targets, "faulty", [NamedPlace(kind="stray", clock_deg=60.0)])
    assert right.all_right
    none = score_answer(holes("", "", ""), "faulty", [NamedPlace(kind="stray", clock_deg=60.0)])
    assert (none.verdict_right, none.false_holes, none.false_stray) == (False, 0, True)


def test_places_are_read_as_people_write_them() -> None:
    assert parse_places("4 weak, 10:30 OFF-LINE") == (
        NamedPlace(kind="weak", clock_deg=120.0),
        NamedPlace(kind="off-line", clock_deg=315.0),
    )
    assert parse_places("hole at 12 o'clock b") == (NamedPlace(kind="blocked", clock_deg=0.0),)
    assert parse_places("7") == (NamedPlace(kind="unnamed", clock_deg=210.0),)


@pytest.mark.parametrize("text", ["", "13 weak", "weak", "4 purple", "4 5 weak", "4:75 weak"])
def test_what_cannot_be_a_place_is_said_so(text: str) -> None:
    with pytest.raises(InputError, match="expected"):
        parse_places(text)


# -- a drawn question


SPEC = QuestionSpec(seed=42, faults=(Fault(kind="weak", severity=0.7),))


@pytest.fixture(scope="module")
def question() -> Question:
    return draw_question(SPEC)


@pytest.fixture(scope="module")
def tool(question: Question) -> ToolAnswer:
    return judge_question(question)


def test_a_question_shows_what_it_asks_for_and_the_tool_sees_it(
    question: Question, tool: ToolAnswer
) -> None:
    (fault,) = question.faulty
    assert (fault.kind, fault.severity) == ("weak", 0.7)
    assert len(question.jets) == question.holes
    assert tool.verdict == "fail"
    assert score_tool(question, tool).all_right


def test_an_answer_is_marked_and_put_on_record(question: Question, tool: ToolAnswer) -> None:
    (fault,) = question.faulty
    named = (NamedPlace(kind="heavy", clock_deg=fault.expected_deg),)
    given = Answer(verdict="faulty", named=named, seconds=12.34)
    sitter = Session(trainee="Ana", began="2026-11-25T08:00:00+01:00", exam=None)
    record, score = record_of(sitter, 3, question, given, tool)
    assert record.mode == "practice"
    assert record.score == score
    assert (record.right, record.faults[0].found, record.faults[0].kind_right) == (
        True, True, False,
    )  # fmt: skip
    assert record.faults[0].severity == pytest.approx(0.7)
    assert record.tool_verdict == tool.verdict
    exam, _ = record_of(replace(sitter, exam=0), 3, question, given, tool)
    assert exam.mode == "exam"


# -- records, kept and read again


def a_record(**more: Any) -> AnswerRecord:
    fault = FaultAsked(
        kind="weak", severity=0.5, clock_deg=120.0, found=True, kind_right=True, tool_found=True
    )
    fields: dict[str, Any] = {
        "schema": SCHEMA, "trainee": "Ana", "session": "2026-11-25T08:00:00+01:00",
        "mode": "practice", "exam": None, "question": 1, "at": "2026-11-25T08:01:00+01:00",
        "seconds": 20.0, "seed": 5, "holes": 6, "look_alike": "", "faults": (fault,),
        "verdict": "faulty", "named": (), "right": True, "false_holes": 0, "false_stray": False,
        "tool_verdict": "fail", "tool_false_holes": 0, "tool_false_stray": False,
        "results_version": 2,
    }  # fmt: skip
    return AnswerRecord(**{**fields, **more})


def test_results_are_added_to_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "own" / "quiz.jsonl"
    first, second = a_record(), a_record(question=2, faults=(), verdict="good")
    append_results(path, [first])
    before = path.read_bytes()
    append_results(path, [second])
    assert path.read_bytes().startswith(before)
    found = read_results(path)
    assert found.records == (first, second)
    assert found.damaged == 0


def test_results_kept_by_earlier_versions_are_read(tmp_path: Path) -> None:
    """A line as spraycheck 0.1.0 first wrote it, in the names of that form."""
    path = tmp_path / "quiz.jsonl"
    path.write_text(
        '{"schema":"spraycheck.quiz/1","trainee":"Ana","sitting":"2026-11-25T08:00:00+01:00",'
        '"mode":"exam","paper":7,"question":3,"at":"2026-11-25T08:01:00+01:00","seconds":20.0,'
        '"seed":5,"holes":6,"look_alike":"glare","faults":[{"kind":"weak","severity":0.5,'
        '"clock_deg":120.0,"found":true,"kind_right":false,"tool_found":true}],'
        '"verdict":"faulty","named":[{"kind":"heavy","clock_deg":118.0}],"right":true,'
        '"false_holes":0,"false_stray":false,"tool_verdict":"fail","tool_false_holes":0,'
        '"tool_false_stray":false,"results_version":2}\n',
        encoding="utf-8",
    )
    (record,) = read_results(path).records
    assert (record.session, record.exam) == ("2026-11-25T08:00:00+01:00", 7)
    assert record.named == (NamedPlace(kind="heavy", clock_deg=118.0),)
    assert record.score == Score(
        verdict_right=True, found=(True,), kind_right=(False,), false_holes=0, false_stray=False
    )
    old = path.read_bytes()
    append_results(path, [record])
    assert path.read_bytes() == old * 2  # written on in the same names


def test_a_torn_line_costs_itself_only(tmp_path: Path) -> None:
    path = tmp_path / "quiz.jsonl"
    append_results(path, [a_record()])
    with open(path, "ab") as file:
        file.write(msgspec.json.encode(a_record(question=2))[:70])  # the power went
    append_results(path, [a_record(question=3)])
    found = read_results(path)
    assert [record.question for record in found.records] == [1, 3]
    assert found.damaged == 1
    records, notes = load_results([path, path])
    assert len(records) == 2  # the same answers twice count once
    assert "1 damaged" in notes[0]


@pytest.mark.parametrize(
    "line",
    [
        b"\xff\xd8\xff\xe0 not a result",
        b"[1, 2, 3]",
        b'{"schema": "other/1"}',
        msgspec.json.encode(a_record(look_alike="ghost")),
        msgspec.json.encode(a_record(false_holes=99)),
        msgspec.json.encode(a_record(holes=0)),
        msgspec.json.encode(a_record(faults=(replace(a_record().faults[0], severity=0.0),))),
        msgspec.json.encode(a_record(faults=(replace(a_record().faults[0], kind="purple"),))),
        msgspec.json.encode(a_record(schema="spraycheck.quiz/2")),
    ],
)
def test_a_damaged_or_foreign_file_gives_one_clear_line(
    line: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "answers.jsonl"
    path.write_bytes(line + b"\n")
    with pytest.raises(ArchiveError):
        read_results(path)
    told = check_refused(["quiz", "--report", "--results", str(path)], "answers.jsonl", capsys)
    assert "--results" in told


def test_a_later_form_is_not_taken_for_damage(tmp_path: Path) -> None:
    path = tmp_path / "quiz.jsonl"
    path.write_text('{"schema": "spraycheck.quiz/9", "who": "Ana"}\n', encoding="utf-8")
    with pytest.raises(ArchiveError, match="update spraycheck"):
        read_results(path)


def test_names_from_outside_cannot_reach_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "quiz.jsonl"
    append_results(path, [a_record(trainee="Eve\x1b[2J\x07\nx"), a_record(trainee="\x00")])
    assert main(["quiz", "--report", "--results", str(path)]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "Eve [2J x: 1 question" in out
    assert clean_name(" a\t b\u202e ") == "a b"
    assert len(clean_name("x" * 500)) == 60


def test_only_practice_that_followed_the_answers_adapts() -> None:
    records = [
        a_record(),
        a_record(question=2, mode="exam", exam=3),
        a_record(question=3, exam=3),  # practised on a page, whose paper is fixed
        a_record(question=4, trainee="Ben"),
        a_record(question=5, faults=(replace(a_record().faults[0], found=False),)),
    ]
    assert practice_history(records, "Ana") == {"weak": [True, False]}


# -- a sitting in the terminal


class Talk:
    """A trainee made of prepared replies."""

    def __init__(self, *replies: str) -> None:
        self.replies, self.said = list(replies), []  # type: ignore[var-annotated]

    def ask(self, prompt: str) -> str:
        self.said.append(prompt)
        if not self.replies:
            raise KeyboardInterrupt
        return self.replies.pop(0)

    @property
    def screen(self) -> Dialogue:
        return Dialogue(say=self.said.append, ask=self.ask, show=lambda path: True)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.said).split())


@pytest.fixture
def sit(
    question: Question, tool: ToolAnswer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Any:
    """Hold a sitting on one and the same drawn card."""
    monkeypatch.setattr(session, "draw_question", lambda spec: question)
    monkeypatch.setattr(session, "judge_question", lambda asked: tool)

    def run(talk: Talk, paper: int | None, questions: int = 2) -> tuple[AnswerRecord, ...]:
        results = tmp_path / "quiz.jsonl"
        run_session(
            SessionSetup(
                session=Session(trainee="Ana", began="2026-11-25T08:00:00+01:00", exam=paper),
                questions=questions,
                results=results,
                pictures=tmp_path,
                seed=1,
            ),
            talk.screen,
        )
        return read_results(results).records

    return run


def test_practice_explains_after_every_card(sit: Any, question: Question) -> None:
    hour = round(question.faulty[0].expected_deg / 15) * 15 % 360
    place = f"{int(hour // 30) or 12}:{30 if hour % 30 else 0:02d}"
    talk = Talk("what?", "f", "?", "25 weak", f"{place} weak", "g")
    records = sit(talk, None)
    assert [record.mode for record in records] == ["practice", "practice"]
    assert [record.right for record in records] == [True, False]
    assert "please type g, f or q" in talk.text
    assert "you found where and how" in talk.text
    assert "Wrong: this card is faulty." in talk.text
    assert talk.text.index("found where and how") < talk.text.index("Question 2 of 2")
    assert CAUTION in talk.text
    assert AID in talk.text
    assert "2 answered: verdict right on 1, place and kind too on 1" in talk.text


def test_an_exam_keeps_its_answers_for_the_end(sit: Any) -> None:
    talk = Talk("g", "g")
    records = sit(talk, 7)
    assert [(record.mode, record.exam) for record in records] == [("exam", 7)] * 2
    assert talk.text.index("Question 2 of 2") < talk.text.index("Wrong: this card is faulty.")
    assert "Question 1: you said good" in talk.text


def test_stopping_keeps_what_was_answered(sit: Any, tmp_path: Path) -> None:
    assert len(sit(Talk("g", "q"), None)) == 1
    with pytest.raises(KeyboardInterrupt):
        sit(Talk("g"), None)
    assert len(read_results(tmp_path / "quiz.jsonl").records) == 2


# -- the report


def observer(name: str, cards: int, half: float, seed: int) -> list[AnswerRecord]:
    """Answers of a person who finds half of the weak holes with ``half`` of their fuel missing."""
    rng, kind, found = np.random.default_rng(seed), QUIZ_KINDS["weak"], []
    for number in range(1, cards + 1):
        at = {"trainee": name, "question": number, "seed": number}
        if number % 2:
            alarm = bool(rng.uniform() < 0.1)
            look = "glare" if number % 4 == 1 else ""
            found.append(
                a_record(faults=(), verdict="faulty" if alarm else "good", right=not alarm,
                         false_holes=int(alarm), tool_verdict="pass", look_alike=look, **at)
            )  # fmt: skip
            continue
        level = kind.least * (kind.most / kind.least) ** float(rng.uniform())
        chance = 1 / (1 + (half / level) ** 6)
        seen = bool(rng.uniform() < chance)
        fault = replace(a_record().faults[0], severity=level, found=seen, kind_right=seen)
        found.append(a_record(faults=(fault,), right=seen, verdict="faulty", **at))
    return found


@pytest.fixture(scope="module")
def progress() -> Progress:
    (one,) = all_progress(observer("Ana", 240, 0.45, 1))
    return one


def test_a_report_finds_the_severity_a_person_sees(progress: Progress) -> None:
    (weak,) = progress.kinds
    assert weak.curve is not None
    low, high = weak.threshold
    assert low < 0.45 < high
    assert high / low < 1.6
    assert weak.curve.guess < 0.05  # healthy holes are named once in 60
    assert progress.person.false_alarms.some / progress.person.false_alarms.of == pytest.approx(
        0.1, abs=0.06
    )
    text = progress_text(progress)
    assert f"finds half at {weak.curve.threshold:.0%}" in text
    assert "the tool did better (exact McNemar test" in text
    assert "p < 0.001" in text
    assert max(len(line) for line in text.splitlines()) <= 96


def test_few_answers_give_no_curve_and_say_so() -> None:
    (progress,) = all_progress(observer("Ana", 10, 0.45, 1))
    assert progress.kinds[0].curve is None
    assert "are needed for a curve" in progress_text(progress)
    assert "Fewer than 40 questions" in progress_text(progress)


def test_a_report_with_curves_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, plot = tmp_path / "quiz.jsonl", tmp_path / "curves.png"
    append_results(path, [*observer(HOSTILE[:60], 10, 0.5, 2), *observer("Ana", 40, 0.4, 3)])
    asked = ["quiz", "--report", "--results", str(path), "--plot", str(plot)]
    assert main(asked) == 0
    told = capsys.readouterr()
    assert "Ana: 40 questions in 1 sitting" in told.out
    for name in plot_files(str(plot), 2):
        assert name.read_bytes().startswith(b"\x89PNG")
    assert main([*asked, "--name", "Zoe"]) == 2
    assert "expected one of Ana, Eve" in capsys.readouterr().err


def test_the_curve_of_a_report_is_drawn_where_it_was_fitted(
    progress: Progress, monkeypatch: pytest.MonkeyPatch
) -> None:
    from matplotlib.axes import Axes

    curve = progress.kinds[0].curve
    assert curve is not None
    lines: list[tuple[Any, Any]] = []
    plot = Axes.plot

    def note(self: Axes, *args: Any, **more: Any) -> Any:
        lines.append(args[:2])
        return plot(self, *args, **more)

    monkeypatch.setattr(Axes, "plot", note)
    assert progress_plot(progress).startswith(b"\x89PNG")
    x, y = next((x, y) for x, y in lines if np.size(x) == 200)
    assert np.allclose(y, curve.at(x / 100))


# -- the page


TINY = bytes.fromhex("ffd8ffd9")
TARGETS = (
    holes("", "weak", "", "", "", ""),
    holes("", "", "", ""),
    (*holes("blocked", "", "", "", ""), stray_at(100.0)),
    holes("", "off-line", "", "weak", "", "", "", ""),
)


def page_questions() -> Iterator[PageQuestion]:
    for number, targets in enumerate(TARGETS):
        faulty = [target for target in targets if target.kind]
        every = (True,) * len(faulty)
        yield PageQuestion(
            seed=number,
            holes=sum(target.hole > 0 for target in targets),
            look_alike="glare" if number == 1 else "",
            jets=targets,
            picture=TINY,
            overlay=b"" if number == 2 else TINY,
            hours=[(0.5 + 0.4 * math.sin(math.radians(30 * h)),
                    0.5 - 0.4 * math.cos(math.radians(30 * h))) for h in range(1, 13)],
            tool_verdict="fail" if faulty else "pass",
            tool_score=Score(verdict_right=True, found=every, kind_right=every, false_holes=0,
                             false_stray=False),
            tool_lines=["FAIL: <b>", "hole"],
        )  # fmt: skip


def page(*, exam: bool, name: str = "") -> str:
    return "".join(
        quiz_page(
            page_questions(), title="Quiz <1>", exam=exam, seed=5, results_version=2, name=name
        )
    )


def test_the_page_needs_no_network_and_names_stay_inert() -> None:
    html = page(exam=True, name=HOSTILE)
    shown = check_needs_no_network(html)
    (box,) = (attrs for _, attrs in shown.elements if attrs.get("id") == "name")
    assert box["value"] == HOSTILE
    assert shown.count("script") == 3
    assert RULE.split(",")[0] in html
    assert CAUTION.split(".")[0] in html


def test_the_answers_inside_a_page_are_those_of_its_questions() -> None:
    inside = json.loads(Page(page(exam=False)).scripts["questions"])
    assert len(inside) == len(TARGETS)
    for data, targets in zip(inside, TARGETS, strict=True):
        faulty = [target for target in targets if target.kind]
        told = [t for t in data["jets"] if t["kind"]]
        assert [t["kind"] for t in told] == [t.kind for t in faulty]
        assert [t["words"] for t in told] == [fault_in_words(t) for t in faulty]
        for target in faulty:
            assert fault_in_words(target) in data["truth"]
    assert inside[1]["truth"].startswith("Good")
    assert LOOK_ALIKES["glare"] in str(inside[1]["explain"])


def test_an_exported_page_asks_the_paper_of_its_seed(
    tmp_path: Path,
    question: Question,
    tool: ToolAnswer,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    drawn: list[QuestionSpec] = []

    def draw(spec: QuestionSpec) -> Question:
        drawn.append(spec)
        return replace(question, spec=spec)

    monkeypatch.setattr(quiz_pages, "draw_question", draw)
    monkeypatch.setattr(quiz_pages, "judge_question", lambda asked: tool)
    asked = ["quiz", "--html", str(tmp_path / "new"), "--exam", "--seed", "9", "--questions", "3"]
    assert main(asked) == 0
    path = tmp_path / "new" / "quiz-exam-9.html"
    assert capsys.readouterr().out.startswith(f"{path}: 3 questions")
    assert tuple(drawn) == exam_questions(9, 3)
    scripts = Page(path.read_text(encoding="utf-8")).scripts
    assert [q["seed"] for q in json.loads(scripts["questions"])] == [spec.seed for spec in drawn]
    assert path.stat().st_size < 3 * 600_000  # 20 questions stay below 15 MB


def test_an_export_broken_off_leaves_an_older_page_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = tmp_path / "quiz.html"
    page.write_text("older", encoding="utf-8")

    def stop(spec: QuestionSpec) -> Question:
        raise KeyboardInterrupt

    monkeypatch.setattr(quiz_pages, "draw_question", stop)
    assert main(["quiz", "--html", str(page), "--questions", "2"]) == 130
    assert page.read_text(encoding="utf-8") == "older"
    assert list(tmp_path.iterdir()) == [page]


BROWSER = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome")
     if (found := shutil.which(name))), None,
)  # fmt: skip

DRIVER = """
<script>
(() => {
  const $ = (id) => document.getElementById(id);
  let saved = "";
  window.Blob = function (parts) { this.parts = parts; };
  URL.createObjectURL = (blob) => { saved = blob.parts.join(""); return "#saved"; };
  const answers = ANSWERS;
  const seen = [];
  $("name").value = NAME;
  $("start").requestSubmit();
  for (const named of answers) {
    if (!named.length) $("good").click();
    named.forEach(([clock, kind], k) => {
      if (k) $("more").click(); else $("faulty").click();
      const row = $("places").lastElementChild.querySelectorAll("select");
      row[0].value = String(clock);
      row[1].value = kind;
    });
    if (named.length) $("answer").requestSubmit();
    if (!$("next").hidden) { seen.push($("mark").textContent); $("next").click(); }
  }
  $("save").click();
  for (const node of $("review").querySelectorAll(".verdict")) seen.push(node.textContent);
  const out = document.createElement("pre");
  out.id = "driven";
  out.textContent = btoa(unescape(encodeURIComponent(JSON.stringify([saved, seen]))));
  document.body.append(out);
})();
</script>
</body>"""

ANSWERS: list[list[tuple[int, str]]] = [
    [(60, "weak")],
    [],
    [(105, "stray"), (345, "weak")],
    [(45, "off-line"), (270, "heavy")],
]


@pytest.mark.skipif(BROWSER is None, reason="needs a Chromium browser")
@pytest.mark.parametrize("exam", [False, True])
def test_a_page_marks_and_saves_as_the_program_does(exam: bool, tmp_path: Path) -> None:
    driver = DRIVER.replace("ANSWERS", json.dumps(ANSWERS))
    driver = driver.replace("NAME", json.dumps(HOSTILE).replace("<", "\\u003c"))
    file = tmp_path / "quiz.html"
    file.write_text(page(exam=exam).replace("</body>", driver), encoding="utf-8")
    assert BROWSER is not None
    shown = subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}/u",
         "--dump-dom", file.as_uri()],
        capture_output=True, text=True, check=True, timeout=120,
    ).stdout  # fmt: skip
    driven = re.search(r'<pre id="driven">([^<]*)', shown)
    assert driven is not None
    import base64

    saved, seen = json.loads(base64.b64decode(driven[1]))
    path = tmp_path / "saved.jsonl"
    path.write_text(saved, encoding="utf-8")
    records = read_results(path).records
    assert len(records) == len(ANSWERS)
    assert {record.mode for record in records} == {"exam" if exam else "practice"}
    assert {record.trainee for record in records} == {clean_name(HOSTILE)}
    assert "onerror=alert" not in re.sub(r"&lt;.*?&gt;", "", shown.split("<script")[0])
    for record, targets, answer in zip(records, TARGETS, ANSWERS, strict=True):
        named = [NamedPlace(kind=kind, clock_deg=clock) for clock, kind in answer]
        score = score_answer(targets, "faulty" if answer else "good", named)
        assert record.score == score
        assert [f.kind for f in record.faults] == [t.kind for t in targets if t.kind]
    said = [("✓ Right" if record.right else "✗ Wrong") for record in records]
    told = [text[: len(word)] for text, word in zip(seen, said * 2, strict=False)]
    assert told == (said if exam else said * 2)


# -- mistakes on the command line


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--exam"], "--seed 7"),
        (["--seed", "x"], "no whole number"),
        (["--seed", "-1"], "expected 0 or more"),
        (["--questions", "0"], "expected 1 to 200"),
        (["--report", "--exam", "--seed", "1"], "--report goes alone"),
        (["--plot", "a.png"], "--plot goes with --report"),
        (["--results", "a", "--results", "b"], "several go with --report"),
        (["--name", "Ana"], "this is no terminal"),
        (["--report", "--results", "nothing.jsonl"], "there is no such file"),
        (["--html", "taken/quiz.html"], "cannot be written"),
    ],
)
def test_a_mistake_is_told_in_one_line(
    options: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "taken").write_text("", encoding="utf-8")
    check_refused(["quiz", *options], said, capsys)
