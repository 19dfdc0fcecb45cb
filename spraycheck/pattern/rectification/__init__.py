"""Stage 1: find the sheet, undo perspective, lens and curl, and go to linear light.

1. `finding`: the sheet's outline as four straight sides, at a working size;
2. `edges`: each side followed along its curve, then placed to a fraction of a pixel;
3. `surface`: camera pose, focal length, proportions and curl fitted to these edge points;
4. `light`: linear light resampled on a regular grid of the flattened sheet.
"""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np

from spraycheck.errors import CardNotFoundError
from spraycheck.pattern import flags as flag
from spraycheck.pattern.card import CardSpec
from spraycheck.pattern.containers import Float, FloatMap, Photo, RectifiedCard
from spraycheck.pattern.rectification.edges import place_edges, trace_sides
from spraycheck.pattern.rectification.finding import find_outline, make_working
from spraycheck.pattern.rectification.light import sample_linear
from spraycheck.pattern.rectification.surface import (
    CUT_U_LOG,
    FOCAL_35MM,
    FOCAL_EXIF_U_LOG,
    FOCAL_U_LOG,
    EdgePoints,
    Prior,
    Surface,
    fit_surface,
    pose_from_corners,
    side_positions,
)

__all__ = ["rectify_card"]

ASSUMED_LONG_MM = 297.0
"""Long side of a sheet of unknown size, in assumed mm (A4, so that assumed mm read naturally)."""

FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
"""Equivalent focal lengths compare picture diagonals (CIPA DCG-001; from memory)."""

FORMATS: dict[str, float] = {
    "iso": math.sqrt(2),  # ISO 216
    "letter": 11 / 8.5,  # ANSI/ASME Y14.1
    "square": 1.0,
    "5x3": 5 / 3,  # index cards in inches
    "6x4": 3 / 2,
}
"""Usual proportions of sheets and cards, long over short side."""

FREE_ASPECT_U_LOG = 0.3
"""Standard uncertainty of the log proportions of a sheet of unknown size: 1:1 to 1:1.7 both fit."""

MIN_SCORE = 0.66
MAX_CELLS = 1.2e6
COARSEST_PX_PER_MM = 2.0  # below this a 10 mm wide plume is under 20 px: flagged


def rectify_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
    min_score: float = MIN_SCORE,
    curl: float = 1.0,
) -> RectifiedCard:
    """Find the sheet and show it square-on, flat and in linear light.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        What is known of the sheet. A known size gives real mm.
    cell_mm : float, optional
        Side of a cell of the result; by default 0.25 mm, or coarser when the photo has fewer pixels
        or the sheet is large.
    min_score : float
        Outlines worth less than this are not taken for a sheet.
    curl : float
        Scales how much curl is expected; 0 keeps the sheet flat.

    Returns
    -------
    RectifiedCard
        The card's top edge is the sheet edge nearest the top of the photo. Without a visible sheet
        the photo itself, taken as square-on (``found_by`` is ``none``).

    Raises
    ------
    CardNotFoundError
        The photo shows nothing at all: every pixel is alike.
    """
    if min(photo.rgb.shape[:2]) < 16 or np.ptp(photo.rgb[::4, ::4]) < 3:
        raise CardNotFoundError(
            "the photo shows nothing: every pixel is alike; expected a sheet of paper",
            stage="rectification",
            hint="photograph the whole sheet in even light, lens uncovered",
        )
    working = make_working(photo.rgb)
    outline = find_outline(working)
    if outline is None or outline.score < min_score:
        return _without_sheet(photo, spec, cell_mm)

    corners = _top_first(outline.corners)
    paths = trace_sides(working, corners)
    edges = _to_full(place_edges(photo.rgb, paths, working.scale), photo)
    if len(edges) < 2:
        return _without_sheet(photo, spec, cell_mm)
    surface, size_mm, notes = _fit(photo, spec, corners, working.scale, edges, curl)
    return _resample(photo, spec, surface, size_mm, notes, len(edges), cell_mm)


def _top_first(corners: Float) -> Float:
    """Start at the corner before the side whose middle is nearest the photo's top."""
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    return np.roll(corners, -int(np.argmin(middles[:, 1])), axis=0)


def _to_full(edges: tuple[EdgePoints, ...], photo: Photo) -> tuple[EdgePoints, ...]:
    return tuple(replace(edge, points_px=photo.to_full(edge.points_px)) for edge in edges)


