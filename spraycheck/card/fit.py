"""From points to a sheet of known size in space: printed cards by markers, others by edges."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.card.edge_rise import marker_rise
from spraycheck.card.grouping import MIN_MARKERS, MarkerSet
from spraycheck.card.markers import SeenMarker, place_corners
from spraycheck.card.spec import CardSpec
from spraycheck.card.surface import Surface, place_flat
from spraycheck.card.surface_fit import (
    EdgePoints,
    PrintedPoints,
    Prior,
    SurfaceSettings,
    fit_bent,
    fit_flat,
)
from spraycheck.card.target import CHECK_LINE_MM, Artwork, PrintedMarker
from spraycheck.errors import CardNotFoundError
from spraycheck.photo.containers import Photo

ASSUMED_LONG_MM: Final = 297.0
"""Long side of a sheet of unknown size, in assumed mm (A4, so that assumed mm read naturally)."""

FORMATS: Final[dict[str, float]] = {
    "iso": math.sqrt(2),  # ISO 216
    "letter": 11 / 8.5,  # ANSI/ASME Y14.1
    "square": 1.0,
    "5x3": 5 / 3,  # index cards in inches
    "6x4": 3 / 2,
}
"""Usual proportions of sheets and cards, long over short side."""

FORMAT_REACH_LOG: Final = 0.04
"""Measured proportions further than this from a usual format are never taken for it (half way from
letter to ISO 216 paper)."""


@dataclass(frozen=True, kw_only=True)
class FittedSheet:
    """A fitted sheet and its size.

    Parameters
    ----------
    surface : Surface
        Pose, proportions and curl.
    size_mm : (float, float)
        Width and height, assumed when ``scale_known`` is False.
    scale_known : bool
        Whether mm are real.
    flags : tuple of str
        What to doubt so far.
    """

    surface: Surface
    size_mm: tuple[float, float]
    scale_known: bool
    flags: tuple[str, ...] = ()

    @property
    def unit_mm(self) -> float:
        """Half the square root of the area: the model's unit of length on the sheet."""
        return math.sqrt(self.size_mm[0] * self.size_mm[1]) / 2

    def fractions(self, points_mm: Float) -> tuple[Float, Float]:
        """Where ``(K, 2)`` card positions lie, -1 to 1 across the sheet."""
        x, y = (np.asarray(points_mm, float) / (np.array(self.size_mm) / 2)).T
        return x, y

    def project(self, points_mm: Float) -> Float:
        """Full-photo pixels ``(K, 2)`` of card positions."""
        return self.surface.project(*self.fractions(points_mm))

    def px_per_mm(self, points_mm: Float) -> Float:
        """Full-photo pixels per mm at card positions: the root of the area ratio."""
        local = self.surface.local(*self.fractions(points_mm)) / self.unit_mm
        return np.asarray(np.sqrt(np.abs(np.linalg.det(local))))

    def position_u_mm(self, points_mm: Float) -> float:
        """Standard uncertainty per axis of card positions, root mean square over them."""
        spread = self.surface.position_covariance(*self.fractions(points_mm))
        return self.unit_mm * math.sqrt(max(float(np.trace(spread)), 0.0) / len(spread))


# -- plain sheets -----------------------------------------------------------------------------


def unlike_size(
    photo: Photo, corners_px: Float, spec: CardSpec, settings: SurfaceSettings
) -> float:
    """Penalty of an outline whose proportions are not the known sheet's.

    Nothing up to 15 %: focal length, curl and coarse corners do that much.
    """
    focal_log = Prior.of(photo, settings, curl=0.0).focal_log
    start = place_flat(corners_px, focal_log, (photo.width_px, photo.height_px))
    known = math.log(spec.height_mm / spec.width_mm)
    off = min(abs(start.aspect_log - known), abs(start.aspect_log + known))
    return min(0.8 * max(off - 0.15, 0.0), 0.4)


