"""Why a photo could not be measured: what was found and expected, and what to try.

An error that a stage raises carries a code and fields; its words stand here. What the caller can
fix (`InputError`) still carries ready words, since they repeat what was given.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from spraycheck.errors import InputError, MeasurementError
from spraycheck.report.words.numbers import fill

UNREAD: Final = (
    "photograph the whole card again from closer, in focus and in even light, its black squares "
    "uncovered; other sheets with black squares cannot be judged"
)

ERRORS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        # -- the card
        "photo-blank": (
            "the photo shows nothing: every pixel is alike; expected a sheet of paper",
            "photograph the whole sheet in even light, lens uncovered",
        ),
        "no-printed-card": (
            "no printed target card shows in the photo",
            "photograph the whole card with its black squares",
        ),
        "no-printed-card-length": (
            "no printed target card shows in the photo, although the printed length was given",
            "photograph the whole card with its black squares, or leave the option out for a "
            "plain sheet",
        ),
        "no-printed-card-number": (
            "no printed target card shows in the photo, although a card number was given",
            "photograph the whole card with its black squares, or leave the option out for a "
            "plain sheet",
        ),
        "printed-card-squares": (
            "a printed target card shows ({count:d} dark squares lie as on one), but at most "
            "{most:d} of its coded squares can be read, expected at least {least:d}",
            UNREAD,
        ),
        "printed-card-marker": (
            "a printed target card shows (one of its coded squares), but at most {most:d} of its "
            "coded squares can be read, expected at least {least:d}",
            UNREAD,
        ),
        "printed-card-code": (
            "a printed target card shows (its QR code), but at most {most:d} of its coded squares "
            "can be read, expected at least {least:d}",
            UNREAD,
        ),
        "markers-misplaced": (
            "{found:d} markers were found, but they do not lie as on a target card",
            "use a card printed whole by `spraycheck card`, one piece, not cut up",
        ),
        "markers-few": (
            "only {found:d} of the target card's {total:d} markers can be read, expected at least "
            "{least:d}",
            "photograph the whole card from closer, black squares uncovered and in even light",
        ),
        "markers-blurred": (
            "only {found:d} of the target card's {total:d} markers are sharp and whole, expected "
            "at least {least:d}",
            "photograph the whole card from closer, sharp, its black squares uncovered",
        ),
        "photo-mirrored": (
            "the photo is mirrored: the card's markers read the wrong way round",
            "send the photo as it was taken; switch off the selfie camera's mirror",
        ),
        "several-cards": (
            "{count:d} target cards show in the photo, from the left: {cards}; expected one, or to "
            "be told which",
            "photograph one card at a time, or say which with --card-number",
        ),
        "card-number": (
            "card number {wanted:d} was asked for, but the target cards in the photo are, from "
            "the left: {cards}",
            "photograph one card at a time, or say which with --card-number",
        ),
        "card-version": (
            "the card is of version {found:d}, expected {expected:d}",
            "print new cards with this version of spraycheck, or update spraycheck",
        ),
        # -- the photo of the dry card
        "dry-apart": (
            "the dry photo and the sprayed photo have less than half of the card in common",
            "photograph the whole card both times",
        ),
        "dry-no-sheet": (
            "the {which} photo shows no sheet to lay the two photos over one another",
            "photograph the card both times with all its edges, or use a printed card",
        ),
        "dry-other-kind": (
            "one photo shows a printed target card and the other a plain sheet",
            "give a dry photo of the very card that was sprayed",
        ),
        "dry-other-card": (
            "the dry photo is of another card ({found}), expected {expected}",
            "give a dry photo of the very card that was sprayed",
        ),
        "dry-other-size": (
            "the dry photo shows a sheet of {width_mm:.0f} x {height_mm:.0f} mm, the sprayed one "
            "of {other_width_mm:.0f} x {other_height_mm:.0f}",
            "give a dry photo of the very card that was sprayed",
        ),
        # -- light and wetness
        "sheet-outside": (
            "almost none of the sheet lies in the photo",
            "photograph the whole card, square-on",
        ),
        "too-dark": (
            "the card is too dark: its paper reflects {found_percent:.1f} % of full scale, "
            "expected at least {least_percent:.0f} %",
            "photograph it again in more light, or with a longer exposure",
        ),
        "over-exposed": (
            "{found_percent:.0f} % of the card is over-exposed, expected below "
            "{most_percent:.0f} %",
            "photograph it again with less light or a shorter exposure",
        ),
        "too-little-card": (
            "too little of the card can be judged",
            "photograph the whole card without glare",
        ),
        "no-spray": (
            "no spray found: the darkest patch is only {darker_percent:.0f} % darker than the "
            "paper around it, with the paper's own noise at {noise_percent:.1f} %",
            "check that this is the sprayed side, sprayed less than a few minutes ago, and "
            "photograph it in even light",
        ),
        # -- plumes
        "no-plume": (
            "no spray plume found among {patches:d} wet patches",
            "check that the card was sprayed and photographed on the sprayed side",
        ),
        "no-centre": (
            "only {found:d} plume with a clear direction found, expected at least {least:d}",
            "the centre is where the plumes point back to: spray a fresh card (pressure released "
            "before opening) with one brisk full stroke",
        ),
        "no-pattern": (
            "no spray plume found beside {marks:d} wet marks, expected several that point at a "
            "centre",
            "a drip or a stain is not a pattern: spray a fresh card (pressure released before "
            "opening) with one brisk stroke",
        ),
        "one-plume": (
            "only one plume found beside {marks:d} wet marks, expected several that point "
            "at a centre",
            "a drip or a stain is not a pattern: spray a fresh card (pressure released before "
            "opening) with one brisk stroke",
        ),
        "no-patch": (
            "no central patch found: the largest wet patch has {found_mm2:.0f} mm2, expected at "
            "least {least_mm2:.0f}",
            "check that this is the sprayed side; spray a fresh card (pressure released before "
            "opening) with a full stroke",
        ),
        # -- judging and writing down
        "standoff-no-scale": (
            "the standoff was given but the card's scale is not known",
            "give the sheet's size, for example --sheet a4, or spray a printed target card",
        ),
        "not-measured": (
            "{whose}: {name} could not be measured, expected a number",
            "photograph a fresh card square-on, the whole sheet in the picture",
        ),
    }
)
"""Code to what was found and expected, and what to try; the codes are public for ever."""

NO_NAME: Final = "no name read"

INTERNAL_HINT: Final = "please report this together with the photo"


@dataclass(frozen=True, kw_only=True)
class ToldError:
    """An error in words.

    Parameters
    ----------
    stage : str
        Where it stopped: ``reading``, one of the stages, or ``internal``.
    code : str
        Its stable word; empty for one that has none.
    message, hint : str
        What was found and expected, and what to try; the hint may be empty.
    of_photo : bool
        The photo was read but could not answer.
    """

    stage: Any
    code: str
    message: str
    hint: str
    of_photo: bool = False


def words_of(code: str, fields: Mapping[str, object]) -> tuple[str, str]:
    """Say what was found and expected, and what to try; the code itself for an unknown one.

    Fields that the words do not need are left out.
    """
    if code not in ERRORS:
        return code, ""
    found, hint = ERRORS[code]
    said = {name: _listed(value) for name, value in fields.items()}
    return fill(found, **said), fill(hint, **said)


def _listed(value: object) -> object:
    """Number the names of several things; anything else stays as it is."""
    if not isinstance(value, tuple):
        return value
    return ", ".join(f"{k} ({name or NO_NAME})" for k, name in enumerate(value, start=1))


def explain_error(error: Exception) -> ToldError:
    """Say why a photo could not be measured; what is not raised on purpose is ``internal``."""
    if isinstance(error, MeasurementError):
        told = {"stage": error.stage, "code": error.code, "hint": error.hint}
        return ToldError(message=str(error), of_photo=True, **told)
    if isinstance(error, InputError):
        return ToldError(stage="reading", code="", message=error.message, hint=error.hint)
    message = str(error) or type(error).__name__
    return ToldError(stage="internal", code="", message=message, hint=INTERNAL_HINT)