def _fit(
    photo: Photo,
    spec: CardSpec,
    corners: Float,
    scale: float,
    edges: tuple[EdgePoints, ...],
    curl: float,
) -> tuple[Surface, tuple[float, float], list[str]]:
    """Fit the sheet in space; also its size in mm and what to flag."""
    known_focal = math.isfinite(photo.focal_35mm) and 10 < photo.focal_35mm < 400
    focal_35mm = photo.focal_35mm if known_focal else FOCAL_35MM
    focal_px = focal_35mm / FILM_DIAGONAL_MM * math.hypot(photo.width_px, photo.height_px)
    focal_u = FOCAL_EXIF_U_LOG if known_focal else FOCAL_U_LOG
    notes = [] if known_focal else [flag.NO_FOCAL_LENGTH]
    corners_px = photo.to_full((corners + 0.5) * scale - 0.5)
    noise_px = 0.3 * photo.decode_scale
    bend = max(curl, 1e-6)

    start = pose_from_corners(
        corners_px,
        log_aspect=None,
        focal_px=focal_px,
        width_px=photo.width_px,
        height_px=photo.height_px,
    )
    prior = Prior(
        log_focal=start.log_focal,
        focal_u_log=focal_u,
        log_aspect=start.log_aspect,
        aspect_u_log=FREE_ASPECT_U_LOG,
        curl=1e-6,
    )
    # Curl leaves a flat sheet's edges some percent off; none of that may count as a stray point.
    slack_px = 0.01 * float(np.linalg.norm(np.ptp(corners_px, axis=0)))
    flat = fit_surface(start, edges, prior, noise_px=slack_px)
    if spec.size_known:
        long, short = sorted((spec.width_mm, spec.height_mm), reverse=True)
        width, height = (short, long) if flat.log_aspect > 0 else (long, short)
        known = replace(
            prior, log_aspect=math.log(height / width), aspect_u_log=CUT_U_LOG, curl=bend
        )
        return fit_surface(flat, edges, known, noise_px=noise_px), (width, height), notes

    surface = fit_surface(flat, edges, replace(prior, curl=bend), noise_px=noise_px)
    ratio = math.exp(surface.log_aspect)
    name = _usual_format(surface)
    if name is not None:
        notes.append(flag.ASPECT_ASSUMED)
        ratio = FORMATS[name] if surface.log_aspect > 0 else 1 / FORMATS[name]
        usual = replace(prior, log_aspect=math.log(ratio), aspect_u_log=CUT_U_LOG, curl=bend)
        surface = fit_surface(surface, edges, usual, noise_px=noise_px)
    long = ASSUMED_LONG_MM
    size = (long / ratio, long) if ratio >= 1 else (long, long * ratio)
    return surface, size, [*notes, flag.NO_SCALE]


def _usual_format(surface: Surface) -> str | None:
    """Name of the one usual format the proportions agree with."""
    measured = abs(surface.log_aspect)
    off = {name: abs(measured - math.log(ratio)) for name, ratio in FORMATS.items()}
    name = min(off, key=off.__getitem__)
    # Two standard uncertainties, and never less than the tolerance of cut paper.
    near = max(2 * surface.aspect_u_log, 2 * CUT_U_LOG)
    others = [o for other, o in off.items() if other != name]
    return name if off[name] < min(near, 0.04) and min(others) > 2 * off[name] else None


def _cell(size_mm: tuple[float, float], px_per_mm: float, cell_mm: float | None) -> float:
    if cell_mm is not None:
        return cell_mm
    finest = math.sqrt(size_mm[0] * size_mm[1] / MAX_CELLS)
    # A cell slightly smaller than a pixel keeps what the photo shows.
    return max(0.25, finest, min(0.9 / px_per_mm, min(size_mm) / 60))


