"""The catalogue of findings: what each one is called, says, may come from and asks for next.

One table, read by the judgement (which fills in the numbers) and by every report (which prints
titles and likely causes), so that the same fault is told in the same words everywhere. Causes are
possibilities in the trade's words; the card shows where the fuel landed, never why.

Notes
-----
The advice is common practice at the test bench, from memory, no source; the order "pressure
released and zero read on the gauge, then open" stands in every step that opens or handles
anything, because a jet under pressure goes through skin.
"""

from __future__ import annotations

import math
import string
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from spraycheck.errors import InputError
from spraycheck.pattern import flags
from spraycheck.pattern.layout import Finding

ABOUT = ("hole", "card", "photo")

CAUTION: Final = (
    "The jet goes through skin, eyes and gloves. Cover closed and hands out while spraying; "
    "pressure released and zero on the gauge before opening; eye protection on. Injected fuel is "
    "a surgical emergency even if it does not hurt. Oil mist burns; wet cards are combustible "
    "waste."
)
"""The caution that goes with every result a person reads."""

AID: Final = (
    "This verdict is an aid, not a certificate. The maker's manual, local rules and licensed "
    "practice decide."
)
"""What a verdict does not mean; goes with every result a person reads."""

_RELEASE: Final = "Release the pressure and read zero on the gauge first."
_FRESH: Final = (
    "With the pressure released put in a fresh card; cover closed, give it one brisk full stroke"
)
_FRESH_CARD: Final = "a fresh card (pressure released before opening)"


@dataclass(frozen=True, kw_only=True)
class FindingKind:
    """One kind of finding.

    Parameters
    ----------
    code : str
        Stable word, for example ``hole-blocked``; public for ever.
    title : str
        A few words, without numbers.
    about : str
        ``hole``, ``card`` or ``photo``.
    text : str
        What was found, with named fields (see `describe`); one or two sentences.
    causes : tuple of str
        What it may come from, as possibilities, likeliest first. Empty when nothing is wrong.
    next_step : str
        What to do, with named fields; whole sentences.
    """

    code: str
    title: str
    about: str
    text: str
    causes: tuple[str, ...]
    next_step: str

    def __post_init__(self) -> None:
        """Check the subject."""
        if self.about not in ABOUT:
            raise InputError(f"about {self.about!r}: expected one of {', '.join(ABOUT)}")

    @property
    def fields(self) -> frozenset[str]:
        """Names that `describe` needs for this kind, besides ``hole``."""
        parsed = string.Formatter().parse(f"{self.text} {self.next_step}")
        return frozenset(name for _, name, _, _ in parsed if name) - {"hole"}


PHOTO_ADVICE: Final[dict[str, str]] = {
    flags.DARK: "Bring even light onto the card, without flash, and photograph it again.",
    flags.CLIPPED: "Less light or a darker exposure: tap the white of the card before the shot.",
    flags.GLARE: "Move the lamp or yourself until no lamp is mirrored on the card, then again.",
    flags.BLURRED: "Rest the phone on something, tap the card to focus, then photograph again.",
    flags.NOISY: "Bring more light onto the card so that the phone can shorten its exposure.",
    flags.FAINT: "Photograph in even daylight about a minute after the stroke; if the spray stays "
    "faint, use thinner or absorbent uncoated paper.",
    flags.LOW_RESOLUTION: "Go closer until the sheet fills the picture, and send the original "
    "photo, not a messenger copy.",
    flags.OBLIQUE: "Hold the phone flat above the middle of the card, square to it.",
    flags.LOSSY_COPY: "Send the original photo as a file, not as a messenger picture.",
}
"""Quality flag to what the photographer should change."""


