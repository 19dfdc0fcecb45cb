"""What is tolerated: settings to be agreed in the workshop, not a standard.

No published hole-to-hole limit for a lever test is known to the project, so every default is a
setting; each field says in its metadata what it limits, its unit, where the default comes from and
what values make sense. Limits files, their error messages and the table in the handbook are all
made from that metadata. A limit of infinity (zero for a lowest ratio) is switched off.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar, Final

from spraycheck.errors import InputError

OFF: Final = math.inf
"""Value of a limit that is not held."""

LOWEST: Final = ("core_filled_ratio",)
"""Limits that hold from below without saying so in their name."""

RENAMED: Final = {
    "roundness_low_ratio": "ellipse_low_ratio",
    "circularity_low_ratio": "form_factor_low_ratio",
}
"""Old name of a limit to its present one; a limits file with an old one is read with a notice."""

COMMON: Final = "common practice, no source"


def _limit(
    default: float, about: str, *, unit: str, why: str, least: float, most: float, off: float = OFF
) -> Any:
    """Declare a limit: its default and all that a reader of it must know."""
    return field(
        default=default,
        metadata={
            "about": about,
            "unit": unit,
            "source": why,
            "least": least,
            "most": most,
            "off": off,
        },
    )


class LimitSet:
    """What every set of limits can do; a set is a dataclass whose limits are made by `_limit`."""

    name: str
    sources: tuple[tuple[str, str], ...]
    risk: float

    logarithmic: ClassVar[bool] = False
    """Whether ratios are held in logarithms: their uncertainties are relative ones."""

    def __post_init__(self) -> None:
        for one in limit_fields(type(self)):
            value = getattr(self, one.name)
            about = one.metadata
            if value != about["off"] and not about["least"] <= value <= about["most"]:
                raise InputError(
                    f"limit {one.name} is {value:g}, expected {about['least']:g} to "
                    f"{about['most']:g} ({about['unit']}): {about['about']}"
                )

    def unit(self, name: str) -> str:
        """Return the unit of a limit."""
        return str(_metadata(self, name)["unit"])

    def source(self, name: str) -> str:
        """Return where the value of a limit comes from."""
        return dict(self.sources).get(name, str(_metadata(self, name)["source"]))

    def held(self, name: str) -> bool:
        """Say whether a limit is on."""
        return bool(getattr(self, name) != _metadata(self, name)["off"])

    def tolerance(self, name: str) -> tuple[float, float]:
        """Return the least and the largest value that a limit allows; ratios as they are held."""
        allowed = float(getattr(self, name))
        if self.logarithmic and self.unit(name) == "ratio":
            allowed = math.log(allowed)
        if "_low_" in name or name in LOWEST:
            return allowed, math.inf
        return (-allowed if name.endswith("_deg") else -math.inf), allowed


@dataclass(frozen=True, kw_only=True)
class Limits(LimitSet):
    """What is tolerated; see the metadata of each field for its meaning, unit and source.

    Parameters
    ----------
    direction_deg : float
        Largest deviation of a plume from where its hole should spray.
    rotation_deg : float
        Largest turn of the whole pattern against the index mark; held only where the card was lined
        up with the feature the layout counts from.
    spacing_deg : float
        Largest deviation of the angle between neighbouring plumes from the layout's.
    area_low_ratio, area_high_ratio : float
        Smallest and largest wetted area relative to what the hole should wet.
    area_spread_ratio : float
        Largest over smallest relative wetted area within one nozzle.
    stray_frac : float
        Largest share of the wetted area that may lie outside the pattern.
    width_low_ratio, width_high_ratio : float
        Smallest and largest plume width relative to its neighbours' (solid stream, bushy).
    reach_low_ratio, reach_high_ratio : float
        Smallest and largest reach relative to what the neighbours reach.
    centre_offset_mm : float
        Largest distance of the nozzle centre from the card's aim.
    drip_frac : float
        Largest wet spot at the centre, over the area of all plumes.
    spray_angle_deg : float
        Largest deviation of the included spray angle from the layout's; needs the standoff.
    tilt_deg : float
        Largest tilt of the nozzle against the card; above it no verdict is given on shares.
    risk : float
        Largest probability that the verdict on the whole nozzle is wrong.
    name : str
        What this set of limits is called.
    sources : tuple of (str, str)
        Name of a limit and where its value comes from, for values that are not the defaults.
    """

    direction_deg: float = _limit(
        5.0,
        "deviation of a plume from where its hole should spray",
        unit="deg",
        why=f"what an eye with a marked card tells apart at once ({COMMON})",
        least=0.5,
        most=60.0,
    )
    rotation_deg: float = _limit(
        5.0,
        "turn of the whole pattern against the feature the card was lined up with",
        unit="deg",
        why=f"as for a single plume ({COMMON})",
        least=0.5,
        most=180.0,
    )
    spacing_deg: float = _limit(
        10.0,
        "deviation of the angle between neighbouring plumes from the layout's",
        unit="deg",
        why="twice the limit of direction: two neighbours may lean apart by one each (chosen)",
        least=0.5,
        most=120.0,
    )
    area_low_ratio: float = _limit(
        0.75,
        "smallest wetted area relative to what the hole should wet",
        unit="ratio",
        why=f"a quarter less: well beyond the few percent between healthy holes ({COMMON})",
        least=0.05,
        most=0.99,
        off=0.0,
    )
    area_high_ratio: float = _limit(
        1.33,
        "largest wetted area relative to what the hole should wet",
        unit="ratio",
        why=f"a third more, the inverse of a quarter less ({COMMON})",
        least=1.01,
        most=20.0,
    )
    area_spread_ratio: float = _limit(
        1.77,
        "largest over smallest relative wetted area within one nozzle",
        unit="ratio",
        why="the two limits of the share together, 1.33 / 0.75 (chosen)",
        least=1.02,
        most=100.0,
    )
    stray_frac: float = _limit(
        0.04,
        "share of the wetted area that lies outside the pattern",
        unit="share",
        why=COMMON,
        least=0.001,
        most=1.0,
    )
    width_low_ratio: float = _limit(
        0.5,
        "smallest plume width relative to its neighbours' (below: a solid stream)",
        unit="ratio",
        why=f"half as wide is seen at once ({COMMON})",
        least=0.05,
        most=0.99,
        off=0.0,
    )
    width_high_ratio: float = _limit(
        2.0,
        "largest plume width relative to its neighbours' (above: bushy)",
        unit="ratio",
        why=f"twice as wide is seen at once ({COMMON})",
        least=1.01,
        most=20.0,
    )
    reach_low_ratio: float = _limit(
        0.6,
        "smallest reach of a plume relative to what it should reach beside its neighbours",
        unit="ratio",
        why=f"clearly short to the eye ({COMMON})",
        least=0.05,
        most=0.99,
        off=0.0,
    )
    reach_high_ratio: float = _limit(
        1.67,
        "largest reach of a plume relative to what it should reach beside its neighbours",
        unit="ratio",
        why="the inverse of the smallest (chosen)",
        least=1.01,
        most=20.0,
    )
    centre_offset_mm: float = _limit(
        OFF,
        "distance of the nozzle centre from the card's aim",
        unit="mm",
        why="off by default: it says how the card lay, not how the nozzle sprays (chosen)",
        least=0.1,
        most=200.0,
    )
    drip_frac: float = _limit(
        OFF,
        "wet spot at the centre over the area of all plumes",
        unit="share",
        why="off by default: the seat hold test decides about the seat, not the card (chosen)",
        least=0.001,
        most=10.0,
    )
    spray_angle_deg: float = _limit(
        5.0,
        "deviation of the included spray angle from the layout's (needs the standoff)",
        unit="deg",
        why=f"as for a single plume ({COMMON})",
        least=0.5,
        most=60.0,
    )
    tilt_deg: float = _limit(
        3.0,
        "tilt of the nozzle against the card",
        unit="deg",
        why="it moves a plume at 65 degrees by up to 1.4 degrees (chosen)",
        least=0.2,
        most=45.0,
    )
    risk: float = _limit(
        0.05,
        "probability that the verdict on the whole nozzle is wrong",
        unit="probability",
        why="default of ISO 14253-1:2017 (from memory) and of the examples of JCGM 106:2012",
        least=0.0001,
        most=0.4,
        off=math.nan,  # there is no verdict without a risk
    )
    name: str = "default settings"
    sources: tuple[tuple[str, str], ...] = ()

    logarithmic: ClassVar[bool] = True


@dataclass(frozen=True, kw_only=True)
class AxialLimits(LimitSet):
    """What is tolerated of a nozzle with an axial spray; see the metadata of each field.

    Parameters
    ----------
    ellipse_low_ratio : float
        Smallest minor over major axis of the patch.
    form_factor_low_ratio : float
        Smallest form factor of the patch's outline, ``4 pi`` area over squared length (1 is a
        circle).
    heavy_side_frac : float
        Largest share of the fluid on one side of the patch's middle.
    streak_frac : float
        Largest unevenness of the fluid by angle.
    core_hollow_ratio : float
        Largest wetness in the middle over the ring's, of a spray that should be hollow.
    core_filled_ratio : float
        Smallest wetness in the middle over the patch's wettest ring, of one that should be filled.
    hollow_offset_ratio : float
        Largest distance of the hollow's middle from the outline's, over the diameter; held for a
        spray that should be hollow.
    offset_ratio : float
        Largest distance of the patch from the aim, over its diameter; held where the aim is known.
    side_frac : float
        Largest share of the wetted area beside the patch.
    spray_angle_deg : float
        Largest deviation of the full spray angle from the nozzle's; needs the standoff.
    risk : float
        Largest probability that the verdict on the nozzle is wrong.
    name : str
        What this set of limits is called.
    sources : tuple of (str, str)
        Name of a limit and where its value comes from, for values that are not the defaults.
    """

    ellipse_low_ratio: float = _limit(
        0.8,
        "smallest minor over major axis of the patch",
        unit="ratio",
        why=f"a quarter longer than wide is seen at once ({COMMON})",
        least=0.1,
        most=0.99,
        off=0.0,
    )
    form_factor_low_ratio: float = _limit(
        0.55,
        "smallest form factor of the patch's outline",
        unit="ratio",
        why="a circle has 1, a square 0.79, an outline with clear fingers about 0.5 (chosen)",
        least=0.05,
        most=0.99,
        off=0.0,
    )
    heavy_side_frac: float = _limit(
        0.62,
        "share of the fluid on one side of the patch's middle",
        unit="share",
        why=f"well over three parts to two is seen at once ({COMMON})",
        least=0.51,
        most=0.99,
    )
    streak_frac: float = _limit(
        0.2,
        "unevenness of the fluid by angle, root mean square over the mean",
        unit="share",
        why="well above the 0.03 to 0.15 that sound simulated sprays show on paper (chosen)",
        least=0.02,
        most=2.0,
    )
    core_hollow_ratio: float = _limit(
        0.6,
        "wetness in the middle over the ring's, of a spray that should be hollow",
        unit="ratio",
        why="a hollow that soaks in by half is still seen as one (chosen)",
        least=0.05,
        most=0.99,
    )
    core_filled_ratio: float = _limit(
        0.6,
        "smallest wetness in the middle over the wettest ring, of a spray that should be filled",
        unit="ratio",
        why="below it the eye sees a ring (chosen)",
        least=0.05,
        most=0.99,
        off=0.0,
    )
    hollow_offset_ratio: float = _limit(
        0.10,
        "distance of the hollow's middle from the outline's, over the diameter",
        unit="ratio",
        why="the ring's wall is then more than twice as thick on one side as on the other when it "
        "fills half the radius (chosen)",
        least=0.01,
        most=0.5,
    )
    offset_ratio: float = _limit(
        0.13,
        "distance of the patch from the aim, over its diameter",
        unit="ratio",
        why="an even disc that far off has two parts of its fluid on one side of the aim to one on "
        "the other: 1/2 + 4 x / pi = 2/3 for x = 0.13 (derived for small x)",
        least=0.02,
        most=5.0,
    )
    side_frac: float = _limit(
        0.04,
        "share of the wetted area beside the patch",
        unit="share",
        why=COMMON,
        least=0.001,
        most=1.0,
    )
    spray_angle_deg: float = _limit(
        OFF,
        "deviation of the full spray angle from the nozzle's (needs the standoff)",
        unit="deg",
        why="off by default: paper that soaks widens the patch by an unknown amount (chosen)",
        least=0.5,
        most=60.0,
    )
    risk: float = _limit(
        0.05,
        "probability that the verdict on the nozzle is wrong",
        unit="probability",
        why="default of ISO 14253-1:2017 (from memory) and of the examples of JCGM 106:2012",
        least=0.0001,
        most=0.4,
        off=math.nan,  # there is no verdict without a risk
    )
    name: str = "default settings"
    sources: tuple[tuple[str, str], ...] = ()


def limit_fields(kind: type[LimitSet] = Limits) -> list[Any]:
    """Return the fields of a set that are limits, in order, each with its metadata."""
    return [one for one in fields(kind) if one.metadata]  # type: ignore[arg-type]


def _metadata(limits: LimitSet, name: str) -> Mapping[str, Any]:
    return next(one.metadata for one in limit_fields(type(limits)) if one.name == name)


CentralLimits = AxialLimits  # until its importers in other rooms know the new name
