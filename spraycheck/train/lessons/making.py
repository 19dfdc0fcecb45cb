"""What a page of the atlas is, and how one is made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from spraycheck.report.words.findings import KINDS
from spraycheck.train.card_request import Wish

GOOD, FAULT, LOOK_ALIKE = "good", "fault", "look-alike"


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One page.

    Parameters
    ----------
    group, title : str
        Heading of several pages, and of this one.
    kind : str
        ``good``, ``fault`` or ``look-alike`` (looks wrong, but is no fault of the nozzle).
    wish : Wish
        What is drawn.
    see : str
        What to see, in plain words.
    causes, steps : tuple of str
        What it may come from, and what to do next.
    """

    group: str
    title: str
    kind: str
    wish: Wish
    see: str
    causes: tuple[str, ...]
    steps: tuple[str, ...]


def lesson(
    group: str,
    title: str,
    see: str,
    *codes: str,
    kind: str = FAULT,
    causes: tuple[str, ...] = (),
    steps: tuple[str, ...] = (),
    **wish: Any,
) -> Lesson:
    """Make a page; causes and steps come from the catalogue of findings where codes are given."""
    known = [KINDS[code] for code in codes]
    return Lesson(
        group=group,
        title=title,
        kind=kind,
        wish=Wish(**{"sheet": "200x200", "megapixels": 2.0, **wish}),
        see=see,
        causes=causes or tuple(dict.fromkeys(c for one in known for c in one.causes)),
        steps=steps or tuple(dict.fromkeys(one.next_step for one in known)),
    )
