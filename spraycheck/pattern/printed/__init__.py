"""Stage 1 for the project's own target card, and the choice between it and a plain sheet.

1. `markers`: codes read on a reduced picture, corners placed on the full one;
2. `grouping`: which markers belong to one card, and whether there are several;
3. `bending`: camera, lens and curl fitted to all corners, the residual checked;
4. `labels`, `ink`: the QR code read, the card's own print filled from the paper beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from spraycheck.errors import CardNotFoundError
from spraycheck.pattern import flags as flag
from spraycheck.pattern.artwork import CARD_VERSION, Artwork, Label, PrintedMarker
from spraycheck.pattern.card import CardSpec
from spraycheck.pattern.containers import Float, FloatMap, Photo, PrintedFacts, RectifiedCard
from spraycheck.pattern.printed.bending import BentCard, fit_card
from spraycheck.pattern.printed.grouping import MarkerSet, group_markers
from spraycheck.pattern.printed.ink import without_print
from spraycheck.pattern.printed.labels import read_label
from spraycheck.pattern.printed.markers import (
    CARD_NUMBERS,
    WORKING_PX,
    SeenMarker,
    edge_rise,
    place_corners,
    read_markers,
)
from spraycheck.pattern.rectification import rectify_card
from spraycheck.pattern.rectification.light import sample_linear

__all__ = ["find_card", "rectify_printed_card"]

MIN_MARKERS: Final = 3
"""Two markers fix a perspective but nothing checks it; the third does."""

UNMEASURED_U: Final = 0.006
"""Relative standard uncertainty of the printed scale when the check line was not measured: within
1 % either way, all equally likely, over root 3 (chosen; desk printers, no source)."""

MEASURED_U: Final = 0.0015
"""The same after measuring 100 mm with a rule read to a quarter of a millimetre: 0.25 / root 3."""

LARGE_RESIDUAL_MM: Final = 0.5
"""Above this the card is creased or torn, not curled: flagged (curled simulated cards stay below
0.3)."""

BLURRED_MM: Final = 1.3
"""Rise of a printed edge from which the photo counts as blurred. On simulated photos of growing
blur, directions and shares stayed inside their stated uncertainty up to a rise of 1.2 mm; from
1.4 mm on markers could no longer be read."""

RIM_MM: Final = 4.0
"""Rim that is not judged: printers place the picture on the sheet to 1 to 2 mm, and the sheet's
edge casts a shadow."""

_FOCAL_35MM, _FOCAL_U_LOG, _FOCAL_EXIF_U_LOG = 28.0, 0.4, 0.04
# Wider than for plain sheets: twelve markers tell focal length and curl apart, so phones' second
# cameras (50 to 80 mm) need no stating. EXIF gives whole mm and does not tell cropping.
_FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
_MAX_CELLS = 1.2e6
_COARSEST_PX_PER_MM = 2.0


def find_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
) -> RectifiedCard:
    """Find the target card by its markers, or else a plain sheet by its edges.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        What is known of the sheet.
    cell_mm : float, optional
        Side of a cell of the result.

    Returns
    -------
    RectifiedCard

    Raises
    ------
    CardNotFoundError
        A target card shows, but too little of it, mirrored, or several with none chosen; or none
        shows although its check line was measured; or the photo shows nothing at all.
    """
    sets = _cards(_seen(photo))
    if sets:
        return rectify_printed_card(photo, spec, cell_mm=cell_mm, sets=sets)
    if spec.which or not math.isnan(spec.printed_x_mm):
        asked = "the printed length was given" if spec.which == 0 else "a card number was given"
        raise CardNotFoundError(
            f"no printed target card shows in the photo, although {asked}",
            stage="rectification",
            hint="photograph the whole card with its black squares, or leave the option out for a "
            "plain sheet",
        )
    return rectify_card(photo, spec, cell_mm=cell_mm)


def rectify_printed_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
    curl: float = 1.0,
    sets: list[MarkerSet] | None = None,
) -> RectifiedCard:
    """Show the target card square-on, flat and in linear light, its own print taken out.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        Measured check lines, and which of several cards. The sheet's size is known from the card.
    cell_mm : float, optional
        Side of a cell of the result; by default 0.25 mm, or coarser for a photo of fewer pixels.
    curl : float
        Scales how much curl is expected; 0 keeps the card flat.
    sets : list of MarkerSet, optional
        Cards already found in this photo.

    Returns
    -------
    RectifiedCard
        The index arrow is at 12 o'clock, however the photo was taken.

    Raises
    ------
    CardNotFoundError
        No card, too little of it, mirrored, or several with none chosen.
    """
    if sets is None:
        sets = _cards(_seen(photo))
    if not sets:
        raise CardNotFoundError(
            "no printed target card shows in the photo",
            stage="rectification",
            hint="photograph the whole card with its black squares",
        )
    fit = _fit(photo, _chosen(photo, sets, spec), spec, curl)
    label = _label(photo, fit)
    _check_label(label)
    return _resample(photo, spec, fit, label, cell_mm)


# -- which card -------------------------------------------------------------------------------


def _seen(photo: Photo) -> list[SeenMarker]:
    """Read the markers; at full size when the reduced picture shows too few of them."""
    seen = read_markers(photo.rgb, CARD_NUMBERS)
    if 1 <= len(seen) <= MIN_MARKERS and max(photo.rgb.shape) > WORKING_PX:
        seen = read_markers(photo.rgb, CARD_NUMBERS, working_px=max(photo.rgb.shape))
    return seen


def _cards(seen: list[SeenMarker]) -> list[MarkerSet]:
    """Cards in the photo; empty without any.

    Raises
    ------
    CardNotFoundError
        There is one, but mirrored, cut up or mostly hidden.
    """
    mirrored = [m for m in seen if m.mirrored]
    upright = [m for m in seen if not m.mirrored]
    if len(mirrored) >= MIN_MARKERS and len(mirrored) > len(upright):
        raise CardNotFoundError(
            "the photo is mirrored: the card's markers read the wrong way round",
            stage="rectification",
            hint="send the photo as it was taken; switch off the selfie camera's mirror",
        )
    sets = group_markers(upright)
    full = [s for s in sets if len(s.seen) >= MIN_MARKERS]
    if full:
        return full
    if len({m.number for m in upright}) >= MIN_MARKERS:
        raise CardNotFoundError(
            f"{len(upright)} markers were found, but they do not lie as on a target card",
            stage="rectification",
            hint="use a card printed whole by `spraycheck card`, one piece, not cut up",
        )
    if sets:
        card = sets[0].card
        raise CardNotFoundError(
            f"only 2 of the target card's {len(card.markers)} markers can be read, expected at "
            f"least {MIN_MARKERS}",
            stage="rectification",
            hint="photograph the whole card from closer, black squares uncovered and in even light",
        )
    return []


def _chosen(photo: Photo, sets: list[MarkerSet], spec: CardSpec) -> MarkerSet:
    ordered = sorted(sets, key=lambda s: float(s.middle[0]))
    if len(ordered) == 1 and spec.which <= 1:
        return ordered[0]
    if 1 <= spec.which <= len(ordered):
        return ordered[spec.which - 1]
    names = []
    for number, one in enumerate(ordered, start=1):
        fit = _fit(photo, one, CardSpec(), 1.0)
        label = _label(photo, fit)
        said = " ".join(t for t in (label.job, label.injector) if t) if label else ""
        names.append(f"{number} ({said or 'no name read'})")
    found = f"card number {spec.which} was asked for, but " if spec.which else ""
    raise CardNotFoundError(
        f"{found}{len(ordered)} target card{'s show' if len(ordered) > 1 else ' shows'} in the "
        f"photo, from the left: {', '.join(names)}; expected one, or to be told which",
        stage="rectification",
        hint="photograph one card at a time, or say which with --card-number",
    )


def _label(photo: Photo, fit: _Fit) -> Label | None:
    return read_label(photo.rgb, fit.card, lambda mm: photo.to_decoded(fit.project(mm)))


def _check_label(label: Label | None) -> None:
    if label is not None and label.version != CARD_VERSION:
        raise CardNotFoundError(
            f"the card is of version {label.version}, expected {CARD_VERSION}",
            stage="rectification",
            hint="print new cards with this version of spraycheck, or update spraycheck",
        )


# -- fit --------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """A card in the photo; positions are in mm as printed (check line 100 mm)."""

    card: Artwork
    bent: BentCard
    stretch: tuple[float, float]
    markers: int
    residual_mm: float
    edge_mm: tuple[float, float]

    def project(self, printed_mm: Float) -> Float:
        return self.bent.project(np.asarray(printed_mm, float) * self.stretch)


def _fit(photo: Photo, found: MarkerSet, spec: CardSpec, curl: float) -> _Fit:
    placed = [
        (precise, printed)
        for marker, printed in zip(found.seen, found.printed, strict=True)
        if (precise := place_corners(photo.rgb, marker)) is not None
    ]
    if len(placed) < MIN_MARKERS:
        raise CardNotFoundError(
            f"only {len(placed)} of the target card's {len(found.card.markers)} markers are sharp "
            f"and whole, expected at least {MIN_MARKERS}",
            stage="rectification",
            hint="photograph the whole card from closer, sharp, its black squares uncovered",
        )
    lengths = (spec.printed_x_mm, spec.printed_y_mm)
    stretch = tuple(1.0 if math.isnan(length) else length / 100 for length in lengths)
    points = np.concatenate([np.array(printed.corners()) for _, printed in placed]) * stretch
    middles = np.repeat([[p.x_mm, p.y_mm] for _, p in placed], 4, axis=0) * stretch
    seen = photo.to_full(np.concatenate([precise.corners for precise, _ in placed]))
    known = math.isfinite(photo.focal_35mm) and 10 < photo.focal_35mm < 400
    focal_35mm = photo.focal_35mm if known else _FOCAL_35MM
    diagonal = math.hypot(photo.width_px, photo.height_px)
    full = np.diag([photo.decode_scale] * 2 + [1.0])
    full[:2, 2] = 0.5 * photo.decode_scale - 0.5
    bent = fit_card(
        points,
        np.sign(points - middles),
        seen,
        homography=full @ found.homography @ np.diag([1 / stretch[0], 1 / stretch[1], 1.0]),
        half_mm=(found.card.width_mm / 2 * stretch[0], found.card.height_mm / 2 * stretch[1]),
        focal_px=focal_35mm / _FILM_DIAGONAL_MM * diagonal,
        focal_u_log=_FOCAL_EXIF_U_LOG if known else _FOCAL_U_LOG,
        size_px=(photo.width_px, photo.height_px),
        noise_px=0.05 * photo.decode_scale,
        curl=curl,
    )
    places = np.array([[p.x_mm, p.y_mm] for _, p in placed]) * stretch
    off_px = np.array([photo.to_full(m.middle[None])[0] for m, _ in placed]) - bent.project(places)
    residual = off_px / _px_per_mm(bent, places)[:, None]
    return _Fit(
        card=found.card,
        bent=bent,
        stretch=(float(stretch[0]), float(stretch[1])),
        markers=len(placed),
        residual_mm=math.sqrt(float((residual**2).sum(axis=1).mean())),
        edge_mm=_edges(photo, placed),
    )


def _edges(photo: Photo, placed: list[tuple[SeenMarker, PrintedMarker]]) -> tuple[float, float]:
    """Median rise of upright and of level printed edges, mm; NaN without any that can be told."""
    rises = np.array([edge_rise(photo.rgb, seen) for seen, _ in placed])
    sides = np.array([[printed.side_mm] for _, printed in placed])
    told = [column[np.isfinite(column)] for column in (rises * sides).T]
    x, y = (float(np.median(t)) if len(t) else math.nan for t in told)
    return x, y


def _px_per_mm(bent: BentCard, points: Float) -> Float:
    step = 0.5
    across = bent.project(points + [step, 0]) - bent.project(points - [step, 0])
    down = bent.project(points + [0, step]) - bent.project(points - [0, step])
    return np.asarray(np.sqrt(np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])))


# -- result -----------------------------------------------------------------------------------


def _resample(
    photo: Photo, spec: CardSpec, fit: _Fit, label: Label | None, cell_mm: float | None
) -> RectifiedCard:
    width, height = (2 * half for half in fit.bent.half_mm)
    probe = np.column_stack(
        [a.ravel() for a in np.meshgrid([-0.35 * width, 0, 0.35 * width],
                                        [-0.35 * height, 0, 0.35 * height])]
    )  # fmt: skip
    px_per_mm = float(np.median(_px_per_mm(fit.bent, probe)))
    cell = cell_mm or max(
        0.25,
        math.sqrt(width * height / _MAX_CELLS),
        # A cell slightly smaller than a pixel keeps what the photo shows.
        min(0.9 * photo.decode_scale / px_per_mm, min(width, height) / 60),
    )
    cols, rows = max(8, int(width // cell)), max(8, int(height // cell))
    x = (np.arange(cols) - (cols - 1) / 2) * cell
    y = (np.arange(rows) - (rows - 1) / 2) * cell
    map_x, map_y = _maps(fit.bent, x, y)
    scale = photo.decode_scale
    linear = sample_linear(
        photo.rgb,
        (map_x + 0.5) / scale - 0.5,
        (map_y + 0.5) / scale - 0.5,
        max(1, math.floor(cell * px_per_mm / scale + 0.25)),
    )
    printed_x, printed_y = x / fit.stretch[0], y / fit.stretch[1]
    linear = without_print(
        linear, fit.card, printed_x, printed_y, blur_mm=min(1.0, scale / px_per_mm)
    )
    inside = (
        (map_x >= 0) & (map_x <= photo.width_px - 1) & (map_y >= 0) & (map_y <= photo.height_px - 1)
    )
    inside &= (np.abs(x) < width / 2 - RIM_MM)[None, :]
    inside &= (np.abs(y) < height / 2 - RIM_MM)[:, None]
    free = np.hypot(printed_x[None, :], printed_y[:, None]) < fit.card.free_mm
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]
    relief = fit.bent.relief(np.concatenate([corners, probe]))
    u_mm = float(np.sqrt(np.mean(fit.bent.position_u_mm(probe) ** 2)))
    measured = (math.isfinite(spec.printed_x_mm), math.isfinite(spec.printed_y_mm))
    notes: list[str] = []  # the markers tell the focal length: nothing was assumed
    if not inside[free].all():
        notes.append(flag.SHEET_CROPPED)
    if float(np.ptp(relief)) > 0.02 * max(width, height):
        notes.append(flag.SHEET_CURLED)
    if fit.residual_mm > LARGE_RESIDUAL_MM:
        notes.append(flag.UNEVEN_CARD)
    if fit.bent.tilt_deg > 20:
        notes.append(flag.OBLIQUE)
    if px_per_mm < _COARSEST_PX_PER_MM:
        notes.append(flag.LOW_RESOLUTION)
    # Too blurred to tell is blurred as well.
    if not max(fit.edge_mm) <= BLURRED_MM:
        notes.append(flag.BLURRED)
    if label is None:
        notes.append(flag.LABEL_UNREAD)
    if not all(measured):
        notes.append(flag.SCALE_AS_PRINTED)
    label = label or Label(version=CARD_VERSION, paper=fit.card.paper)
    return RectifiedCard(
        linear_rgb=linear,
        inside=inside,
        map_x_px=map_x,
        map_y_px=map_y,
        cell_mm=cell,
        x0_mm=float(x[0]),
        y0_mm=float(y[0]),
        size_mm=(width, height),
        scale_known=True,
        found_by="printed-card",
        corners_px=fit.bent.project(corners),
        outline_px=fit.bent.project(_outline(corners)),
        geometry_u_mm=math.hypot(u_mm, fit.residual_mm / math.sqrt(2 * fit.markers)),
        # Printers feed the paper with another error than they write across it.
        aspect_u_frac=math.sqrt(2) * (MEASURED_U if all(measured) else UNMEASURED_U / 2),
        flags=tuple(notes),
        method=f"camera, lens and curl from {fit.markers} markers",
        printed=PrintedFacts(
            paper=fit.card.paper,
            version=label.version,
            label_read=flag.LABEL_UNREAD not in notes,
            job=label.job,
            injector=label.injector,
            markers_seen=fit.markers,
            markers_total=len(fit.card.markers),
            residual_mm=fit.residual_mm,
            scale_u_frac=MEASURED_U if all(measured) else UNMEASURED_U,
            printed_x_mm=spec.printed_x_mm,
            printed_y_mm=spec.printed_y_mm,
            edge_x_mm=fit.edge_mm[0],
            edge_y_mm=fit.edge_mm[1],
            index_u_deg=2 * math.degrees(u_mm / (0.35 * max(width, height))),
        ),
    )


def _maps(bent: BentCard, x: Float, y: Float) -> tuple[FloatMap, FloatMap]:
    """Photo position of each cell: exact at every eighth, straight lines between.

    Over 8 cells a bend of 500 mm radius departs from its chord by a micrometre; cubic
    interpolation as OpenCV has it does not even reproduce a plain slope exactly."""
    cell = float(x[1] - x[0])
    nodes_x = x[0] + 8 * cell * (np.arange(len(x) // 8 + 3) - 1)
    nodes_y = y[0] + 8 * cell * (np.arange(len(y) // 8 + 3) - 1)
    grid = np.column_stack([a.ravel() for a in np.meshgrid(nodes_x, nodes_y)])
    nodes = bent.project(grid).reshape(len(nodes_y), len(nodes_x), 2).astype(np.float32)
    at_x = np.tile(np.arange(len(x), dtype=np.float32) / 8 + 1, (len(y), 1))
    at_y = np.tile((np.arange(len(y), dtype=np.float32) / 8 + 1)[:, None], (1, len(x)))
    maps = [
        np.asarray(
            cv2.remap(
                np.ascontiguousarray(nodes[..., k]), at_x, at_y, cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            ),
            np.float32,
        )
        for k in (0, 1)
    ]  # fmt: skip
    return maps[0], maps[1]


def _outline(corners: Float) -> Float:
    part = np.linspace(0, 1, 17)[:-1, None]
    return np.concatenate([(1 - part) * corners[k] + part * corners[(k + 1) % 4] for k in range(4)])