def _grid(size_mm: tuple[float, float], cell: float) -> tuple[int, int, float, float]:
    cols, rows = (max(8, int(side // cell)) for side in size_mm)
    return rows, cols, -(cols - 1) / 2 * cell, -(rows - 1) / 2 * cell


def _resample(
    photo: Photo,
    spec: CardSpec,
    surface: Surface,
    size_mm: tuple[float, float],
    notes: list[str],
    sides: int,
    cell_mm: float | None,
) -> RectifiedCard:
    width, height = size_mm
    half_mm = math.sqrt(width * height) / 2
    probe_x, probe_y = (a.ravel() for a in np.meshgrid([-0.5, 0, 0.5], [-0.5, 0, 0.5]))
    step = 0.01
    at = surface.project(probe_x, probe_y)
    across = (surface.project(probe_x + step, probe_y) - at) / (step * width / 2)
    down = (surface.project(probe_x, probe_y + step) - at) / (step * height / 2)
    area = np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])
    px_per_mm = math.sqrt(float(np.median(area)))
    cell = _cell(size_mm, px_per_mm / photo.decode_scale, cell_mm)
    rows, cols, x0, y0 = _grid(size_mm, cell)

    # The map is smooth: exact at every eighth cell, cubic between.
    coarse_rows, coarse_cols = rows // 8 + 3, cols // 8 + 3
    fy, fx = np.meshgrid(
        (y0 + cell * 8 * (np.arange(coarse_rows) - 1)) / (height / 2),
        (x0 + cell * 8 * (np.arange(coarse_cols) - 1)) / (width / 2),
        indexing="ij",
    )
    nodes = surface.project(fx.ravel(), fy.ravel()).reshape(coarse_rows, coarse_cols, 2)
    map_x, map_y = (_between(nodes[..., k], rows, cols) for k in (0, 1))

    outline = _outline(surface)
    corners = surface.project(np.array([-1.0, 1, 1, -1]), np.array([-1.0, -1, 1, 1]))
    cropped = bool(
        (outline < -0.5).any()
        or (outline[:, 0] > photo.width_px - 0.5).any()
        or (outline[:, 1] > photo.height_px - 0.5).any()
    )
    mid_x, mid_y = (a.ravel() for a in np.meshgrid(*[np.linspace(-0.7, 0.7, 5)] * 2))
    u_mm = half_mm * math.sqrt(float(np.mean(surface.position_u(mid_x, mid_y) ** 2)))
    relief = surface.relief(mid_x, mid_y) * half_mm
    edge_relief = (
        np.ptp(
            np.concatenate(
                [surface.relief(*side_positions(s, np.linspace(-1, 1, 9))) for s in range(4)]
            )
        )
        * half_mm
    )
    if cropped or sides < 4:
        notes.append(flag.SHEET_CROPPED)
    if max(float(np.ptp(relief)), edge_relief / 2) > 0.01 * max(size_mm):
        notes.append(flag.SHEET_CURLED)
    if surface.tilt_deg > 20:
        notes.append(flag.OBLIQUE)
    if px_per_mm < COARSEST_PX_PER_MM:
        notes.append(flag.LOW_RESOLUTION)
    return _card(
        photo,
        map_x,
        map_y,
        cell,
        (x0, y0),
        size_mm,
        spec.size_known,
        px_per_mm,
        found_by="sheet-cropped" if flag.SHEET_CROPPED in notes else "sheet",
        corners=corners,
        outline=outline,
        u_mm=u_mm,
        aspect_u=surface.aspect_u_log,
        notes=notes,
        method=f"pose, focal length, lens and curl from {sides} sides",
    )


def _between(nodes: Float, rows: int, cols: int) -> FloatMap:
    """Cubic interpolation of a map known at every eighth cell, from one node before the first."""
    x = (np.arange(cols, dtype=np.float32) / 8 + 1)[None].repeat(rows, axis=0)
    y = (np.arange(rows, dtype=np.float32) / 8 + 1)[:, None].repeat(cols, axis=1)
    return np.asarray(
        cv2.remap(nodes.astype(np.float32), x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE),
        np.float32,
    )


def _outline(surface: Surface) -> Float:
    along = np.linspace(-1, 1, 33)[:-1]
    return np.concatenate([surface.project(*side_positions(s, along)) for s in range(4)])


def _card(
    photo: Photo,
    map_x: FloatMap,
    map_y: FloatMap,
    cell: float,
    origin: tuple[float, float],
    size_mm: tuple[float, float],
    scale_known: bool,
    px_per_mm: float,
    *,
    found_by: str,
    corners: Float,
    outline: Float,
    u_mm: float,
    aspect_u: float,
    notes: list[str],
    method: str,
) -> RectifiedCard:
    scale = photo.decode_scale
    reduce = max(1, math.floor(cell * px_per_mm / scale + 0.25))
    linear = sample_linear(
        photo.rgb, (map_x + 0.5) / scale - 0.5, (map_y + 0.5) / scale - 0.5, reduce
    )
    inside = (
        (map_x >= 0) & (map_x <= photo.width_px - 1) & (map_y >= 0) & (map_y <= photo.height_px - 1)
    )
    return RectifiedCard(
        linear_rgb=linear,
        inside=inside,
        map_x_px=map_x,
        map_y_px=map_y,
        cell_mm=cell,
        x0_mm=origin[0],
        y0_mm=origin[1],
        size_mm=size_mm,
        scale_known=scale_known,
        found_by=found_by,
        corners_px=corners,
        outline_px=outline,
        geometry_u_mm=u_mm,
        aspect_u_frac=aspect_u,
        flags=tuple(notes),
        method=method,
    )


def _without_sheet(photo: Photo, spec: CardSpec, cell_mm: float | None) -> RectifiedCard:
    """Take the photo itself for the card, seen square-on."""
    mm_per_px = ASSUMED_LONG_MM / max(photo.width_px, photo.height_px)
    size = (photo.width_px * mm_per_px, photo.height_px * mm_per_px)
    cell = _cell(size, 1 / mm_per_px / photo.decode_scale, cell_mm)
    rows, cols, x0, y0 = _grid(size, cell)
    x = (x0 + cell * np.arange(cols)) / mm_per_px + (photo.width_px - 1) / 2
    y = (y0 + cell * np.arange(rows)) / mm_per_px + (photo.height_px - 1) / 2
    map_x = np.ascontiguousarray(np.broadcast_to(x.astype(np.float32), (rows, cols)))
    map_y = np.ascontiguousarray(np.broadcast_to(y.astype(np.float32)[:, None], (rows, cols)))
    # A camera held by hand over a card is within about 15 degrees of square-on: cos 15 deg squeezes
    # one direction by 3.4 %, which also displaces points 60 mm out by 2 mm.
    return _card(
        photo,
        map_x,
        map_y,
        cell,
        (x0, y0),
        size,
        False,
        1 / mm_per_px,
        found_by="none",
        corners=np.full((4, 2), np.nan),
        outline=np.empty((0, 2)),
        u_mm=2.0,
        aspect_u=0.034,
        notes=[flag.NO_SHEET, flag.NO_SCALE],
        method="photo taken as square-on",
    )
