"""The contact sheet: many scored cards on one page that opens from a USB stick.

One HTML file with style, script and data inside. It asks for nothing from a network: pictures are
inside it or lie beside it. The page draws only the cards in view, so thousands stay quick; without
script it says what to open instead. Words, signs and shapes tell verdicts and states apart, colour
only helps.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from spraycheck.report.page_template import page_template, page_text
from spraycheck.report.words import AID

VERDICTS = ("fail", "recheck", "failed", "pass", "not-reached")
"""What a card can be, worst first; ``failed`` is a photo that could not be measured."""


@dataclass(frozen=True, kw_only=True)
class Card:
    """One photo on the sheet.

    Parameters
    ----------
    file : str
        Path as a person reads it.
    verdict : str
        One of `VERDICTS`.
    reason : str
        What decided, in a few words.
    states : tuple of str
        Of the expected holes, in order; empty when not measured.
    severity : float
        Larger is worse; ranks cards of the same verdict.
    small, large, plain, photo : str
        Addresses relative to the page, or ``data:`` addresses, of the small picture, the large
        picture, the photo without drawing, and the photo itself; empty when there is none.
    nozzle, injector, date, person_verdict, duplicate_of : str
        Empty when not known; the date begins with YYYY-MM-DD.
    notes : tuple of str
        What else to tell when the card is looked at closely.
    """

    file: str
    verdict: str
    reason: str
    states: tuple[str, ...] = ()
    severity: float = 0.0
    small: str = ""
    large: str = ""
    plain: str = ""
    photo: str = ""
    nozzle: str = ""
    injector: str = ""
    date: str = ""
    person_verdict: str = ""
    duplicate_of: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Plot:
    """A picture above the cards: its title, what it tells, and its PNG."""

    title: str
    text: str
    png: bytes


def data_address(data: bytes, kind: str = "image/jpeg") -> str:
    """Return bytes as a ``data:`` address; empty for none."""
    return f"data:{kind};base64,{base64.b64encode(data).decode()}" if data else ""


def contact_sheet(
    cards: Iterable[Card],
    *,
    title: str,
    facts: Iterable[str] = (),
    plots: Iterable[Plot] = (),
    pairs: bool = False,
) -> Iterator[str]:
    """Write the page, piece by piece.

    Parameters
    ----------
    cards : iterable of Card
        In the order of the archive; looked at once, one at a time.
    title : str
        Of the page.
    facts : iterable of str
        Lines under the title.
    plots : iterable of Plot
        Shown above the cards, folded away.
    pairs : bool
        Show photo and drawing side by side on every card.

    Yields
    ------
    str
        Parts of one HTML document.
    """
    yield from page_template(__package__).generate(
        title=title,
        facts=list(facts),
        plots=[(p.title, p.text, data_address(p.png, "image/png")) for p in plots],
        cards=(_data(card) for card in cards),
        aid=AID,
        pairs=pairs,
        style=page_text(__package__, "style.css"),
        script=page_text(__package__, "script.js"),
    )


_SHORT = {
    "file": "f", "verdict": "v", "reason": "r", "states": "s", "severity": "w", "small": "t",
    "large": "l", "plain": "p", "photo": "o", "nozzle": "n", "injector": "i", "date": "d",
    "person_verdict": "h", "duplicate_of": "u", "notes": "m",
}  # fmt: skip
"""Field to its name in the page: names repeat for every card."""


def _data(card: Card) -> str:
    """Return a card as JSON that can stand inside a script element."""
    values: dict[str, Any] = {
        short: value for name, short in _SHORT.items() if (value := getattr(card, name))
    }
    values["w"] = round(card.severity, 3)
    # Inside a script element only "<" could end it early; JSON may write it as an escape.
    return json.dumps(values, separators=(",", ":")).replace("<", "\\u003c")
