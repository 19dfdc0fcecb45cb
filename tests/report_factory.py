"""Results made by hand, for the tests of everything a person reads.

The card lies turned and off-centre in the photo, so that flips and swaps show.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from spraycheck import flags
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.spec import PrintedFacts
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import (
    Doubt,
    Finding,
    Hole,
    HoleState,
    LimitCheck,
    Remedy,
    Result,
    Verdict,
    most_important_first,
)
from spraycheck.photo.containers import Photo
from spraycheck.report.words.findings import describe
from spraycheck.spray.containers import (
    Mark,
    NozzleCentre,
    PlumeCatalogue,
    PlumeSegmentation,
    WetnessMap,
)
from spraycheck.spray.measurement import Measurement, Plumes

NAN = math.nan
CENTRE_MM = np.array([6.0, -9.0])
ALL_STATES = tuple(HoleState)
RATIO = {
    "clear": 1.0,
    "weak": 0.5,
    "heavy": 1.6,
    "blocked": 0.0,
    "off-line": 0.98,
    "misshapen": 0.9,
    "unsure": 0.78,
}
TURN = {"off-line": 11.0}
BROKEN = {  # state: finding, limit and unit of the value that broke it
    "blocked": ("hole-blocked", "plume", ""),
    "weak": ("hole-weak", "area_low_ratio", "ratio"),
    "heavy": ("hole-heavy", "area_high_ratio", "ratio"),
    "off-line": ("hole-off-line", "direction_deg", "deg"),
    "misshapen": ("hole-bushy", "width_high_ratio", "ratio"),
}


def make_card(
    width_px: int = 900, height_px: int = 1200, *, scale_known: bool = True, found: bool = True
) -> RectifiedCard:
    """An A5 sheet turned by 7 degrees, seen square-on, left of the photo's middle."""
    scale = min(width_px / 190.0, height_px / 250.0)
    turn = math.radians(7.0)
    x = np.arange(-73.5, 74.0)
    y = np.arange(-104.5, 105.0)
    grid_x, grid_y = np.meshgrid(x, y)

    def to_px(x_mm: np.ndarray, y_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        px = 0.46 * width_px + scale * (x_mm * math.cos(turn) - y_mm * math.sin(turn))
        py = 0.52 * height_px + scale * (x_mm * math.sin(turn) + y_mm * math.cos(turn))
        return px, py

    map_x, map_y = to_px(grid_x, grid_y)
    corners = np.column_stack(
        to_px(np.array([-74.0, 74.0, 74.0, -74.0]), np.array([-105.0, -105.0, 105.0, 105.0]))
    )
    return RectifiedCard(
        linear_rgb=np.ones((*map_x.shape, 3), np.float32),
        inside=np.ones(map_x.shape, bool),
        map_x_px=map_x.astype(np.float32),
        map_y_px=map_y.astype(np.float32),
        cell_mm=1.0,
        x0_mm=-73.5,
        y0_mm=-104.5,
        size_mm=(148.0, 210.0),
        scale_known=scale_known,
        found_by="sheet" if found else "none",
        corners_px=corners if found else np.full((4, 2), NAN),
        outline_px=corners.copy() if found else np.empty((0, 2)),
        geometry_u_mm=0.2,
        aspect_u_frac=0.002,
        flags=() if scale_known else (flags.NO_SCALE,),
    )


def printed_facts(**changes: Any) -> PrintedFacts:
    """A target card read without trouble, its check line not measured."""
    known = PrintedFacts(
        paper="a4", version=1, label_read=True, job="", injector="", markers_seen=12,
        markers_total=12, residual_mm=0.03, scale_u_frac=0.001, printed_x_mm=NAN,
        printed_y_mm=NAN, index_u_deg=0.4,
    )  # fmt: skip
    return dataclasses.replace(known, **changes)


def make_catalogue(
    card: RectifiedCard,
    directions: Sequence[float],
    ratios: Sequence[float],
    *,
    merged: Sequence[int] = (),
    half_width_deg: float = 8.0,
) -> PlumeCatalogue:
    """Elliptic plumes from 22 to 52 mm off the centre; a ratio scales the area."""
    outlines, centroids = [], []
    k = len(directions)
    t = np.linspace(0, 2 * math.pi, 60, endpoint=False)
    for direction, ratio in zip(directions, ratios, strict=True):
        size = math.sqrt(ratio)
        along = 37.0 + 15.0 * size * np.cos(t)
        across = 37.0 * math.tan(math.radians(half_width_deg)) * size * np.sin(t)
        a = math.radians(direction)
        mm = CENTRE_MM + np.column_stack(
            [
                along * math.sin(a) + across * math.cos(a),
                -along * math.cos(a) + across * math.sin(a),
            ]
        )
        outlines.append(card.to_photo(mm))
        centroids.append(mm.mean(axis=0))
    ratio_array = np.array(ratios, float)
    area = 240.0 * ratio_array
    centroid_mm = np.array(centroids).reshape(-1, 2)
    frac = area / area.sum() if k else area
    return PlumeCatalogue(
        direction_deg=np.array(directions, float),
        direction_u_deg=np.full(k, 0.9),
        width_deg=np.full(k, 2.0 * half_width_deg),
        inner_mm=37.0 - 15.0 * np.sqrt(ratio_array),
        outer_mm=37.0 + 15.0 * np.sqrt(ratio_array),
        area_mm2=area,
        area_u_mm2=0.05 * area,
        area_frac=frac,
        area_u_frac=0.05 * frac,
        centroid_mm=centroid_mm,
        centroid_px=card.to_photo(centroid_mm),
        axis_deg=np.array(directions, float),
        raggedness=np.ones(k),
        drops_frac=np.zeros(k),
        peak=np.ones(k),
        label=np.arange(1, k + 1, dtype=np.int32),
        flags=tuple((flags.MERGED,) if row in merged else () for row in range(k)),
        rotation_u_deg=0.5,
        outlines_px=tuple(outlines),
    )


CENTRE = NozzleCentre(
    x_mm=float(CENTRE_MM[0]),
    y_mm=float(CENTRE_MM[1]),
    covariance_mm2=np.array([[0.36, 0.08], [0.08, 0.16]]),
    ring_radius_mm=36.0,
    ring_offset_mm=(0.4, -0.2),
    found_by="axes+ring",
)


def make_wetness(card: RectifiedCard) -> WetnessMap:
    """A map of dry paper: what is told of it is all that counts."""
    shape = card.inside.shape
    return WetnessMap(
        card=card,
        wetness=np.zeros(shape, np.float32),
        smooth=np.zeros(shape, np.float32),
        cell_flags=np.zeros(shape, np.uint8),
        noise=0.02,
        contrast=0.5,
        threshold_u=0.02,
    )


def make_result(
    states: Sequence[str] = ("clear", "blocked", "weak", "off-line"),
    *,
    verdict: str = "",
    size_px: tuple[int, int] = (900, 1200),
    decode_scale: int = 1,
    grey: int = 190,
    scale_known: bool = True,
    found: bool = True,
    stray_deg: float = NAN,
    marks: tuple[Mark, ...] = (),
    merge_first_two: bool = False,
    findings: Sequence[Finding] | None = None,
    file: str = "card.jpg",
    name: str = "",
    turn_deg: float = 17.0,
    half_width_deg: float = 8.0,
    **changes: Any,
) -> Result:
    """A result whose holes have the given states, evenly spread from ``turn_deg`` on."""
    n = len(states)
    card = make_card(*size_px, scale_known=scale_known, found=found)
    expected = [(turn_deg + 360.0 * i / n) % 360 for i in range(n)]
    plumes: list[tuple[float, float, list[int]]] = []
    for i, state in enumerate(states):
        if merge_first_two and i == 1:
            plumes[0] = ((expected[0] + expected[1]) / 2, 2.0, [0, 1])
        elif state != "blocked":
            plumes.append(((expected[i] + TURN.get(state, 0.3)) % 360, RATIO[state], [i]))
    plumes += [(stray_deg, 0.4, [])] if math.isfinite(stray_deg) else []
    plumes.sort(key=lambda plume: plume[0])
    catalogue = make_catalogue(
        card,
        [p[0] for p in plumes],
        [p[1] for p in plumes],
        merged=[row for row, p in enumerate(plumes) if len(p[2]) > 1],
        half_width_deg=half_width_deg,
    )
    plume_of = {hole: row for row, p in enumerate(plumes) for hole in p[2]}
    holes = tuple(
        _hole(i, state, expected[i], plume_of.get(i), catalogue) for i, state in enumerate(states)
    )
    told = [_finding(hole) for hole in holes if hole.check is not None]
    told += [] if scale_known else [describe("no-scale")]
    faulty = any(hole.state.faulty for hole in holes)
    computed = "fail" if faulty else "recheck" if "unsure" in states else "pass"
    rows, cols = size_px[1] // decode_scale, size_px[0] // decode_scale
    photo = Photo(
        rgb=np.full((rows, cols, 3), grey, np.uint8),
        width_px=size_px[0],
        height_px=size_px[1],
        file=file,
        sha256="0" * 64,
    )
    layout = Layout(
        name=name or f"{n} holes, evenly spread",
        azimuth_deg=tuple(360.0 * i / n for i in range(n)),
        even=True,
    )
    return Result(
        measurement=Measurement(
            photo=photo,
            card=card,
            wetness=make_wetness(card),
            spray=Plumes(
                centre=CENTRE,
                segmentation=PlumeSegmentation(
                    labels=np.zeros(card.inside.shape, np.int32),
                    mask=np.zeros(card.inside.shape, bool),
                    count=len(plumes),
                    centre=CENTRE,
                    marks=marks,
                ),
                catalogue=catalogue,
            ),
        ),
        nozzle=layout,
        limits=Limits(),
        holes=holes,
        checks=tuple(hole.check for hole in holes if hole.check is not None),
        strays=tuple(row + 1 for row, p in enumerate(plumes) if not p[2]),
        verdict=Verdict(verdict or computed),
        findings=tuple(findings) if findings is not None else most_important_first(told),
        **changes,
    )


def _hole(
    i: int, state: str, expected_deg: float, row: int | None, catalogue: PlumeCatalogue
) -> Hole:
    known = row is not None
    direction = float(catalogue.direction_deg[row]) if known else NAN
    following = float(catalogue.direction_deg[(row + 1) % len(catalogue)]) if known else NAN
    deviation = (direction - expected_deg + 180) % 360 - 180
    area_frac = float(catalogue.area_frac[row]) if known else 0.0
    ratio = area_frac / (240.0 / float(catalogue.area_mm2.sum())) if known else 0.0
    return Hole(
        hole=i + 1,
        expected_deg=expected_deg,
        plume=row + 1 if known else None,
        state=HoleState(state),
        deviation_deg=deviation,
        spacing_deg=(following - direction) % 360,
        area_frac=area_frac,
        area_ratio=ratio,
        deviation_u_deg=0.9 if known else NAN,
        area_ratio_u=0.06 if known else NAN,
        check=_check(i + 1, state, deviation, ratio),
        doubts=(Doubt.NEAR_LIMIT,) if state == "unsure" else (),
    )


def _check(hole: int, state: str, deviation: float, ratio: float) -> LimitCheck | None:
    """The value that decided, held against its default limit."""
    if state == "clear":
        return None
    _, limit, unit = BROKEN.get(state, ("", "area_low_ratio", "ratio"))
    value = {"off-line": deviation, "misshapen": 2.4, "blocked": 0.0}.get(state, ratio)
    u = {"off-line": 0.9, "misshapen": 0.2, "blocked": 0.0}.get(state, 0.06)
    return LimitCheck(
        limit=limit,
        hole=hole,
        value=value,
        u=u,
        allowed=float(getattr(Limits(), limit, 1.0)),
        unit=unit,
        probability=0.5 if state == "unsure" else 0.0,
    )


def _finding(hole: Hole) -> Finding:
    if hole.state is HoleState.UNSURE:
        told = {"doubt": Doubt.NEAR_LIMIT, "remedy": Remedy.ANOTHER_SHOT, "of": "area_low_ratio"}
        return describe("hole-unsure", hole.hole, shots=1, **told)
    if hole.state is HoleState.BLOCKED:
        return describe("hole-blocked", hole.hole, expected_deg=hole.expected_deg)
    return describe(BROKEN[hole.state][0], hole.hole, check=hole.check)
