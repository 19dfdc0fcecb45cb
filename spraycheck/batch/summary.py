"""What a batch came to: counts, and the tool against a person in a labelled archive."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from spraycheck.batch.progress import WORDS
from spraycheck.judge.result import Verdict

TOOL_WORDS: Final = (*Verdict, WORDS["failed"])
"""What the tool can say of a photo."""


class Comparison:
    """Counts verdicts of a person against those of the tool; duplicates count once."""

    def __init__(self) -> None:
        self.counts: Counter[tuple[str, str]] = Counter()

    def add(self, record: dict[str, Any]) -> bool:
        """Take in a record; True when a person judged it and the tool says otherwise."""
        person = record["person_verdict"]
        if not person or record["duplicate_of"] or record["outcome"] == "not-reached":
            return False
        tool = record["result"]["verdict"] or WORDS["failed"]
        self.counts[person, tool] += 1
        return bool(tool != person)

    def __bool__(self) -> bool:
        return bool(self.counts)

    def text(self) -> str:
        """Return the table and what it says, as lines a person reads."""
        total = self.counts.total()
        lines = [
            "a person said    the tool says",
            " " * 15 + "".join(f"{w:>14}" for w in TOOL_WORDS),
        ]
        for person in Verdict:
            row = "".join(f"{self.counts[person, tool]:>14}" for tool in TOOL_WORDS)
            lines.append(f"{person:<15}{row}")
        agreed = sum(self.counts[verdict, verdict] for verdict in Verdict)
        lines.append(f"the same verdict for {agreed} of {total} photos ({agreed / total:.0%})")
        missed, alarms = self.counts["fail", "pass"], self.counts["pass", "fail"]
        lines.append(
            f"a person said fail and the tool pass: {missed}; a person pass and the tool fail: "
            f"{alarms}"
        )
        if total >= 2:
            lines += _kappa(self.counts)
        return "\n".join(lines) + "\n"


def _kappa(counts: Counter[tuple[str, str]]) -> list[str]:
    from spraycheck.stats.repeatability import cohen_kappa

    pairs = list(counts.elements())
    found = cohen_kappa([person for person, _ in pairs], [tool for _, tool in pairs])
    if not math.isfinite(found.kappa):
        return []
    return [
        f"kappa {found.kappa:.2f} ± {2 * found.u:.2f}: agreement beyond chance, 1 is full, 0 is "
        "none"
    ]


@dataclass(kw_only=True)
class Summary:
    """What a batch came to.

    Parameters
    ----------
    folder : Path
        Where it lies.
    counts : Counter of str
        Photos by verdict, ``failed`` or ``not-reached``.
    duplicates : int
        Photos whose content another has.
    stopped, alike : str
        As in `scheduler.Done`.
    comparison : Comparison
        Of the tool with a person.
    files : list of str
        What was written, by name.
    notes : list of str
        What else to tell.
    """

    folder: Path
    counts: Counter[str] = field(default_factory=Counter)
    duplicates: int = 0
    stopped: str = ""
    alike: str = ""
    comparison: Comparison = field(default_factory=Comparison)
    files: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def complete(self) -> bool:
        """Whether every photo had its turn."""
        return not self.stopped