_KINDS: Final = (
    FindingKind(
        code="count-does-not-fit",
        title="Number of holes does not fit",
        about="card",
        text="{expected:d} holes were asked for, but the card shows {found:d} plumes and they do "
        "not fit that pattern; no hole is judged.",
        causes=(
            "the wrong number of holes or the wrong layout was given",
            "two patterns or two strokes on one card",
            "a card of another nozzle",
        ),
        next_step="Count the holes in the nozzle tip, give that number or the right layout, and "
        "run this photo again.",
    ),
    FindingKind(
        code="mirrored-layout",
        title="Layout looks mirrored",
        about="card",
        text="The layout fits clearly better when it is mirrored (misfit {as_given_deg:.1f}° as "
        "given, {mirrored_deg:.1f}° mirrored). It was not turned over for you.",
        causes=(
            "the drawing shows the tip from below while the card is seen from the injector's side",
            "the layout belongs to another nozzle",
        ),
        next_step='If the drawing is seen from the tip, put seen_from = "tip" at the top of the '
        "layout file and run this photo again.",
    ),
    FindingKind(
        code="hole-blocked",
        title="Blocked",
        about="hole",
        text="Hole {hole} left no spray where it should, near {expected_deg:clock} "
        "({expected_deg:.0f}°).",
        causes=("deposit or dirt in the hole", "the hole is deformed or closed by damage"),
        next_step=f"{_RELEASE} Clean the hole the way the nozzle's maker allows, without widening "
        "it, and spray a fresh card. If it stays blocked, replace the nozzle.",
    ),
    FindingKind(
        code="hole-off-line",
        title="Off-line",
        about="hole",
        text="Hole {hole} sprays {deviation_deg:turn} of where it should (± {u_deg:.1f}°, limit "
        "{limit_deg:.1f}°).",
        causes=(
            "deposit at one side of the hole's mouth",
            "damaged or worn hole edge",
            "bent or damaged tip",
        ),
        next_step=f"{_RELEASE} Clean the tip and look at the hole's mouth under a magnifier, then "
        "spray a fresh card. If the plume comes back to the same wrong place, replace the nozzle.",
    ),
    FindingKind(
        code="hole-weak",
        title="Weak",
        about="hole",
        text="Hole {hole} wets only {area_ratio:.0%} of what it should (± {u:.0%}, limit "
        "{limit:.0%}).",
        causes=(
            "deposit that partly closes the hole",
            "needle not lifting squarely",
            "stroke too slow or not full",
        ),
        next_step=f"{_RELEASE} Clean the hole the way the nozzle's maker allows, without widening "
        "it, and spray a fresh card. Weak again at the same hole: it is the nozzle, not the "
        "stroke.",
    ),
    FindingKind(
        code="hole-heavy",
        title="Heavy",
        about="hole",
        text="Hole {hole} wets {area_ratio:.0%} of what it should (± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "hole widened by wear or by cleaning",
            "the other holes are partly closed",
            "an uneven or tilted card",
        ),
        next_step=f"{_FRESH}, the nozzle square to it. Heavy again at the same hole: compare with "
        "a known good nozzle and the maker's data. A widened hole cannot be cleaned back: replace "
        "the nozzle.",
    ),
    FindingKind(
        code="hole-unsure",
        title="Cannot tell",
        about="hole",
        text="Hole {hole} cannot be judged from this photo: {reason}.",
        causes=(
            "the value lies too close to its limit",
            "the photo or the card is too poor",
        ),
        next_step="Photograph the card once more, square-on in even light. If it stays unsure, "
        f"spray {_FRESH_CARD}.",
    ),
    FindingKind(
        code="stray-spray",
        title="Spray outside the pattern",
        about="card",
        text="A plume near {direction_deg:clock} ({direction_deg:.0f}°) with {area_frac:.0%} of "
        "the wetted area belongs to no hole.",
        causes=(
            "the nozzle has more holes than were given",
            "a hole's damaged mouth throws a second jet",
            "a leak at the tip",
            "splash from the tray or an older stain",
        ),
        next_step="Count the holes in the nozzle tip. If the number was right, spray "
        f"{_FRESH_CARD}: a second jet at the same place comes from the "
        "nozzle, a splash does not come back.",
    ),
    FindingKind(
        code="plumes-merged",
        title="Plumes run together",
        about="card",
        text="The plumes of holes {holes} run together and could not be told apart.",
        causes=(
            "too much fuel on the card",
            "the nozzle too close to the card",
            "the photo taken too long after the stroke",
            "a plume that sprays off-line into its neighbour",
        ),
        next_step=f"{_FRESH}, the nozzle a little higher above it, and photograph it about "
        "a minute later.",
    ),
    FindingKind(
        code="too-wet",
        title="Card too wet",
        about="card",
        text="The card is flooded; wetted areas no longer tell how much each hole gives.",
        causes=("more than one stroke on the card", "paper that does not soak up enough"),
        next_step=f"{_FRESH} on thicker uncoated paper, and photograph it about a minute later.",
    ),
    FindingKind(
        code="weak-stroke",
        title="Too little spray",
        about="card",
        text="The whole pattern is faint or short; single holes cannot be judged by it.",
        causes=(
            "lever pulled too slowly or not to the end",
            "air in the line",
            "opening pressure far too low",
        ),
        next_step="Purge the air with no card in place, cover closed and hands out. Then, with the "
        "pressure released, put in a fresh card; cover closed, give it one brisk full stroke.",
    ),
    FindingKind(
        code="centre-drip",
        title="Wet spot at the centre",
        about="card",
        text="A wet spot lies under the tip, as large as {area_frac:.0%} of all plumes together. "
        "It does not decide this verdict.",
        causes=(
            "seat not tight or dirt under the seat",
            "needle closing late",
            "fuel that fell off the tip when the card was taken out",
        ),
        next_step="Dry the tip with the pressure released and zero on the gauge, then do the seat "
        "hold test with the cover closed.",
    ),
    FindingKind(
        code="nozzle-tilted",
        title="Nozzle not square to the card",
        about="card",
        text="The pattern is drawn out to one side, as from a nozzle tilted by about "
        "{tilt_deg:.1f}°.",
        causes=(
            "injector not upright in its holder",
            "card not lying flat",
            "an injector whose holes sit at a slant by design",
        ),
        next_step=f"{_RELEASE} Set the injector square to the card and spray a fresh one; for a "
        "slanted nozzle give its layout file.",
    ),
    FindingKind(
        code="centre-uncertain",
        title="Centre uncertain",
        about="card",
        text="The nozzle's place over the card is not known well; it may shift a direction by up "
        "to {u_deg:.1f}°.",
        causes=(
            "too few clear plumes",
            "plumes that are short or ragged",
            "part of the pattern outside the photo",
        ),
        next_step="Photograph the whole card square-on; if it stays uncertain, spray "
        f"{_FRESH_CARD}.",
    ),
    FindingKind(
        code="photo-poor",
        title="Photo too poor",
        about="photo",
        text="The photo limits what can be judged: {flag:meaning}.",
        causes=(),
        next_step="{flag:advice}",
    ),
    FindingKind(
        code="sheet-not-found",
        title="No sheet edge found",
        about="photo",
        text="No edge of the sheet was found; the photo was taken as if square-on, so directions "
        "and areas are less certain.",
        causes=("paper and bench of the same brightness", "all edges outside the photo"),
        next_step="Lay the card on a plain surface of another colour, all four edges in the "
        "picture, and photograph it again.",
    ),
    FindingKind(
        code="sheet-cropped",
        title="Sheet cropped",
        about="photo",
        text="Part of the sheet lies outside the photo, so directions and areas are less certain.",
        causes=(),
        next_step="Photograph the card again with all four edges in the picture.",
    ),
    FindingKind(
        code="no-scale",
        title="No scale",
        about="photo",
        text="The size of the sheet is not known, so nothing is given in mm. Directions, shares "
        "and the verdict do not need it.",
        causes=(),
        next_step="For mm, name the sheet's size (A4, A5, letter or width x height).",
    ),
)

