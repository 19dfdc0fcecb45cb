"""What is known of the target card: beforehand, and what its own print says."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from spraycheck.constants import SHEET_SIZES_MM
from spraycheck.errors import InputError

PRINTED_LOW_MM, PRINTED_HIGH_MM = 90.0, 110.0
"""What a 100 mm line may measure. "Fit to page" shrinks A4 to about 94 % to 97 % (from memory);
letter on A4 paper and the other way round changes it by 6 %."""

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
    printed_x_mm, printed_y_mm : float
        Measured lengths of a printed target card's level and upright check line, nominally 100 mm;
        NaN when they were not measured.
    which : int
        Which of several target cards in the photo, counted from the left from 1; 0 when there is
        only one.
    """

    width_mm: float = math.nan
    height_mm: float = math.nan
    name: str = "unknown"
    printed_x_mm: float = math.nan
    printed_y_mm: float = math.nan
    which: int = 0

    def __post_init__(self) -> None:
        for length in (self.printed_x_mm, self.printed_y_mm):
            if not (math.isnan(length) or PRINTED_LOW_MM <= length <= PRINTED_HIGH_MM):
                raise InputError(
                    f"printed length of {length:g} mm, expected {PRINTED_LOW_MM:g} to "
                    f"{PRINTED_HIGH_MM:g}",
                    "measure the card's 100 mm line from end mark to end mark, in mm; a card "
                    "further off was printed to fit the page: print it again at 100 %",
                )
        if self.which < 0:
            raise InputError(f"card number {self.which}, expected 1 for the leftmost")
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


@dataclass(frozen=True, kw_only=True)
class PrintedFacts:
    """What a printed target card says about itself, and how well it was read.

    Parameters
    ----------
    paper : str
        Its paper size, known from the markers.
    version : int
        Of the artwork.
    label_read : bool
        Whether the QR code could be read; without it job and injector are empty.
    job, injector : str
        From the QR code, made inert; anyone can print one, so never trust them as more than text.
    markers_seen, markers_total : int
        Markers used, and printed.
    residual_mm : float
        Root mean square distance of the markers' middles from where the fitted card has them.
    scale_u_frac : float
        Relative standard uncertainty of all lengths: the printer's scale.
    printed_x_mm, printed_y_mm : float
        The check lines as the user measured them; NaN when taken as 100 mm.
    index_u_deg : float
        Expanded (95 %) uncertainty of the direction of the index arrow in the photo.
    edge_x_mm, edge_y_mm : float
        Sharpness: over how many mm the card's upright and level printed edges rise from 10 % to
        90 %; NaN where they are too blurred to tell. They differ when the phone moved.
    sheet_asked : str
        Size of the sheet as it was asked for, where the print says another; empty otherwise.
    """

    paper: str
    version: int
    label_read: bool
    job: str
    injector: str
    markers_seen: int
    markers_total: int
    residual_mm: float
    scale_u_frac: float
    printed_x_mm: float
    printed_y_mm: float
    index_u_deg: float
    edge_x_mm: float = math.nan
    edge_y_mm: float = math.nan
    sheet_asked: str = ""


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


def parse_printed_length(text: str) -> tuple[float, float]:
    """Read the measured lengths of the check lines as a person writes them.

    Parameters
    ----------
    text : str
        One length in mm for both lines (``98.7``), or level and upright (``98.7x99.1``).

    Returns
    -------
    (float, float)
        Level and upright, mm.

    Raises
    ------
    InputError
        Not a length.
    """
    match = re.fullmatch(
        r"\s*(\d+(?:[.,]\d+)?)(?:\s*[x×X]\s*(\d+(?:[.,]\d+)?))?\s*(?:mm)?\s*", text
    )
    if match is None:
        raise InputError(
            f"printed length {text!r} not understood: expected a length in mm, for example "
            "--printed-length 98.7, or level x upright, for example 98.7x99.1"
        )
    level = float(match.group(1).replace(",", "."))
    upright = float(match.group(2).replace(",", ".")) if match.group(2) else level
    return level, upright
