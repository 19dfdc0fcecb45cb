"""The quiz in words: the answer to a question, and what a trainee's answers say."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

from spraycheck.report.words.numbers import clock_position
from spraycheck.stats.detection import Interval, Sensitivity
from spraycheck.train.quiz.kinds import LOOK_ALIKES, QUIZ_KINDS, QuizKind
from spraycheck.train.quiz.progress import ENOUGH, KindProgress, Progress
from spraycheck.train.quiz.score import DrawnJet, NamedPlace, Score

RULE = (
    "A card is faulty when a hole is blocked, gives a quarter less or a third more than its "
    "neighbours, or sprays 5° or more out of line, or when there is a streak where no hole points. "
    "Smaller differences are never asked about."
)
"""What the trainee is to judge by; the numbers are the tool's default limits."""

_COLUMNS = 96
# Of a report. Chosen: the table's width, and what A4 holds in print of a fixed width.


def fault_in_words(jet: DrawnJet) -> str:
    """Say a fault with its place and severity, for example ``weak near 4:00, 40% ...``."""
    kind = QUIZ_KINDS[jet.kind]
    place = f"{kind.word} near {clock_position(jet.expected_deg)}"
    if not kind.graded:
        return place
    if kind.word == "off-line":
        turn = (jet.direction_deg - jet.expected_deg + 180) % 360 - 180
        way = "clockwise" if turn > 0 else "anticlockwise"
        return f"{place}: {kind.severity(jet.severity)} {way}"
    return f"{place}: {kind.severity(jet.severity)} {kind.measure}"


def score_in_words(score: Score, jets: Sequence[DrawnJet]) -> str:
    """Say in one sentence what was right."""
    faulty = [jet for jet in jets if jet.kind]
    if not score.verdict_right:
        return "Wrong: this card is " + ("faulty." if faulty else "good.")
    if not faulty:
        return "Right: this card is good."
    missed = [jet for jet, found in zip(faulty, score.found, strict=True) if not found]
    said = "Right: this card is faulty"
    if missed:
        return f"{said}, but the place is not: {_and(fault_in_words(t) for t in missed)}."
    wrong = [t for t, right in zip(faulty, score.kind_right, strict=True) if not right]
    if wrong:
        return f"{said} and so is the place, but the kind is {_and(t.kind for t in wrong)}."
    if score.false_holes or score.false_stray:
        return f"{said}, but a healthy place was named too."
    return f"{said}, and you found where and how."


def truth_in_words(jets: Sequence[DrawnJet]) -> str:
    """Say what is wrong with the card, or that nothing is."""
    faulty = [jet for jet in jets if jet.kind]
    if not faulty:
        return "Good: every hole is clear."
    return "Faulty: " + "; ".join(fault_in_words(jet) for jet in faulty) + "."


def explanations(jets: Sequence[DrawnJet], look_alike: str) -> list[tuple[str, str]]:
    """Return titled paragraphs: what each kind on the card looks like, causes, the next step."""
    found = []
    for word in dict.fromkeys(jet.kind for jet in jets if jet.kind):
        kind = QUIZ_KINDS[word]
        found += [
            (f"{kind.finding.title}: what to see", kind.looks),
            ("May come from", "; ".join(kind.finding.causes) + "."),
            ("Next", kind.finding.next_step),
        ]
    if look_alike:
        found.append(("Not a fault", LOOK_ALIKES[look_alike]))
    return found


def answer_in_words(verdict: str, named: Sequence[NamedPlace]) -> str:
    """Repeat the trainee's answer."""
    if not named:
        return verdict
    return f"{verdict}: " + ", ".join(f"{n.kind} at {clock_position(n.clock_deg)}" for n in named)


# -- what many answers say -------------------------------------------------------------------------


def progress_text(progress: Progress) -> str:
    """Write one person's report, for a terminal and for paper, in at most `_COLUMNS` columns."""
    s = progress
    lines = [
        f"{s.trainee}: {_count(s.questions, 'question')} in {_count(s.sessions, 'sitting')}, "
        f"about {s.seconds:.0f} s each",
        "",
        "  verdicts           person             tool (where it decided)",
        f"  faulty found       {s.person.hits!s:<18} {s.tool.hits}",
        f"  good called faulty {s.person.false_alarms!s:<18} {s.tool.false_alarms}",
        f"  d'                 {_d(s.person.d_prime):<18} {_d(s.tool.d_prime)}",
        f"  no verdict         -                  {s.tool_undecided}",
        "",
        "  how small a fault is found",
        f"  {'kind':<9} {'found':<15} {'kind right':<11} {'half of them':<22} "
        f"{'nine in ten':<22} tool",
    ]
    for k in s.kinds:
        lines.append(
            f"  {k.kind:<9} {k.found!s:<15} {f'{k.named.some} of {k.named.of}':<11} "
            f"{_level(k, 0.5):<22} {_level(k, 0.9):<22} {k.tool.some} of {k.tool.of}"
        )
    lines += [
        "  (severity, with the 95 % interval; 'half' and 'nine in ten' apart from chance)",
        "",
    ]
    for line in conclusions(s):
        lines += textwrap.wrap(
            line, _COLUMNS, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False
        )
    return "\n".join(line.rstrip() for line in lines) + "\n"


