"""A sprayed card as a trainer asks for it, in plain words.

Demonstration pictures and the pages of the atlas are made from such requests, so each of them can
be made again from one command line.
"""

from __future__ import annotations

import shlex
from collections import Counter
from dataclasses import dataclass, fields
from typing import Final

from spraycheck.errors import InputError
from spraycheck.simulate.checks import as_rng, check_choice, check_range
from spraycheck.simulate.paper import FLUIDS, STOCKS

NOZZLES: Final = ("even", "slanted", "two-row", "pintle", "single")
"""Kinds of nozzle: equal holes evenly spread; an injector that stands aslant in the engine; holes
in an upper and a lower row; a hollow spray along the axis; a solid one."""

AXIAL: Final = ("pintle", "single")

AXIAL_FAULTS: Final = ("none", "lopsided", "streaky", "filled", "off-centre")
"""What can be wrong with a spray along the axis; ``filled`` is a pintle's hollow filled up."""

PHOTOS: Final = ("easy", "usual", "poor")
"""How hard the photograph is to read."""

STRAY_SHARE: Final = 0.3
"""Fluid of a stray jet over that of a healthy hole (chosen: clearly there, clearly no hole)."""

LEAST_HOLES, MOST_HOLES = 3, 16
"""What ``spraycheck measure`` judges."""

HoleValue = tuple[int, float]


