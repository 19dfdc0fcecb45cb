"""What a page of the atlas is, and how one is made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from spraycheck.judge.findings import KINDS
from spraycheck.train.lessons.card_request import CardRequest

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
    request : CardRequest
        What is drawn.
    see : str
        What to see, in plain words.
    causes, steps : tuple of str
        What it may come from, and what to do next.
    """

    group: str
    title: str
    kind: str
    request: CardRequest
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
    **request: Any,
) -> Lesson:
    """Make a page; causes and steps come from the catalogue of findings where codes are given."""
    known = [KINDS[code] for code in codes]
    return Lesson(
        group=group,
        title=title,
        kind=kind,
        request=CardRequest(**{"sheet": "200x200", "megapixels": 2.0, **request}),
        see=see,
        causes=causes or tuple(dict.fromkeys(c for one in known for c in one.causes)),
        steps=steps or tuple(dict.fromkeys(one.next_step for one in known)),
    )