def conclusions(s: Progress) -> list[str]:
    """Say in plain words what the numbers mean, each a sentence or two."""
    lines = [_conclusion(k) for k in s.kinds]
    alarms = s.person.false_alarms
    low, high = alarms.interval
    if alarms.of >= ENOUGH and low > 0.1:
        lines.append(
            f"Calls good cards faulty too often: {alarms}, {low:.0%} to {high:.0%} with "
            "95 %. Good nozzles would be thrown away."
        )
    worst = [(look, n) for look, n in s.look_alikes.items() if n.some >= 2]
    for look, share in worst:
        lines.append(f"Takes '{look}' for a fault ({share}). {LOOK_ALIKES[look]}")
    lines.append(_compared(s))
    if s.questions < 40:
        lines.append(
            "Fewer than 40 questions: the intervals are wide, take the numbers as a first look."
        )
    return lines


def _conclusion(k: KindProgress) -> str:
    kind = QUIZ_KINDS[k.kind]
    if not kind.graded:
        low, high = k.found.interval
        return f"Blocked: found {k.found}, between {low:.0%} and {high:.0%} of them with 95 %."
    title = kind.word.capitalize()
    if k.curve is None:
        return f"{title}: {k.found} found; {ENOUGH} are needed for a curve."
    curve, at = k.curve, kind.severity
    if k.threshold.high <= kind.least or curve.threshold < kind.least:
        text = (
            f"{title}: finds most even at the smallest asked, {at(kind.least)} {kind.measure}, "
            "the tool's limit."
        )
    elif curve.threshold > kind.most:
        return (
            f"{title}: misses most even at the largest asked, {at(kind.most)} {kind.measure}. "
            f"Look again at what shows it: {kind.looks}"
        )
    else:
        text = (
            f"{title}: finds half at {at(curve.threshold)} {kind.measure} "
            f"({_interval(kind, k.threshold)})"
        )
        nine = curve.level_for(0.9)
        text += f", nine in ten at {at(nine)}." if nine <= kind.most else "."
    if curve.lapse > 0.05:
        text += f" Misses about {curve.lapse:.0%} even when plain: slips, take more time."
    return text


def _compared(s: Progress) -> str:
    shares = f"Of {s.questions} cards both were right on {s.both}, only the person on "
    shares += f"{s.person_only}, only the tool on {s.tool_only}, neither on {s.neither}"
    if math.isnan(s.doubt):
        return f"{shares}."
    if s.doubt >= 0.05:
        return f"{shares}: no difference beyond chance (exact McNemar test, p = {s.doubt:.2f})."
    better = "person" if s.person_only > s.tool_only else "tool"
    chance = f"p = {s.doubt:.3f}" if s.doubt >= 0.001 else "p < 0.001"
    return f"{shares}: the {better} did better (exact McNemar test, {chance})."


def _level(k: KindProgress, share: float) -> str:
    kind = QUIZ_KINDS[k.kind]
    if k.curve is None:
        return "-"
    level = k.curve.level_for(share)
    interval = k.threshold if share == 0.5 else k.reliable
    return f"{_bounded(kind, level)} ({_interval(kind, interval)})"


def _bounded(kind: QuizKind, level: float) -> str:
    """Say a level, not further out than what was ever asked."""
    if level < kind.least:
        return f"< {kind.severity(kind.least)}"
    return f"> {kind.severity(kind.most)}" if level > kind.most else kind.severity(level)


def _interval(kind: QuizKind, interval: Interval) -> str:
    low, high = _bounded(kind, interval.low), _bounded(kind, interval.high)
    if low.startswith("<") and high.startswith(("<", ">")):
        return low if high.startswith("<") else "not known"
    if low.startswith(">"):
        return low
    if low.startswith("<"):
        return f"up to {high}"
    return f"{low} or more" if high.startswith(">") else f"{low} to {high}"


def _d(value: Sensitivity | None) -> str:
    return "-" if value is None else f"{value.d_prime:.2f} ± {1.96 * value.u:.2f}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _and(words: Iterable[str]) -> str:
    found = list(words)
    return " and ".join([", ".join(found[:-1]), found[-1]] if len(found) > 1 else found)
