"""Camera, lens and curl of one card in a photo, from its markers' precise corners."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from spraycheck.arrays import Float
from spraycheck.card.printed.bending import BentCard, fit_card
from spraycheck.card.printed.grouping import MarkerSet
from spraycheck.card.printed.markers import SeenMarker, edge_rise, place_corners
from spraycheck.card.spec import CardSpec
from spraycheck.card.target import Artwork, PrintedMarker
from spraycheck.errors import CardNotFoundError
from spraycheck.photo.containers import Photo

MIN_MARKERS: Final = 3
"""Two markers fix a perspective but nothing checks it; the third does."""

_FOCAL_35MM, _FOCAL_U_LOG, _FOCAL_EXIF_U_LOG = 28.0, 0.4, 0.04
# Wider than for plain sheets: twelve markers tell focal length and curl apart, so phones' second
# cameras (50 to 80 mm) need no stating. EXIF gives whole mm and does not tell cropping.
_FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True, kw_only=True)
class CardFit:
    """A card in the photo; positions are in mm as printed (check line 100 mm).

    Parameters
    ----------
    card : Artwork
        Which card.
    bent : BentCard
        Camera, lens and curl.
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
    bent: BentCard
    stretch: tuple[float, float]
    markers: int
    residual_mm: float
    edge_mm: tuple[float, float]

    def project(self, printed_mm: Float) -> Float:
        """Return where ``(K, 2)`` card positions, as printed, lie in the full photo."""
        return self.bent.project(np.asarray(printed_mm, float) * self.stretch)


def fit_photo(photo: Photo, found: MarkerSet, spec: CardSpec, curl: float) -> CardFit:
    """Place the corners of a card's markers and fit camera, lens and curl to them.

    Parameters
    ----------
    photo : Photo
        Upright.
    found : MarkerSet
        The card's markers.
    spec : CardSpec
        Measured check lines.
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
    residual = off_px / px_per_mm_at(bent, places)[:, None]
    return CardFit(
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


def px_per_mm_at(bent: BentCard, points: Float) -> Float:
    """Return photo pixels per mm at ``(K, 2)`` card positions: the root of the area ratio."""
    step = 0.5
    across = bent.project(points + [step, 0]) - bent.project(points - [step, 0])
    down = bent.project(points + [0, step]) - bent.project(points - [0, step])
    return np.asarray(np.sqrt(np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])))
