"""What a card's QR code says, as it is written and as it is read: anyone can print one."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote_from_bytes, unquote_to_bytes

MAX_LABEL: Final = 40
"""Longest job or injector text; keeps the QR code at modules a phone resolves."""

_PREFIX: Final = "SPRAYCHECK"
_PAYLOAD = re.compile(r"SPRAYCHECK:(\d{1,3}):([A-Z0-9]{1,8}):([^:]*):([^:]*)(?::([^:]*))?")
_PLAIN = " $*+-./"
# With digits, capitals, % and :, these are the QR code's compact alphabet (ISO/IEC 18004, table 5).


@dataclass(frozen=True, kw_only=True)
class Label:
    """What a card's QR code says.

    Parameters
    ----------
    version : int
        Of the artwork.
    paper : str
        Name of the sheet.
    job, injector, nozzle : str
        As given when the card was made, in capitals; empty when none.
    """

    version: int
    paper: str
    job: str = ""
    injector: str = ""
    nozzle: str = ""

    def payload(self) -> str:
        """Return the QR code's text: capitals, digits and ``$%*+-./:`` only."""
        texts = [self.job, self.injector, *([self.nozzle] if self.nozzle else [])]
        return ":".join([_PREFIX, str(self.version), self.paper.upper(), *map(_encoded, texts)])


def parse_label(text: str) -> Label | None:
    """Read the text of a QR code, which anyone can print.

    Returns
    -------
    Label or None
        None when it is not this project's code. The names are made inert: characters that
        do not print are dropped, and what is longer than `MAX_LABEL` is cut.
    """
    match = _PAYLOAD.fullmatch(text) if len(text) <= 600 else None
    if match is None:
        return None
    version, paper, job, injector, nozzle = match.groups()
    return Label(
        version=int(version),
        paper=paper.lower(),
        job=_decoded(job),
        injector=_decoded(injector),
        nozzle=_decoded(nozzle or ""),
    )


def inert(text: str) -> str:
    """Return text from outside as one short line of printing characters.

    Control, format (writing direction among them), private and unassigned characters are dropped;
    everything else, mark-up included, stays plain text.
    """
    kept = (c for c in text[: 4 * MAX_LABEL] if c == " " or unicodedata.category(c)[0] not in "CZ")
    return " ".join("".join(kept).split())[:MAX_LABEL].rstrip()


def _encoded(text: str) -> str:
    return (
        quote_from_bytes(text.upper().encode(), safe=_PLAIN).replace("_", "%5F").replace("~", "%7E")
    )


def _decoded(text: str) -> str:
    return inert(unquote_to_bytes(text).decode("utf-8", "replace").replace("\ufffd", "?"))