def fit_sheet(
    photo: Photo,
    spec: CardSpec,
    corners_px: Float,
    edges: tuple[EdgePoints, ...],
    settings: SurfaceSettings,
    *,
    curl: float,
) -> FittedSheet:
    """Fit a sheet to its edge points.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        What is known of the sheet.
    corners_px : (4, 2) ndarray of float64
        Coarse corners, full-photo pixels, clockwise from the card's top left.
    edges : tuple of EdgePoints
        Sides that show an edge.
    settings : SurfaceSettings
        Of the model.
    curl : float
        Scales how much curl is expected; 0 keeps the sheet flat.
    """
    prior = Prior.of(photo, settings, curl=curl)
    fitted = _fit_sized(photo, spec, corners_px, edges, prior, prior.focal_log, settings)
    if prior.focal_known:
        return fitted
    notes = (flag.NO_FOCAL_LENGTH, *fitted.flags)
    return replace(fitted, flags=notes)


def _fit_sized(
    photo: Photo,
    spec: CardSpec,
    corners_px: Float,
    edges: tuple[EdgePoints, ...],
    prior: Prior,
    focal_log: float,
    settings: SurfaceSettings,
) -> FittedSheet:
    """Fit from one idea of the focal length."""
    noise_px = settings.edge_noise_px * photo.decode_scale
    start = place_flat(corners_px, focal_log, (photo.width_px, photo.height_px))
    free = prior.shaped(start.aspect_log, settings.free_aspect_u_log)
    flat = fit_flat(start, edges, free, settings, noise_px=noise_px)

    def bent(start: Surface, height_per_width: float) -> Surface:
        known = prior.shaped(math.log(height_per_width), settings.cut_u_log)
        return fit_bent(start, edges, known, settings, noise_px=noise_px)

    if spec.size_known:
        long, short = sorted((spec.width_mm, spec.height_mm), reverse=True)
        sizes = [(short, long), (long, short)]
        if len(edges) == 4:
            # All four sides seen: the proportions tell.
            sizes = [sizes[0] if flat.aspect_log > 0 else sizes[1]]
        fits = [(bent(flat, height / width), (width, height)) for width, height in sizes]
        surface, size = min(fits, key=lambda fit: fit[0].misfit)
        return FittedSheet(surface=surface, size_mm=size, scale_known=True)
    surface = fit_bent(flat, edges, free, settings, noise_px=noise_px)
    ratio = math.exp(surface.aspect_log)
    notes: tuple[str, ...] = (flag.NO_SCALE,)
    usual = _usual_format(surface, settings) if len(edges) == 4 else None
    if usual is not None:
        notes = (flag.ASPECT_ASSUMED, flag.NO_SCALE)
        ratio = usual if surface.aspect_log > 0 else 1 / usual
        surface = bent(surface, ratio)
    long = ASSUMED_LONG_MM
    size = (long / ratio, long) if ratio >= 1 else (long, long * ratio)
    return FittedSheet(surface=surface, size_mm=size, scale_known=False, flags=notes)


def _usual_format(surface: Surface, settings: SurfaceSettings) -> float | None:
    """The one usual format the proportions agree with, long over short side."""
    measured = abs(surface.aspect_log)
    off = sorted((abs(measured - math.log(ratio)), ratio) for ratio in FORMATS.values())
    # Two standard uncertainties, and never less than the tolerance of cut paper.
    near = min(2 * max(surface.aspect_u_log, settings.cut_u_log), FORMAT_REACH_LOG)
    clear = off[1][0] > 2 * off[0][0]
    return off[0][1] if off[0][0] < near and clear else None


