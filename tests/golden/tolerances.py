"""How far a number may move: a tenth of the uncertainty that its document states for it.

One table says for every number which key holds its uncertainty. What has none moves by as little as
would be a tenth of the usual uncertainty of its sort; `DEFAULTS` names it. Names are the frozen
ones.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

SHARE: Final = 0.1
"""Of the expanded uncertainty: the project's own rule for golden numbers."""

PROBABILITY: Final = 0.08
"""What a shift by `SHARE` of the expanded uncertainty can do to a normal tail: 0.2 standard
deviations times the density's greatest value, 0.399."""

OF_UNCERTAINTY: Final = 0.05
"""Relative: stated widths may not grow by more than 5 % in the median (the plan's own limit)."""

RELATIVE: Final = 0.01
"""Relative, for what has no uncertainty: shares are known within 5 to 10 % at best, a tenth of
which is half to one percent."""

DEFAULTS: Final = {
    "deg": 0.1,  # directions are known within 1 degree at best
    "px": 0.0005,  # of the photo's longer side: below a pixel on a usual photo
    "mm": 0.05,  # the centre is known within 0.5 mm at best
    "mm2": 1.0,  # plumes of some hundred mm2 are known within 3 % at best
    "frac": 0.002,  # shares are known within 0.02 at best
    "ratio": 0.002,
    "": 1e-6,
}
"""Least tolerance by unit, where a number near zero makes a relative one meaningless."""

Lookup = Callable[[str], float]
"""Dotted key to its number, looked for in the same object and then in those around it."""
Rule = Callable[[Lookup, float], float]
"""Lookup and value to the uncertainty, NaN when it is not stated."""


def own(*keys: str) -> Rule:
    """The number under a key; of several keys the first that holds one."""

    def uncertainty(look: Lookup, _: float) -> float:
        return next((u for u in map(look, keys) if math.isfinite(u)), math.nan)

    return uncertainty


def relative(u: str, of: str) -> Rule:
    """As uncertain, relatively, as another number."""
    return lambda look, value: abs(value) * look(u) / abs(look(of)) if look(of) else math.nan


def scaled(u_frac: str) -> Rule:
    """A relative uncertainty."""
    return lambda look, value: abs(value) * look(u_frac)


def bearing(u: str, length: str, zero: float = 0.0) -> Rule:
    """Direction of something as long as ``length`` less ``zero``, whose tip is known within
    ``u``."""

    def uncertainty(look: Lookup, _: float) -> float:
        long = abs(look(length) - zero)
        return min(180.0, math.degrees(look(u) / long)) if long > 0 else 180.0

    return uncertainty


def pixels(u_mm: str) -> Rule:
    """A length in mm as pixels at the card's scale."""
    return lambda look, _: look(u_mm) / look("card.mm_per_px")


RULES: Final[dict[str, Rule]] = {
    # -- nozzles with holes
    "centre.x_px": own("u_px"),
    "centre.y_px": own("u_px"),
    "centre.x_mm": own("u_mm"),
    "centre.y_mm": own("u_mm"),
    "plumes.axis_deg": own("direction_u_deg"),
    "plumes.width_deg": relative("area_u_frac", "area_frac"),
    "plumes.near_mm": own("centre.u_mm"),
    "plumes.reach_mm": own("centre.u_mm"),
    "plumes.centroid_mm": own("centre.u_mm"),
    "plumes.centroid_px": own("centre.u_px"),
    "plumes.axis_px": own("centre.u_px"),
    "holes.expected_deg": own("rotation_u_deg", "deviation_u_deg"),
    "holes.spacing_deg": own("deviation_u_deg"),
    "holes.area_frac": relative("area_ratio_u", "area_ratio"),
    "marks.centroid_px": own("centre.u_px"),
    "card.mm_per_px": scaled("printed.scale_u_frac"),
    "angles.tilt_towards_deg": bearing("tilt_u_deg", "tilt_deg"),
    "angles.plumes.nominal_deg": own("axis_angle_u_deg"),
    "angles.plumes.cone_deg": own("axis_angle_u_deg"),
    "evidence.value": own("u"),
    # -- nozzles with one central spray
    "patch.x_mm": own("centre_u_mm"),
    "patch.y_mm": own("centre_u_mm"),
    "patch.centroid_px": pixels("centre_u_mm"),
    "patch.heavy_side_deg": bearing("heavy_side_frac_u", "heavy_side_frac", 0.5),
    "patch.offset_deg": bearing("offset_ratio_u", "offset_ratio"),
    "patch.offset_mm": relative("offset_ratio_u", "offset_ratio"),
    "patch.profile": own("core_ratio_u"),
    "patch.by_angle": own("streak_frac_u"),
    "patch.outline_px.area_px2": relative("patch.area_u_mm2", "patch.area_mm2"),
    "patch.outline_px.x_px": pixels("patch.centre_u_mm"),
    "patch.outline_px.y_px": pixels("patch.centre_u_mm"),
    "patch.outline_px.length_px": relative("patch.circularity_u", "patch.circularity"),
    "judged.value": own("u"),
    "aim.x_mm": own("u_mm"),
    "aim.y_mm": own("u_mm"),
    # -- several shots, before and after
    "holes.shot_sd_deg": own("deviation_u_deg"),
    "holes.photo_sd_deg": own("deviation_u_deg"),
    "holes.shot_sd_ratio": own("area_ratio_u"),
    "holes.photo_sd_ratio": own("area_ratio_u"),
    "extremes.value": own("u"),
    "before": own("difference_u"),
    "after": own("difference_u"),
    # -- tables of a batch
    "holes.width_deg": relative("area_u_frac", "area_frac"),
    "photos.share_spread_frac": own("area_ratio_max_u"),
}
"""End of a dotted key to what its uncertainty is, where that is not a key of the same name with
``_u`` in it: ``direction_deg`` has ``direction_u_deg``, ``area_ratio`` has ``area_ratio_u``."""