@dataclass(frozen=True, kw_only=True)
class CardRequest:
    """What is asked for.

    Parameters
    ----------
    nozzle : str
        One of `NOZZLES`.
    holes : int
        3 to 16; not used by a pintle or single-hole nozzle.
    blocked : tuple of int
        Holes that give nothing; holes count from 1, clockwise from 12 o'clock.
    weak, heavy : tuple of (int, float)
        Hole and what it gives relative to a healthy one: 0.05 to 0.95, 1.05 to 3.
    off_line : tuple of (int, float)
        Hole and how many degrees it sprays beside its line, clockwise positive.
    merging : tuple of (int, float)
        Hole bent towards the next one clockwise, that one bent back, and the angle in degrees
        that is left between them.
    axial_fault : str
        One of `AXIAL_FAULTS`, for a pintle or single-hole nozzle.
    stray : tuple of (float, float)
        Direction of a jet that belongs to no hole, clockwise, and its fluid relative to a healthy
        hole's, 0.02 to 2.
    drip_mm3 : float
        Fluid that falls off the tip.
    splashes : int
        Drops thrown about the card.
    tilt_deg, tilt_to_deg : float
        How far the nozzle is from square to the card, and the clockwise direction it leans to.
    sheet : str
        As for ``spraycheck measure``: ``a4``, ``200x200`` ...
    paper, fluid : str
        Names of the simulator's stocks and fluids.
    squared : bool
        Paper ruled in squares.
    photo : str
        One of `PHOTOS`.
    shadow, glare : bool
        A shadow's edge across the card; a lamp mirrored on it.
    curl_mm : float
        How far the sheet's ends stand up.
    minutes : float
        From the stroke to the photograph.
    angle_deg, height_mm, cone_deg : float or None
        Between holes and nozzle axis; of the tip over the card; full angle of a plume. Chosen to
        suit the sheet when None.
    volume_mm3 : float or None
        Fluid of a healthy nozzle; chosen to suit when None.
    seed : int
        The same seed gives the same picture.
    megapixels : float
        Size of the picture.
    """

    nozzle: str = "even"
    holes: int = 6
    blocked: tuple[int, ...] = ()
    weak: tuple[HoleValue, ...] = ()
    heavy: tuple[HoleValue, ...] = ()
    off_line: tuple[HoleValue, ...] = ()
    merging: tuple[HoleValue, ...] = ()
    axial_fault: str = "none"
    stray: tuple[tuple[float, float], ...] = ()
    drip_mm3: float = 0.0
    splashes: int = 0
    tilt_deg: float = 0.0
    tilt_to_deg: float = 90.0
    sheet: str = "a4"
    paper: str = "office"
    fluid: str = "straw"
    squared: bool = False
    photo: str = "easy"
    shadow: bool = False
    glare: bool = False
    curl_mm: float = 0.0
    minutes: float = 0.75
    angle_deg: float | None = None
    height_mm: float | None = None
    cone_deg: float | None = None
    volume_mm3: float | None = None
    seed: int = 1
    megapixels: float = 3.0

    def __post_init__(self) -> None:
        check_choice("nozzle", self.nozzle, NOZZLES)
        check_choice("photo", self.photo, PHOTOS)
        check_choice("paper", self.paper, tuple(STOCKS))
        check_choice("fluid", self.fluid, tuple(FLUIDS))
        check_choice("fault", self.axial_fault, AXIAL_FAULTS)
        as_rng(self.seed)
        if self.nozzle in AXIAL:
            self._check_axial()
        else:
            self._check_holes()
        for direction, share in self.stray:
            check_range("stray", direction, 0, 360, unit="deg")
            check_range("share of the stray jet", share, 0.02, 2)
        check_range("tilt", self.tilt_deg, 0, 30, unit="deg")
        check_range("direction of the tilt", self.tilt_to_deg, 0, 360, unit="deg")
        check_range("drip", self.drip_mm3, 0, 500, unit="mm3")
        check_range("splashes", self.splashes, 0, 200)
        check_range("curl", self.curl_mm, -30, 30, unit="mm")
        check_range("minutes", self.minutes, 0, 60)
        if self.volume_mm3 is not None:
            check_range("volume", self.volume_mm3, 0, 5000, unit="mm3", above=True)
        if self.angle_deg is not None:
            check_range("angle", self.angle_deg, 5, 85, unit="deg")
        if self.height_mm is not None:
            check_range("height", self.height_mm, 1, 300, unit="mm")
        if self.cone_deg is not None:
            check_range("cone", self.cone_deg, 0.5, 60, unit="deg")
        check_range("megapixels", self.megapixels, 0.5, 20)

    def _check_holes(self) -> None:
        if not LEAST_HOLES <= self.holes <= MOST_HOLES:
            raise InputError(
                f"{self.holes} holes: expected {LEAST_HOLES} to {MOST_HOLES}",
                "for fewer take --nozzle pintle or --nozzle single",
            )
        if self.axial_fault != "none":
            raise InputError(
                f"fault {self.axial_fault!r} is one of a spray along the axis",
                "take --nozzle pintle or --nozzle single, or --blocked, --weak, --off-line",
            )
        if self.nozzle == "two-row" and self.holes % 2:
            raise InputError(f"{self.holes} holes in two rows: expected an even number")
        named = [*self.blocked]
        for word, pairs, low, high in (
            ("weak", self.weak, 0.05, 0.95),
            ("heavy", self.heavy, 1.05, 3.0),
            ("off-line", self.off_line, -90.0, 90.0),
            ("merging", self.merging, 0.0, 360.0 / self.holes),
        ):
            for hole, value in pairs:
                check_range(f"{word} hole {hole}:", value, low, high)
                named.append(hole)
                if word == "merging":
                    named.append(hole % self.holes + 1)
        for hole in named:
            if not 1 <= hole <= self.holes:
                raise InputError(f"there is no hole {hole}: expected 1 to {self.holes}")
        twice = [hole for hole, count in Counter(named).items() if count > 1]
        if twice:
            raise InputError(
                f"hole {twice[0]} is given more than one fault, expected at most one per hole",
                "a merging hole counts together with the next one clockwise"
                if self.merging
                else "",
            )
        if len(self.blocked) == self.holes:
            raise InputError(f"all {self.holes} holes are blocked: expected one that sprays")

    def _check_axial(self) -> None:
        asked = [
            name
            for name in ("blocked", "weak", "heavy", "off_line", "merging")
            if getattr(self, name)
        ]
        if asked:
            raise InputError(
                f"{asked[0].replace('_', '-')} is a fault of one hole among several, but "
                f"a {self.nozzle} nozzle has one spray",
                f"take --fault {', '.join(AXIAL_FAULTS[1:])}",
            )
        if self.nozzle == "single" and self.axial_fault == "filled":
            raise InputError("a single-hole spray has no hollow that could fill up")

    @property
    def faultless(self) -> bool:
        """Whether nothing is wrong with the nozzle itself."""
        return not (
            self.blocked
            or self.weak
            or self.heavy
            or self.off_line
            or self.merging
            or self.stray
            or self.drip_mm3
            or self.axial_fault != "none"
        )

    def command(self, out: str = "demo.jpg") -> str:
        """Return the command line that makes this picture."""
        words = ["spraycheck", "demo"]
        default = CardRequest()
        for one in fields(self):
            value = getattr(self, one.name)
            # Holes, seed and size are said even where they are the default: the eye looks for them.
            if value == getattr(default, one.name) and one.name not in ("holes", "seed"):
                continue
            if one.name == "tilt_to_deg" or (one.name == "holes" and self.nozzle in AXIAL):
                continue
            words += _option(self, one.name, value)
        return shlex.join([*words, "--out", out])


_OPTION_OF: Final = {
    "off_line": "off-line",
    "axial_fault": "fault",
    "drip_mm3": "drip",
    "tilt_deg": "tilt",
    "curl_mm": "curl",
    "angle_deg": "angle",
    "height_mm": "height",
    "cone_deg": "cone",
    "volume_mm3": "volume",
}


def _option(request: CardRequest, name: str, value: object) -> list[str]:
    flag = f"--{_OPTION_OF.get(name, name)}"
    if isinstance(value, bool):
        return [flag]
    if isinstance(value, tuple):
        shown = [f"{one[0]:g}:{one[1]:g}" if isinstance(one, tuple) else f"{one}" for one in value]
        return [word for text in shown for word in (flag, text)]
    if name == "tilt_deg" and request.tilt_to_deg != CardRequest().tilt_to_deg:
        return [flag, f"{value:g}:{request.tilt_to_deg:g}"]
    return [flag, f"{value:g}" if isinstance(value, float) else str(value)]
