"""From edge points to a sheet of known proportions: which size, which way up, how bent."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.card.sheet.adjustment import (
    CUT_U_LOG,
    FOCAL_35MM,
    FOCAL_EXIF_U_LOG,
    FOCAL_U_LOG,
    EdgePoints,
    Prior,
    fit_surface,
)
from spraycheck.card.sheet.surface import Surface, pose_from_corners
from spraycheck.card.spec import CardSpec
from spraycheck.photo.containers import Photo

ASSUMED_LONG_MM = 297.0
"""Long side of a sheet of unknown size, in assumed mm (A4, so that assumed mm read naturally)."""

FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
"""Equivalent focal lengths compare picture diagonals (CIPA DCG-001; from memory)."""

ZOOM = 2.0
"""A phone's second main focal length, of a longer lens or a crop, over that of its main camera."""

ZOOM_COST = 3.0
"""How much better (in minus twice the log likelihood) a sheet must fit with the long focal length
to be taken for it: odds of one photo in five (chosen)."""

ZOOM_SHARE = 0.25
"""The least part of the misfit that must go with it (chosen: on drawn sheets seen with the long
lens nearly half or more goes; on real sheets with rough edges a twentieth at most)."""

FREE_ASPECT_U_LOG = 0.3
"""Standard uncertainty of the log proportions of a sheet of unknown size: 1:1 to 1:1.7 both fit."""

FORMATS: dict[str, float] = {
    "iso": math.sqrt(2),  # ISO 216
    "letter": 11 / 8.5,  # ANSI/ASME Y14.1
    "square": 1.0,
    "5x3": 5 / 3,  # index cards in inches
    "6x4": 3 / 2,
}
"""Usual proportions of sheets and cards, long over short side."""

FORMAT_REACH_LOG = 0.04
"""Measured proportions further than this from a usual format are never taken for it (half way from
letter to ISO 216 paper)."""


@dataclass(frozen=True, kw_only=True)
class Camera:
    """What is known of the camera before looking.

    Parameters
    ----------
    width_px, height_px : int
        Size of the full upright photo.
    focal_px : float
        Expected focal length in full-photo pixels.
    focal_u_log : float
        Standard uncertainty of its log.
    """

    width_px: int
    height_px: int
    focal_px: float
    focal_u_log: float

    @classmethod
    def of(cls, photo: Photo) -> Camera:
        """Read it from a photo's metadata, else assume a phone's main camera."""
        known = math.isfinite(photo.focal_35mm) and 10 < photo.focal_35mm < 400
        focal_35mm = photo.focal_35mm if known else FOCAL_35MM
        diagonal_px = math.hypot(photo.width_px, photo.height_px)
        return cls(
            width_px=photo.width_px,
            height_px=photo.height_px,
            focal_px=focal_35mm / FILM_DIAGONAL_MM * diagonal_px,
            focal_u_log=FOCAL_EXIF_U_LOG if known else FOCAL_U_LOG,
        )

    @property
    def known(self) -> bool:
        """Whether the photo states its focal length."""
        return self.focal_u_log < FOCAL_U_LOG

    @property
    def zoomed(self) -> Camera:
        """The same phone with its long focal length."""
        return replace(self, focal_px=ZOOM * self.focal_px)

    def place(self, corners_px: Float) -> Surface:
        """Flat sheet of unknown proportions with its corners on given ones."""
        return pose_from_corners(
            corners_px,
            focal_px=self.focal_px,
            width_px=self.width_px,
            height_px=self.height_px,
        )

    def unlike(self, corners_px: Float, spec: CardSpec) -> float:
        """Penalty of an outline whose proportions are not the known sheet's.

        Nothing up to 15 %: focal length, curl and coarse corners do that much.
        """
        measured = self.place(corners_px).log_aspect
        known = math.log(spec.height_mm / spec.width_mm)
        off = min(abs(measured - known), abs(measured + known))
        return min(0.8 * max(off - 0.15, 0.0), 0.4)


@dataclass(frozen=True, kw_only=True)
class Sheet:
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
    flags: tuple[str, ...]


