"""What is known of the target card beforehand: its size in mm."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from spraycheck.constants import SHEET_SIZES_MM
from spraycheck.errors import InputError

_SIZE = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*[x×X]\s*(\d+(?:[.,]\d+)?)\s*(?:mm)?\s*$")


@dataclass(frozen=True, kw_only=True)
class CardSpec:
    """The sheet that was sprayed.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the sheet in mm, in either order; NaN when it is not known. A known size gives the
        result its scale.
    name : str
        How the user named it, for provenance.
    """

    width_mm: float = math.nan
    height_mm: float = math.nan
    name: str = "unknown"

    def __post_init__(self) -> None:
        known = math.isfinite(self.width_mm), math.isfinite(self.height_mm)
        if known[0] != known[1]:
            raise InputError("expected both width and height of the sheet, or neither")
        if known[0] and not (20 <= min(self.width_mm, self.height_mm) <= 2000):
            raise InputError(
                f"sheet of {self.width_mm:g} x {self.height_mm:g} mm: expected 20 to 2000 mm "
                "a side; give the size in mm, for example --sheet 210x297"
            )

    @property
    def size_known(self) -> bool:
        """Whether the size, and so the scale, is known."""
        return math.isfinite(self.width_mm)


def parse_sheet(text: str) -> CardSpec:
    """Read a sheet size as a person writes it.

    Parameters
    ----------
    text : str
        A name (``a4``, ``a5``, ``a6``, ``letter``) or ``WIDTHxHEIGHT`` in mm.

    Raises
    ------
    InputError
        The text is neither, or the size is out of reason.
    """
    key = text.strip().lower()
    if key in SHEET_SIZES_MM:
        width, height = SHEET_SIZES_MM[key]
        return CardSpec(width_mm=width, height_mm=height, name=key)
    match = _SIZE.match(text)
    if match is None:
        raise InputError(
            f"sheet {text!r} not understood: expected one of {', '.join(SHEET_SIZES_MM)} or "
            "WIDTHxHEIGHT in mm, for example --sheet 210x297"
        )
    width, height = (float(part.replace(",", ".")) for part in match.groups())
    return CardSpec(width_mm=width, height_mm=height, name=f"{width:g}x{height:g}")