# -- printed cards ----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class FittedCard(FittedSheet):
    """A printed card in the photo; mm count as printed (check line 100 mm) times ``stretch``.

    Parameters
    ----------
    card : Artwork
        Which card.
    stretch : (float, float)
        Printed size over nominal size, across and down.
    markers : int
        How many were placed.
    residual_mm : float
        Root mean square distance of the markers' middles from where the fit has them.
    edge_mm : (float, float)
        Median rise of upright and of level printed edges; NaN without any that can be told.
    """

    card: Artwork
    stretch: tuple[float, float]
    markers: int
    residual_mm: float
    edge_mm: tuple[float, float]

    def project_print(self, printed_mm: Float) -> Float:
        """Full-photo pixels of ``(K, 2)`` positions as designed."""
        return self.project(np.asarray(printed_mm, float) * self.stretch)


def fit_card(
    photo: Photo, found: MarkerSet, spec: CardSpec, settings: SurfaceSettings, *, curl: float
) -> FittedCard:
    """Place the corners of a card's markers and fit the sheet to them.

    Parameters
    ----------
    photo : Photo
        Upright.
    found : MarkerSet
        The card's markers.
    spec : CardSpec
        Measured check lines.
    settings : SurfaceSettings
        Of the model.
    curl : float
        Scales how much curl is expected; 0 keeps the card flat.

    Raises
    ------
    CardNotFoundError
        Fewer than `MIN_MARKERS` markers are sharp and whole.
    """
    placed = [
        (precise, printed)
        for marker, printed in zip(found.seen, found.printed, strict=True)
        if (precise := place_corners(photo.rgb, marker)) is not None
    ]
    if len(placed) < MIN_MARKERS:
        raise CardNotFoundError(
            "markers-blurred",
            stage="rectification",
            found=len(placed),
            total=len(found.card.markers),
            least=MIN_MARKERS,
        )
    lengths = (spec.printed_x_mm, spec.printed_y_mm)
    stretch = tuple(1.0 if math.isnan(length) else length / CHECK_LINE_MM for length in lengths)
    half = np.array([found.card.width_mm, found.card.height_mm]) / 2
    at = np.concatenate([np.array(printed.corners()) for _, printed in placed]) / half
    middles = np.array([[p.x_mm, p.y_mm] for _, p in placed]) / half
    points = PrintedPoints(
        at=at,
        outward=np.sign(at - np.repeat(middles, 4, axis=0)),
        points_px=photo.to_full(np.concatenate([seen.corners for seen, _ in placed])),
    )
    size_mm = (2 * float(half[0]) * stretch[0], 2 * float(half[1]) * stretch[1])
    corners = photo.to_full(found.project(np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half))
    prior = Prior.of(photo, settings, curl=curl)
    prior = prior.shaped(math.log(size_mm[1] / size_mm[0]), settings.print_u_log)
    noise_px = settings.corner_noise_px * photo.decode_scale
    start = place_flat(corners, prior.focal_log, (photo.width_px, photo.height_px))
    start = start.shaped(prior.aspect_log)
    flat = fit_flat(start, points, prior, settings, noise_px=noise_px)
    surface = fit_bent(flat, points, prior, settings, noise_px=noise_px)
    sheet = FittedSheet(surface=surface, size_mm=size_mm, scale_known=True)
    off_px = photo.to_full(np.array([seen.middle for seen, _ in placed])) - surface.project(
        *middles.T
    )
    residual = off_px / sheet.px_per_mm(middles * half * stretch)[:, None]
    return FittedCard(
        surface=surface,
        size_mm=size_mm,
        scale_known=True,
        card=found.card,
        stretch=(stretch[0], stretch[1]),
        markers=len(placed),
        residual_mm=math.sqrt(float((residual**2).sum(axis=1).mean())),
        edge_mm=_edges(photo, placed),
    )


def _edges(photo: Photo, placed: list[tuple[SeenMarker, PrintedMarker]]) -> tuple[float, float]:
    """Median rise of upright and of level printed edges, mm; NaN without any that can be told."""
    rises = np.array([marker_rise(photo.rgb, seen.corners) for seen, _ in placed])
    sides = np.array([[printed.side_mm] for _, printed in placed])
    told = [column[np.isfinite(column)] for column in (rises * sides).T]
    x, y = (float(np.median(t)) if len(t) else math.nan for t in told)
    return x, y
