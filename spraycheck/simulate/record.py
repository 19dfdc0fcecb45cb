"""What is written down about a card when it is drawn."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from spraycheck.constants import WET_THRESHOLD_FRAC
from spraycheck.simulate import spray
from spraycheck.simulate.central_truth import central_faults, measure_central
from spraycheck.simulate.nozzle import SyntheticNozzle
from spraycheck.simulate.shot import SprayShot
from spraycheck.simulate.spray import Grid
from spraycheck.simulate.truth import CardTruth, TrueHole, TrueMark, direction_about, measure_patch

FloatMap = NDArray[np.float32]
Labels = NDArray[np.int32]


def record_truth(
    grid: Grid,
    nozzle: SyntheticNozzle,
    shot: SprayShot | None,
    foot: tuple[float, float],
    wetness: FloatMap,
    volume: FloatMap,
    labels: Labels,
    marks: list[tuple[str, tuple[float, float], float]],
    landed: dict[int, float],
) -> CardTruth:
    """Write down everything true about a drawn card.

    Parameters
    ----------
    grid : Grid
        Its cells.
    nozzle, shot
        What sprayed; no shot, no spray.
    foot : (float, float)
        Nozzle centre on the card.
    wetness, volume : (M, N) ndarray of float32
        Saturation, and fluid per cell in mm3.
    labels : (M, N) ndarray of int32
        Whose fluid it is: holes from 1, marks from -1 down.
    marks : list of (str, (float, float), float)
        Kind, place and direction of everything that comes from no hole.
    landed : dict of int to float
        Fluid on the sheet by label, mm3.
    """
    wet_from = WET_THRESHOLD_FRAC
    x_mm, y_mm = grid.x_mm, grid.y_mm
    cell2 = grid.cell_mm**2
    used = shot or SprayShot()
    patches = {
        k: measure_patch(wetness, labels == k, x_mm, y_mm, foot) for k in range(1, len(nozzle) + 1)
    }
    whole = sum(p.area_mm2_at[1] for p in patches.values())
    plumes = spray.plumes_of(nozzle, used, foot)
    turn = spray.tilt_rotation(used.tilt_x_deg, used.tilt_y_deg)
    tip = np.array([foot[0], foot[1], -used.height_mm])
    holes = []
    for k, plume in enumerate(plumes, 1):
        flows = shot is not None and plume.volume_mm3 > 0
        patch = patches[k]
        azimuth = nozzle.azimuth_deg[k - 1]
        drawn = turn @ spray.hole_axis(azimuth, nozzle.axis_angles[k - 1])
        exit_ = turn @ (spray.hole_axis(azimuth, 90.0) * nozzle.hole_radius_mm)
        aimed = spray.impact_mm(tip + exit_, drawn)
        hit = spray.impact_mm(plume.start, plume.axis) if flows else np.full(2, math.nan)
        nan = math.nan
        holes.append(
            TrueHole(
                hole=k,
                state=nozzle.state(k) if shot is not None else "blocked",
                expected_deg=direction_about(foot, float(aimed[0]), float(aimed[1])),
                direction_deg=direction_about(foot, float(hit[0]), float(hit[1]))
                if flows and np.isfinite(hit).all()
                else nan,
                deviation_deg=nozzle.deflections[k - 1] if flows else nan,
                axis_angle_deg=spray.to_angles(plume.axis)[1] if flows else nan,
                flow_frac=nozzle.flows[k - 1] if shot is not None else 0.0,
                volume_mm3=plume.volume_mm3 if shot is not None else 0.0,
                impact_mm=(float(hit[0]), float(hit[1])),
                area_mm2=patch.area_mm2_at[1],
                area_mm2_at=patch.area_mm2_at,
                area_frac=patch.area_mm2_at[1] / whole if whole > 0 else 0.0,
                centroid_mm=patch.centroid_mm,
                near_mm=patch.near_mm,
                reach_mm=patch.reach_mm,
                width_deg=patch.width_deg,
            )
        )
    true_marks = []
    for k, (kind, where, direction) in enumerate(marks, 1):
        area = float(np.count_nonzero((labels == -k) & (wetness >= wet_from))) * cell2
        true_marks.append(
            TrueMark(
                kind=kind,
                x_mm=where[0],
                y_mm=where[1],
                area_mm2=area,
                volume_mm3=landed[-k],
                direction_deg=direction,
            )
        )
    strays = sum(s.share for s in used.strays) / max(1, len(nozzle)) * used.volume_mm3
    extra = sum(m.volume_mm3 for m in true_marks if m.kind == "splash")
    return CardTruth(
        x_mm=foot[0],
        y_mm=foot[1],
        height_mm=used.height_mm,
        tilt_x_deg=used.tilt_x_deg,
        tilt_y_deg=used.tilt_y_deg,
        holes=tuple(holes),
        marks=tuple(true_marks),
        wet_mm2=float(np.count_nonzero(wetness >= wet_from)) * cell2,
        sprayed_mm3=used.volume_mm3 + used.drip_mm3 + strays + extra if shot else 0.0,
        landed_mm3=float(volume.sum(dtype=np.float64)),
        central=None
        if nozzle.central is None or len(nozzle) or shot is None
        else measure_central(
            wetness,
            x_mm,
            y_mm,
            faults=central_faults(nozzle.central, shot),
            hollow=nozzle.central.kind == "hollow",
        ),
    )
