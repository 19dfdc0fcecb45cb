"""An invented example of every finding that holds numbers, so that it reads as in a report."""

from __future__ import annotations

import string
from typing import Any, Final

from spraycheck import flags
from spraycheck.judge.limits import AxialLimits, Limits
from spraycheck.judge.result import Doubt, Finding, HoleState, Kind, LimitCheck, Remedy
from spraycheck.report.words.findings import KINDS, describe, found_text, needed

_HOLES, _CENTRAL = Limits(), AxialLimits()

EXAMPLES: Final[dict[str, dict[str, Any]]] = {
    "count-does-not-fit": {"expected": 6, "found": 4},
    "mirrored-layout": {"as_given_deg": 9.1, "mirrored_deg": 0.8},
    "hole-blocked": {"expected_deg": 135.0},
    "hole-off-line": {"value": 9.4, "u": 1.2, "limit": _HOLES.direction_deg},
    "hole-weak": {"value": 0.58, "u": 0.07, "limit": _HOLES.area_low_ratio},
    "hole-heavy": {"value": 1.6, "u": 0.12, "limit": _HOLES.area_high_ratio},
    "hole-solid-stream": {"value": 0.35, "u": 0.06, "limit": _HOLES.width_low_ratio},
    "hole-bushy": {"value": 2.5, "u": 0.2, "limit": _HOLES.width_high_ratio},
    "hole-short": {"value": 0.45, "u": 0.05, "limit": _HOLES.reach_low_ratio},
    "hole-long": {"value": 1.9, "u": 0.1, "limit": _HOLES.reach_high_ratio},
    "hole-intermittent": {
        "state": HoleState.WEAK,
        "faulty": (("second.jpg", HoleState.WEAK, 0.55),),
        "sound": (
            ("first.jpg", HoleState.CLEAR, 0.98),
            ("third.jpg", HoleState.CLEAR, 0.97),
        ),
        "followed": True,
    },
    "hole-unsure": {
        "doubt": Doubt.NEAR_LIMIT,
        "remedy": Remedy.ANOTHER_PHOTO,
        "of": "area_low_ratio",
        "shots": 1,
    },
    "stray-spray": {"direction_deg": 200.0, "area_frac": 0.07},
    "spacing-uneven": {"value": 13.5, "u": 1.6, "limit": _HOLES.spacing_deg},
    "shares-uneven": {"value": 2.3, "u": 0.2, "limit": _HOLES.area_spread_ratio},
    "pattern-turned": {"value": -8.2, "u": 1.1, "limit": _HOLES.rotation_deg},
    "centre-off-aim": {"value": 6.1, "u": 0.8, "limit": 4.0},
    "drip-over-limit": {"value": 0.12, "u": 0.02, "limit": 0.05},
    "shots-unmatched": {"doubts": (Doubt.NO_FEATURE,)},
    "plumes-merged": {"holes": "2 and 3"},
    "centre-drip": {"area_frac": 0.04},
    "spray-angle-off": {"value": -11.2, "u": 4.1, "limit": _HOLES.spray_angle_deg},
    "nozzle-tilted": {"tilt_deg": 4.2},
    "centre-uncertain": {"u_deg": 3.5},
    "central-several": {"found": 5},
    "central-side-spray": {
        "value": 0.09,
        "u": 0.02,
        "limit": _CENTRAL.side_frac,
        "direction_deg": 120.0,
    },
    "central-not-hollow": {"value": 0.92, "u": 0.08, "limit": _CENTRAL.core_hollow_ratio},
    "central-not-filled": {"value": 0.3, "u": 0.06, "limit": _CENTRAL.core_filled_ratio},
    "central-lopsided": {
        "value": 0.72,
        "u": 0.03,
        "limit": _CENTRAL.heavy_side_frac,
        "direction_deg": 255.0,
    },
    "central-hollow-off-centre": {
        "value": 0.17,
        "u": 0.03,
        "limit": _CENTRAL.hollow_offset_ratio,
    },
    "central-streaky": {"value": 0.31, "u": 0.04, "limit": _CENTRAL.streak_frac},
    "central-not-round": {"value": 0.66, "u": 0.05, "limit": _CENTRAL.ellipse_low_ratio},
    "central-ragged": {"value": 0.38, "u": 0.05, "limit": _CENTRAL.form_factor_low_ratio},
    "central-off-centre": {
        "value": 0.24,
        "u": 0.04,
        "limit": _CENTRAL.offset_ratio,
        "direction_deg": 30.0,
    },
    "central-angle": {"angle_deg": 19.0, "u": 2.0, "nominal_deg": 12.0, "limit": 4.0},
    "central-soaked": {"share": 0.74},
    "central-doubtful-spot": {"direction_deg": 75.0, "share": 0.05},
    "central-fill-unknown": {"seen": "hollow"},
    "photo-poor": {"flag": flags.GLARE},
    "photo-blurred": {"edge_frac": 0.31, "limit_frac": 0.2},
    "photo-moved": {"edge_frac": 0.34, "other_frac": 0.08, "limit_frac": 0.2},
    "photo-noisy": {"noise_frac": 0.09, "limit_frac": 0.05},
    "photo-coarse": {"width_px": 7.0, "limit_px": 11.0},
    "photo-overexposed": {"clipped_frac": 0.42, "limit_frac": 0.1},
    "photo-glare": {"glare_frac": 0.12},
    "photo-compressed": {"quality": 14.0, "limit": 30.0},
    "photo-oblique": {"view_deg": 41.0},
    "photo-late": {"minutes": 42.0},
}
"""Code to the fields of an example; invented, with the default limits where there are any."""


def example_text(code: str) -> str:
    """Return what a report says with the example's numbers, without the next step.

    Parameters
    ----------
    code : str
        A key of `KINDS`. Without an example, blanks stand for the numbers.
    """
    kind, fields = KINDS[code], EXAMPLES.get(code, {})
    if code == Kind.PHOTO_POOR:
        return kind.text.split(":")[0] + " (see below)."
    if code == Kind.AXIAL_UNSURE:
        limit = _CENTRAL.ellipse_low_ratio
        check = LimitCheck(
            limit="ellipse_low_ratio",
            value=0.79,
            u=0.05,
            allowed=limit,
            unit="ratio",
            probability=0.4,
        )
        return found_text(Finding(kind=Kind.AXIAL_UNSURE, check=check))
    if fields.keys() != needed(code):
        return blanked(kind.text)
    return found_text(describe(code, 3 if kind.about == "hole" else 0, **fields))


def blanked(template: str) -> str:
    """Return a template with a blank for every field."""
    parsed = string.Formatter().parse(template)
    return "".join(text + ("…" if name is not None else "") for text, name, _, _ in parsed)
