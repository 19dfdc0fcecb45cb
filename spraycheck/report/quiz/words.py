"""The quiz in words: the answer to a question, and what a trainee's answers say."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

from spraycheck.judge.findings import clock_position
from spraycheck.judge.result import Result
from spraycheck.report.quiz.kinds import LOOK_ALIKES, QUIZ_KINDS, QuizKind
from spraycheck.report.quiz.marking import Marks, Named, Target
from spraycheck.report.quiz.standing import ENOUGH, KindStanding, Standing
from spraycheck.report.summary import count_in_words, explain_verdict, pattern_fits, signed
from spraycheck.stats.detection import Interval, Sensitivity

RULE = (
    "A card is faulty when a hole is blocked, gives a quarter less or a third more than its "
    "neighbours, or sprays 5° or more out of line, or when there is a streak where no hole points. "
    "Smaller differences are never asked about."
)
"""What the trainee is to judge by; the numbers are the tool's default limits."""

_COLUMNS = 96
# Of a report. Chosen: the table's width, and what A4 holds in print of a fixed width.


def fault_in_words(target: Target) -> str:
    """Say a fault with its place and severity, for example ``weak near 4:00, 40% ...``."""
    kind = QUIZ_KINDS[target.kind]
    place = f"{kind.word} near {clock_position(target.expected_deg)}"
    if not kind.graded:
        return place
    if kind.word == "off-line":
        turn = (target.direction_deg - target.expected_deg + 180) % 360 - 180
        way = "clockwise" if turn > 0 else "anticlockwise"
        return f"{place}: {kind.severity(target.severity)} {way}"
    return f"{place}: {kind.severity(target.severity)} {kind.measure}"


def marks_in_words(marks: Marks, targets: Sequence[Target]) -> str:
    """Say in one sentence what was right."""
    faulty = [target for target in targets if target.kind]
    if not marks.verdict_right:
        return "Wrong: this card is " + ("faulty." if faulty else "good.")
    if not faulty:
        return "Right: this card is good."
    missed = [target for target, found in zip(faulty, marks.found, strict=True) if not found]
    said = "Right: this card is faulty"
    if missed:
        return f"{said}, but the place is not: {_and(fault_in_words(t) for t in missed)}."
    wrong = [t for t, right in zip(faulty, marks.kind_right, strict=True) if not right]
    if wrong:
        return f"{said} and so is the place, but the kind is {_and(t.kind for t in wrong)}."
    if marks.false_holes or marks.false_stray:
        return f"{said}, but a healthy place was named too."
    return f"{said}, and you found where and how."


def truth_in_words(targets: Sequence[Target]) -> str:
    """Say what is wrong with the card, or that nothing is."""
    faulty = [target for target in targets if target.kind]
    if not faulty:
        return "Good: every hole is clear."
    return "Faulty: " + "; ".join(fault_in_words(target) for target in faulty) + "."


def explanations(targets: Sequence[Target], look_alike: str) -> list[tuple[str, str]]:
    """Return titled paragraphs: what each kind on the card looks like, causes, the next step."""
    found = []
    for word in dict.fromkeys(target.kind for target in targets if target.kind):
        kind = QUIZ_KINDS[word]
        found += [
            (f"{kind.finding.title}: what to see", kind.looks),
            ("May come from", "; ".join(kind.finding.causes) + "."),
            ("Next", kind.finding.next_step),
        ]
    if look_alike:
        found.append(("Not a fault", LOOK_ALIKES[look_alike]))
    return found


def named_in_words(verdict: str, named: Sequence[Named]) -> str:
    """Repeat the trainee's answer."""
    if not named:
        return verdict
    return f"{verdict}: " + ", ".join(f"{n.kind} at {clock_position(n.clock_deg)}" for n in named)


def tool_lines(assessment: Result) -> list[str]:
    """Say the tool's verdict and its numbers, a line each, the second on a table of holes."""
    a = assessment
    lines = [f"{a.verdict.upper()}: {count_in_words(a)}; {'; '.join(explain_verdict(a))}"]
    if not pattern_fits(a):
        return lines
    lines.append(f"{'hole':>4}  {'clock':>5}  {'off by':>12}  {'wets':>11}  state")
    for hole in a.holes:
        off = wets = "-"
        if math.isfinite(hole.deviation_deg):
            off = f"{signed(hole.deviation_deg)}° ± {hole.deviation_u_deg:.1f}"
        if math.isfinite(hole.area_ratio):
            wets = f"{hole.area_ratio:.0%}"
            wets += f" ± {hole.area_ratio_u:.0%}" if math.isfinite(hole.area_ratio_u) else ""
        clock = clock_position(hole.expected_deg)
        lines.append(f"{hole.hole:>4}  {clock:>5}  {off:>12}  {wets:>11}  {hole.state}")
    for plume in a.strays:
        at = float(a.catalogue.direction_deg[plume - 1])
        lines.append(f"   -  {clock_position(at):>5}  outside the pattern")
    return lines


# -- what many answers say -------------------------------------------------------------------------


def standing_text(standing: Standing) -> str:
    """Write one person's report, for a terminal and for paper, in at most `_COLUMNS` columns."""
    s = standing
    lines = [
        f"{s.trainee}: {_count(s.questions, 'question')} in {_count(s.sittings, 'sitting')}, "
        f"about {s.seconds:.0f} s each",
        "",
        "  verdicts           person             tool (where it decided)",
        f"  faulty found       {s.hits!s:<18} {s.tool_hits}",
        f"  good called faulty {s.false_alarms!s:<18} {s.tool_false_alarms}",
        f"  d'                 {_d(s.d_prime):<18} {_d(s.tool_d_prime)}",
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


def conclusions(s: Standing) -> list[str]:
    """Say in plain words what the numbers mean, each a sentence or two."""
    lines = [_conclusion(k) for k in s.kinds]
    low, high = s.false_alarms.interval
    if s.false_alarms.of >= ENOUGH and low > 0.1:
        lines.append(
            f"Calls good cards faulty too often: {s.false_alarms}, {low:.0%} to {high:.0%} with "
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


def _conclusion(k: KindStanding) -> str:
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


def _compared(s: Standing) -> str:
    shares = f"Of {s.questions} cards both were right on {s.both}, only the person on "
    shares += f"{s.person_only}, only the tool on {s.tool_only}, neither on {s.neither}"
    if math.isnan(s.doubt):
        return f"{shares}."
    if s.doubt >= 0.05:
        return f"{shares}: no difference beyond chance (exact McNemar test, p = {s.doubt:.2f})."
    better = "person" if s.person_only > s.tool_only else "tool"
    chance = f"p = {s.doubt:.3f}" if s.doubt >= 0.001 else "p < 0.001"
    return f"{shares}: the {better} did better (exact McNemar test, {chance})."


def _level(k: KindStanding, share: float) -> str:
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