GIVEN: Final = frozenset({"limits", "layout", "nozzle", "photo", "allowed", "risk", "size_mm"})
"""Keys of what was asked for or read off: not measured, so it does not move at all."""

CHANCES: Final = frozenset({"probability", "chance"})

CYCLIC: Final = frozenset(
    {"direction_deg", "axis_deg", "expected_deg", "tilt_towards_deg", "heavy_side_deg"}
    | {"offset_deg", "turn_deg"}
)
"""Directions: 359.9 and 0.1 degrees lie 0.2 apart."""


def distance(key: str, old: float, new: float) -> float:
    """Return how far a number has moved."""
    gap = abs(new - old)
    return abs((gap + 180.0) % 360.0 - 180.0) if key.rpartition(".")[2] in CYCLIC else gap


def is_uncertainty(name: str) -> bool:
    """Tell whether a key holds an uncertainty."""
    return name == "u" or name.startswith("u_") or name.endswith("_u") or "_u_" in name


def tolerance(key: str, value: float, around: Sequence[dict[str, Any]]) -> float:
    """Return how far a frozen number may move.

    Parameters
    ----------
    key : str
        Dotted, without places in lists.
    value : float
        The frozen number.
    around : sequence of dict
        The objects it lies in, the whole document first.
    """
    name = key.rpartition(".")[2]
    if GIVEN.intersection(key.split(".")) or name.startswith("limit_"):
        return abs(value) * 1e-9 or 1e-12
    unit = next((u for u in ("mm2", "deg", "px", "mm", "frac", "ratio") if name.endswith(u)), "")
    least = DEFAULTS[unit]
    if unit == "px":
        least *= max(_look(around)("photo.width_px"), _look(around)("photo.height_px"), 1000.0)
    if name in CHANCES:
        return PROBABILITY
    if is_uncertainty(name):
        return max(OF_UNCERTAINTY * abs(value), 1e-4)
    rule = next((RULES[end] for end in _ends(key) if end in RULES), _namesake(name, unit))
    u = rule(_look(around), value)
    if math.isfinite(u) and u > 0:
        return SHARE * u
    return max(RELATIVE * abs(value), least)


def _namesake(name: str, unit: str) -> Rule:
    stem = name.removesuffix(f"_{unit}")
    return own(f"{stem}_u_{unit}", f"{name}_u")


def _ends(key: str) -> list[str]:
    parts = key.split(".")
    return [".".join(parts[k:]) for k in range(len(parts))]


def _look(around: Sequence[dict[str, Any]]) -> Lookup:
    def look(key: str) -> float:
        for holder in reversed(around):
            value: Any = holder
            for part in key.split("."):
                value = value.get(part) if isinstance(value, dict) else None
            if isinstance(value, int | float):
                return float(value)
        return math.nan

    return look
