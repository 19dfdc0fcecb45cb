"""Agreement of verdicts: people with themselves, with each other, with the tool, with the truth."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from spraycheck.stats.repeatability import Kappa, cohen_kappa, fleiss_kappa

WORDS = (
    (0.8, "almost full"),
    (0.6, "substantial"),
    (0.4, "moderate"),
    (0.2, "fair"),
    (0.0, "slight"),
)
"""Words for kappa above a value: J. R. Landis, G. G. Koch, Biometrics 33 (1977) 159-174,
doi:10.2307/2529310."""

Verdicts = Mapping[tuple[str, str], str]
"""Part and repeat to the verdict of one judge."""


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """How far two judges, several, or one with itself, agree.

    Parameters
    ----------
    who : str
        In words.
    kind : str
        ``self``, ``pair``, ``all``, ``tool`` or ``truth``.
    items : int
        Parts, or parts and repeats, that were compared.
    same : int
        Those with the same verdict throughout.
    kappa : Kappa
        Agreement beyond chance.
    """

    who: str
    kind: str
    items: int
    same: int
    kappa: Kappa


def agreements(
    people: Mapping[str, Verdicts], *, tool: Mapping[str, Verdicts] | None = None,
    truth: Mapping[str, str] | None = None,
) -> list[Agreement]:  # fmt: skip
    """Compare everyone with everyone.

    Parameters
    ----------
    people : mapping
        Name to the verdicts of a person.
    tool : mapping, optional
        Name of the person who took the photo to the tool's verdicts of it.
    truth : mapping, optional
        Part to its known verdict.
    """
    found = [a for name, verdicts in people.items() if (a := _itself(name, verdicts))]
    tool = tool or {}
    of_tool = {
        (part, f"{name} {repeat}"): verdict
        for name, verdicts in tool.items()
        for (part, repeat), verdict in verdicts.items()
    }
    if mine := _itself("the tool", of_tool):
        found.append(mine)
    for one, other in itertools.combinations(people, 2):
        pair = _two(f"{one} and {other}", "pair", people[one], people[other])
        found += [pair] if pair else []
    if len(people) > 2 and (everyone := _all(people)):
        found.append(everyone)
    for name, verdicts in people.items():
        pair = _two(f"{name} and the tool", "tool", verdicts, tool.get(name, {}))
        found += [pair] if pair else []
    for name, verdicts in ({**people, "the tool": of_tool} if truth else {}).items():
        known = {key: truth[key[0]] for key in verdicts if key[0] in (truth or {})}  # type: ignore[index]
        pair = _two(f"{name} and the truth", "truth", verdicts, known)
        found += [pair] if pair else []
    return found


def agreement_text(found: Sequence[Agreement]) -> str:
    """Write the comparison as a table and a conclusion."""
    width = max([len("who"), *(len(a.who) for a in found)])
    lines = [
        "verdicts",
        "",
        f"  {'who':<{width}}  {'compared':>8}  {'the same':>8}  {'kappa':>13}  agreement",
    ]
    for a in found:
        kappa = "-"
        if math.isfinite(a.kappa.kappa):
            kappa = f"{a.kappa.kappa:.2f}"
            if math.isfinite(a.kappa.u):
                kappa += f" ± {2 * a.kappa.u:.2f}"
        lines.append(
            f"  {a.who:<{width}}  {a.items:>8}  {100 * a.same / a.items:>6.0f} %  {kappa:>13}  "
            f"{in_words(a.kappa)}"
        )
    return "\n".join([*lines, "", *(f"  {line}" for line in _conclusion(found))]) + "\n"


def in_words(kappa: Kappa) -> str:
    """Say how good an agreement is."""
    if not math.isfinite(kappa.kappa):
        return "only one verdict was ever given: agreement cannot be told from chance"
    return next((word for above, word in WORDS if kappa.kappa > above), "none beyond chance")


def _conclusion(found: Sequence[Agreement]) -> list[str]:
    lines = []
    for kind, text in (
        ("self", "Judging the same part again, least steady"),
        ("pair", "Least alike of all pairs of people"),
        ("tool", "Furthest from the tool"),
        ("truth", "Furthest from the truth"),
    ):
        known = [a for a in found if a.kind == kind and math.isfinite(a.kappa.kappa)]
        if known:
            worst = min(known, key=lambda a: a.kappa.kappa)
            who = worst.who
            for ending in (" again", " and the tool", " and the truth"):
                who = who.removesuffix(ending)
            few = "; few were compared, so this is rough" if worst.items < 30 else ""
            lines.append(
                f"{text}: {who}, {in_words(worst.kappa)} agreement "
                f"({100 * worst.same / worst.items:.0f} % the same){few}."
            )
    return lines


def _two(who: str, kind: str, one: Verdicts, other: Verdicts) -> Agreement | None:
    common = [key for key in one if key in other]
    if not common:
        return None
    mine, theirs = [one[k] for k in common], [other[k] for k in common]
    same = sum(a == b for a, b in zip(mine, theirs, strict=True))
    return Agreement(
        who=who, kind=kind, items=len(common), same=same, kappa=cohen_kappa(mine, theirs)
    )


def _itself(who: str, verdicts: Verdicts) -> Agreement | None:
    by_part: dict[str, list[str]] = defaultdict(list)
    for (part, _), verdict in verdicts.items():
        by_part[part].append(verdict)
    return _several(who + " again", "self", list(by_part.values()))


def _all(people: Mapping[str, Verdicts]) -> Agreement | None:
    keys = dict.fromkeys(key for verdicts in people.values() for key in verdicts)
    rows = [[verdicts[key] for verdicts in people.values() if key in verdicts] for key in keys]
    return _several("all people", "all", rows)


def _several(who: str, kind: str, rows: list[list[str]]) -> Agreement | None:
    """Compare as many verdicts of each item; items with fewer are left out."""
    most = max((len(row) for row in rows), default=0)
    rows = [row for row in rows if len(row) == most]
    if most < 2 or not rows:
        return None
    labels = sorted({verdict for row in rows for verdict in row})
    counts = [[Counter(row)[label] for label in labels] for row in rows]
    same = sum(len(set(row)) == 1 for row in rows)
    return Agreement(who=who, kind=kind, items=len(rows), same=same, kappa=fleiss_kappa(counts))