def fit_sheet(
    camera: Camera,
    spec: CardSpec,
    corners_px: Float,
    edges: tuple[EdgePoints, ...],
    *,
    curl: float,
    noise_px: float,
) -> Sheet:
    """Fit the sheet to its edge points.

    Parameters
    ----------
    camera : Camera
        What is known of the camera.
    spec : CardSpec
        What is known of the sheet.
    corners_px : (4, 2) ndarray of float64
        Coarse corners, full-photo pixels, clockwise from the card's top left.
    edges : tuple of EdgePoints
        Sides that show an edge.
    curl : float
        Scales how much curl is expected.
    noise_px : float
        Least scatter of an edge point.
    """
    sheet = _fit(camera, spec, corners_px, edges, curl=curl, noise_px=noise_px)
    if camera.known or sheet.surface.misfit <= ZOOM_COST:  # nothing could fit that much better
        return sheet
    other = _fit(camera.zoomed, spec, corners_px, edges, curl=curl, noise_px=noise_px)
    # Where neither fits, as on rough edges, a difference of a few says nothing.
    better = max(ZOOM_COST, ZOOM_SHARE * sheet.surface.misfit)
    return other if other.surface.misfit + better < sheet.surface.misfit else sheet


def _fit(
    camera: Camera,
    spec: CardSpec,
    corners_px: Float,
    edges: tuple[EdgePoints, ...],
    *,
    curl: float,
    noise_px: float,
) -> Sheet:
    """Fit the sheet with one idea of the focal length."""
    start = camera.place(corners_px)
    bent = Prior(
        log_focal=start.log_focal,
        focal_u_log=camera.focal_u_log,
        log_aspect=start.log_aspect,
        aspect_u_log=FREE_ASPECT_U_LOG,
        curl=max(curl, FLAT),
    )
    # Curl leaves a flat sheet's edges some percent off; none of that may count as a stray point.
    slack_px = 0.01 * float(np.linalg.norm(np.ptp(corners_px, axis=0)))
    some = tuple(
        replace(edge, points_px=edge.points_px[::3], weight=edge.weight[::3]) for edge in edges
    )
    flat = fit_surface(start, some, replace(bent, curl=FLAT), noise_px=slack_px, rounds=6)
    notes = () if camera.known else (flag.NO_FOCAL_LENGTH,)
    if spec.size_known:
        return _known(spec, flat, edges, bent, noise_px, notes)
    return _unknown(flat, edges, bent, noise_px, notes)


FLAT = 1e-6
"""Scale of curl that keeps a sheet flat."""


def _known(
    spec: CardSpec,
    flat: Surface,
    edges: tuple[EdgePoints, ...],
    bent: Prior,
    noise_px: float,
    notes: tuple[str, ...],
) -> Sheet:
    """Fit a sheet of known size; which side is the width follows from the photo."""
    long, short = sorted((spec.width_mm, spec.height_mm), reverse=True)
    sizes = [(short, long), (long, short)]
    if len(edges) == 4:
        # All four sides seen: the proportions tell.
        sizes = [sizes[0] if flat.log_aspect > 0 else sizes[1]]
    found = []
    for width, height in sizes:
        prior = replace(bent, log_aspect=math.log(height / width), aspect_u_log=CUT_U_LOG)
        surface = fit_surface(flat, edges, prior, noise_px=noise_px)
        found.append((surface.misfit, width, height, surface))
    _, width, height, surface = min(found, key=lambda one: one[0])
    return Sheet(surface=surface, size_mm=(width, height), scale_known=True, flags=notes)


def _unknown(
    flat: Surface,
    edges: tuple[EdgePoints, ...],
    bent: Prior,
    noise_px: float,
    notes: tuple[str, ...],
) -> Sheet:
    """Fit a sheet of unknown size; a usual format is taken where it agrees."""
    surface = fit_surface(flat, edges, bent, noise_px=noise_px)
    ratio = math.exp(surface.log_aspect)
    usual = _usual_format(surface) if len(edges) == 4 else None
    if usual is not None:
        notes = (*notes, flag.ASPECT_ASSUMED)
        ratio = usual if surface.log_aspect > 0 else 1 / usual
        prior = replace(bent, log_aspect=math.log(ratio), aspect_u_log=CUT_U_LOG)
        surface = fit_surface(surface, edges, prior, noise_px=noise_px)
    long = ASSUMED_LONG_MM
    size = (long / ratio, long) if ratio >= 1 else (long, long * ratio)
    return Sheet(surface=surface, size_mm=size, scale_known=False, flags=(*notes, flag.NO_SCALE))


def _usual_format(surface: Surface) -> float | None:
    """The one usual format the proportions agree with, long over short side."""
    measured = abs(surface.log_aspect)
    off = sorted((abs(measured - math.log(ratio)), ratio) for ratio in FORMATS.values())
    # Two standard uncertainties, and never less than the tolerance of cut paper.
    near = min(max(2 * surface.aspect_u_log, 2 * CUT_U_LOG), FORMAT_REACH_LOG)
    clear = off[1][0] > 2 * off[0][0]
    return off[0][1] if off[0][0] < near and clear else None
