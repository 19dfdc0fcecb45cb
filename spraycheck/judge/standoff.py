"""With the tip's height over the card known: angles of the holes, the spray angle, the tilt.

A straight round cone whose axis leans ``a`` from the card's normal and whose half angle is ``b``
meets a card ``H`` below its apex from ``H tan(a - b)`` to ``H tan(a + b)``, measured from the foot
of the perpendicular. Both ends are measured, so ``a`` and ``b`` follow exactly:

``a = (atan(far / H) + atan(near / H)) / 2``, ``b = (atan(far / H) - atan(near / H)) / 2``.

(The middle of the patch lies farther out than the axis: taken for the axis it reads 1 degree high
on simulated sprays.) A nozzle that leans by ``t`` towards direction ``p`` adds ``t cos(d - p)`` to
the angle of the hole at direction ``d``, to first order; this is fitted and taken off.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError, MeasurementError
from spraycheck.judge.case import Case
from spraycheck.judge.checks import check_limit, waived
from spraycheck.judge.result import Doubt, Finding, Kind, SprayAngles
from spraycheck.spray.containers import PlumeCatalogue

HEIGHT_U_MM: Final = 1.0
"""Expanded uncertainty (95 %) of a height given alone: a rule held beside the tip (chosen)."""

END_U_MM: Final = 0.7
"""Standard uncertainty of either end of a patch from its own raggedness (chosen)."""

SOAK_U_DEG: Final = 1.0
"""Standard uncertainty of all angles in common: paper soaks a patch's faint ends unevenly and
sprays bend. On 27 simulated sprays of known angles, errors averaged -0.6 degrees and
scattered by 0.6."""

TILT_U_DEG: Final = 0.75
"""Standard tilt of an injector in its holder, where it cannot be fitted (chosen)."""

SOAK_FRAC: Final = 0.15
"""Relative standard uncertainty of the tangent of an axial spray's half angle from soaking (chosen:
on simulated cards the patch is up to a quarter wider than the cone)."""

LIMIT: Final = "spray_angle_deg"

LEAST_PLUMES: Final = 3
"""Fewer say nothing of an included angle."""

_HEIGHT = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:(?:\+-|\+/-|±)\s*(\d+(?:[.,]\d+)?))?\s*(?:mm)?\s*")


@dataclass(frozen=True, kw_only=True)
class Standoff:
    """Height of the nozzle tip over the card.

    Parameters
    ----------
    height_mm : float
        From where the holes leave the tip down to the card, 2 to 200 mm; measured with the lever
        released and the gauge at zero.
    u_mm : float
        Expanded uncertainty (95 %).
    """

    height_mm: float
    u_mm: float = HEIGHT_U_MM

    def __post_init__(self) -> None:
        if not 2 <= self.height_mm <= 200:
            raise InputError(
                f"standoff of {self.height_mm:g} mm, expected 2 to 200 mm",
                "measure from the tip's holes straight down to the card, in mm",
            )
        if not 0 < self.u_mm <= self.height_mm / 3:
            raise InputError(
                f"standoff uncertainty of {self.u_mm:g} mm, expected above 0 and up to a third of "
                "the height",
                "say how far off the height may be, for example 20+-0.5",
            )


def parse_standoff(text: str) -> Standoff:
    """Read a height as a person writes it: ``20``, ``20+-0.5``, ``20±0.5``.

    Raises
    ------
    InputError
        Not a height, or out of reason.
    """
    match = _HEIGHT.fullmatch(text)
    if match is None:
        raise InputError(
            f"standoff {text!r} not understood: expected a height in mm, for example "
            "--standoff-mm 20 or --standoff-mm 20+-0.5"
        )
    height, spread = (None if g is None else float(g.replace(",", ".")) for g in match.groups())
    assert height is not None
    return Standoff(height_mm=height, u_mm=HEIGHT_U_MM if spread is None else spread)


def pattern_angles(case: Case, standoff: Standoff | None) -> Case:
    """Add the angles of the holes and the check their included angle is held to.

    A nozzle that surely leans is told. An included angle that is surely not the layout's fails the
    nozzle; that it is the layout's can seldom be shown (paper that soaks leaves some 4 degrees
    open), so a pass does not ask for it.

    Raises
    ------
    MeasurementError
        A height is given and the card's scale is not known.
    """
    if standoff is None:
        return case
    found, limits, layout = case.measurement, case.limits, case.layout
    if not found.card.scale_known:
        raise MeasurementError("standoff-no-scale", stage="assessment")
    rows, printed = found.plumes.catalogue, found.card.printed
    nominal = np.full(len(rows), np.nan)
    for place, hole in enumerate(case.rows):
        if hole.plume is not None and not layout.even:
            nominal[hole.plume - 1] = layout.axis_angle_deg[place]
    angles = spray_angles(
        rows,
        standoff,
        nominal_deg=nominal,
        scale_u_frac=printed.scale_u_frac if printed else 0.0,
    )
    case = replace(case, angles=angles)
    told = any(note.kind is Kind.NOZZLE_TILTED for note in case.notes)
    if not told and angles.tilt_deg - angles.tilt_u_deg > limits.tilt_deg:  # type: ignore[union-attr]
        tilted = Finding(kind=Kind.NOZZLE_TILTED, fields={"tilt_deg": angles.tilt_deg})
        case = replace(case, notes=(*case.notes, tilted))
    off = np.array(angles.axis_angle_deg) - nominal
    off = off[np.isfinite(off)]  # a stray plume has no hole
    if not limits.held(LIMIT) or len(off) < LEAST_PLUMES:
        return case
    sigma = angles.spray_angle_u_deg / COVERAGE_FACTOR_95
    return _with(case, 2 * float(off.mean()), sigma, (Doubt.SOAKED_ENDS,))


def axial_angles(case: Case, standoff: Standoff | None) -> Case:
    """Add the full angle of a cone as wide as the patch, where height and scale are known."""
    found, nozzle = case.measurement, case.axial_nozzle
    patch, sigma, off = found.patch, math.nan, math.nan
    if standoff is not None and found.card.scale_known:
        tangent = patch.diameter_mm / 2 / standoff.height_mm
        relative = math.hypot(
            patch.diameter_u_mm / patch.diameter_mm,
            standoff.u_mm / standoff.height_mm,
            COVERAGE_FACTOR_95 * SOAK_FRAC,
        )
        # Twice the derivative of the arc tangent.
        u = math.degrees(2 * tangent / (1 + tangent**2) * relative)
        angle = math.degrees(2 * math.atan(tangent))
        angles = SprayAngles(
            height_mm=standoff.height_mm,
            height_u_mm=standoff.u_mm,
            spray_angle_deg=angle,
            spray_angle_u_deg=u,
        )
        case = replace(case, angles=angles)
        sigma, off = u / COVERAGE_FACTOR_95, angle - nozzle.full_angle_deg
    lost = {Doubt.NO_OUTLINE, Doubt.SEVERAL_PLUMES} & {d for c in case.checks for d in c.doubts}
    why = tuple(sorted(lost))
    if not case.limits.held(LIMIT):
        why = (Doubt.LIMIT_OFF,)
    elif not math.isfinite(off):
        why = (Doubt.NO_HEIGHT,)
    return _with(case, off, sigma, why)


def _with(case: Case, value: float, sigma: float, doubts: tuple[Doubt, ...]) -> Case:
    check = check_limit(LIMIT, value, sigma, case.limits, doubts=doubts)
    return replace(case, checks=(*case.checks, check), sharing=case.sharing + (not waived(doubts)))


def spray_angles(
    catalogue: PlumeCatalogue,
    standoff: Standoff,
    *,
    nominal_deg: Float | None = None,
    scale_u_frac: float = 0.0,
) -> SprayAngles:
    """Work out the holes' angles from the ends of their patches.

    Parameters
    ----------
    catalogue : PlumeCatalogue
        Measured plumes, in mm.
    standoff : Standoff
        Height of the tip.
    nominal_deg : (K,) ndarray of float64, optional
        What each plume's angle should be; NaN where unknown. Without any the holes are taken as
        alike when the tilt is fitted.
    scale_u_frac : float
        Relative standard uncertainty of lengths on the card.

    Returns
    -------
    SprayAngles
        NaN for the tilt with fewer than four plumes.
    """
    height = standoff.height_mm
    near, far = np.arctan(catalogue.near_mm / height), np.arctan(catalogue.reach_mm / height)
    axis, half = np.degrees(near + far) / 2, np.degrees(far - near) / 2
    nominal = np.full(len(axis), np.nan) if nominal_deg is None else np.asarray(nominal_deg, float)
    tilt, tilt_u, towards, lean = _tilt(
        axis - np.where(np.isfinite(nominal).all(), nominal, 0.0),
        np.radians(catalogue.direction_deg),
    )
    axis = axis - lean
    # d atan(r / H) = -sin(2 atan(r / H)) / 2 * dH / H: a relative error of height and of scale act
    # alike, with opposite signs.
    relative = math.hypot(standoff.u_mm / COVERAGE_FACTOR_95 / height, scale_u_frac)
    by_height = np.degrees((np.sin(2 * near) + np.sin(2 * far)) / 4) * relative
    per_end = np.degrees(END_U_MM / height) * np.cos(np.stack([near, far])) ** 2
    own = np.hypot(*per_end) / 2
    if math.isnan(tilt):  # an unknown lean adds to some holes and takes off others
        own = np.hypot(own, TILT_U_DEG / math.sqrt(2))
    u = COVERAGE_FACTOR_95 * np.sqrt(own**2 + by_height**2 + SOAK_U_DEG**2)
    mean_u = math.sqrt(
        float((own**2).sum()) / max(len(axis), 1) ** 2
        + float(by_height.mean() if len(axis) else math.nan) ** 2
        + SOAK_U_DEG**2
    )
    return SprayAngles(
        height_mm=height,
        height_u_mm=standoff.u_mm,
        axis_angle_deg=tuple(axis.tolist()),
        axis_angle_u_deg=tuple(u.tolist()),
        nominal_deg=tuple(nominal.tolist()),
        cone_deg=tuple((2 * half).tolist()),
        spray_angle_deg=2 * float(axis.mean()) if len(axis) else math.nan,
        spray_angle_u_deg=2 * COVERAGE_FACTOR_95 * mean_u,
        tilt_deg=tilt,
        tilt_u_deg=tilt_u,
        tilt_towards_deg=towards,
    )


def _tilt(off: Float, direction: Float) -> tuple[float, float, float, Float]:
    """Fit ``c + t cos(d - p)``; returns tilt, its expanded uncertainty, direction, and the lean."""
    nan = math.nan
    if len(off) < 4:
        return nan, nan, nan, np.zeros(len(off))
    design = np.column_stack([np.ones(len(off)), np.cos(direction), np.sin(direction)])
    solution, *_ = np.linalg.lstsq(design, off, rcond=None)
    residual = off - design @ solution
    # With few plumes the scatter says little: never below what the ends of a patch scatter by.
    sigma = max(math.sqrt(float(residual @ residual) / max(len(off) - 3, 1)), 0.3)
    covariance = sigma**2 * np.linalg.inv(design.T @ design)
    across, along = float(solution[2]), float(solution[1])
    tilt = math.hypot(along, across)
    u = COVERAGE_FACTOR_95 * math.sqrt(float(covariance[1, 1] + covariance[2, 2]) / 2)
    towards = math.degrees(math.atan2(across, along)) % 360.0 % 360.0
    return tilt, u, towards, np.asarray(design[:, 1:] @ solution[1:])