KINDS: Final[dict[str, FindingKind]] = {kind.code: kind for kind in _KINDS}
"""Code to its kind; the order is the order of importance."""


def clock_position(direction_deg: float) -> str:
    """Say a direction as a clock position, to the nearest quarter of an hour (7.5 degrees).

    Parameters
    ----------
    direction_deg : float
        Clockwise from 12 o'clock.

    Returns
    -------
    str
        For example ``"4:30"``; the dial runs from 12:00 to 11:45. ``"unknown"`` for NaN.
    """
    if not math.isfinite(direction_deg):
        return "unknown"
    quarters = round(direction_deg / 7.5) % 48
    return f"{quarters // 4 or 12}:{quarters % 4 * 15:02d}"


class _Words(string.Formatter):
    """Fill templates; adds the formats ``clock``, ``turn``, ``meaning`` and ``advice``."""

    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec in ("meaning", "advice"):
            table = flags.MEANING if format_spec == "meaning" else PHOTO_ADVICE
            if value not in PHOTO_ADVICE:
                known = ", ".join(PHOTO_ADVICE)
                raise InputError(f"flag {value!r}: expected one of {known}")
            return table[value]
        if isinstance(value, float) and math.isnan(value):
            return "unknown"
        if format_spec == "clock":
            position = clock_position(float(value))
            hour, _, minutes = position.partition(":")
            return f"{hour} o'clock" if minutes == "00" else f"{position} on the clock"
        if format_spec == "turn":
            word = "clockwise" if value >= 0 else "anticlockwise"
            return f"{abs(value):.1f}° {word}"
        return str(super().format_field(value, format_spec))


def describe(code: str, hole: int = 0, **fields: object) -> Finding:
    """Make the finding of a kind, with its numbers filled in.

    Parameters
    ----------
    code : str
        A key of `KINDS`.
    hole : int
        From 1 for a kind about a hole, 0 otherwise.
    **fields
        Exactly the names in ``KINDS[code].fields``. Angles in degrees, ratios and shares as
        fractions (0.6 is printed as 60 %), uncertainties expanded (95 %); NaN is printed as
        "unknown". ``flag`` is one of the keys of `PHOTO_ADVICE`.

    Returns
    -------
    Finding
        Its text says what was found and what to do.

    Raises
    ------
    InputError
        Unknown code or flag, a missing or unknown field, or a hole number that does not suit.
    """
    kind = KINDS.get(code)
    if kind is None:
        raise InputError(f"finding {code!r}: expected one of {', '.join(KINDS)}")
    if fields.keys() != kind.fields:
        raise InputError(
            f"finding {code}: expected the fields {', '.join(sorted(kind.fields)) or 'none'}, got "
            f"{', '.join(sorted(fields)) or 'none'}"
        )
    if (kind.about == "hole") != (hole >= 1) or hole < 0:
        wanted = "a hole number from 1" if kind.about == "hole" else "hole 0"
        raise InputError(f"finding {code}: expected {wanted}, got {hole}")
    words = _Words()
    found = words.format(kind.text, hole=hole, **fields)
    advice = words.format(kind.next_step, hole=hole, **fields)
    return Finding(code=code, hole=hole, text=f"{found} {advice}")


def most_important_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort findings by the catalogue's order, then by hole; unknown codes go last."""
    rank = {code: i for i, code in enumerate(KINDS)}
    return tuple(sorted(findings, key=lambda f: (rank.get(f.code, len(rank)), f.hole)))
