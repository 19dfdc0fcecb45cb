"""Where things of the card lie in the drawing, and the shapes that are drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck.judge.result import Hole, HoleState, Result
from spraycheck.report.overlay.pen import Points


@dataclass(frozen=True, kw_only=True)
class View:
    """Where things of the full photo and of the card lie in the drawn photo.

    Parameters
    ----------
    result : Result
        What is drawn.
    centre_mm : (2,) ndarray of float64
        On the card: the nozzle's centre, or the middle of an axial spray's patch.
    width, height : int
        Of the drawn part of the photo, in pixels.
    crop : (int, int, int, int)
        Left, top, right and bottom of that part, in pixels of ``result.photo.rgb``.
    """

    result: Result
    centre_mm: Points
    width: int
    height: int
    crop: tuple[int, int, int, int]

    @property
    def scale(self) -> float:
        """Drawn pixels per full-photo pixel."""
        return self.width / (self.crop[2] - self.crop[0]) / self.result.photo.decode_scale

    def from_photo(self, points_px: Points) -> Points:
        """Convert ``(K, 2)`` full-photo pixels to pixels of the drawn photo."""
        photo = self.result.photo
        decoded = photo.to_decoded(np.asarray(points_px, float).reshape(-1, 2))
        left, top, right, bottom = self.crop
        scale = np.array([self.width / (right - left), self.height / (bottom - top)])
        drawn: Points = (decoded + 0.5 - [left, top]) * scale - 0.5
        return drawn

    def from_card(self, points_mm: Points) -> Points:
        """Convert ``(K, 2)`` card positions to pixels of the drawn photo."""
        return self.from_photo(self.result.card.to_photo(points_mm))

    def on_ray(self, direction_deg: float, radius_mm: float) -> tuple[Points, Points]:
        """Return a point at a direction and distance from the centre, and the way outward there.

        Returns
        -------
        point, outward : (2,) ndarray of float64
            Pixels of the drawn photo, and a unit vector.
        """
        radii = radius_mm * np.array([0.97, 1.03])
        pair = self.from_card(polar(self.centre_mm, np.array([direction_deg] * 2), radii))
        step = pair[1] - pair[0]
        return pair.mean(axis=0), step / max(1e-9, float(np.hypot(*step)))


def polar(centre_mm: Points, direction_deg: Points, radius_mm: Points) -> Points:
    """Return card positions at directions (clockwise from 12) and distances from the centre."""
    a = np.radians(direction_deg)
    at: Points = centre_mm + np.column_stack([radius_mm * np.sin(a), -radius_mm * np.cos(a)])
    return at


@dataclass(frozen=True, kw_only=True)
class Typical:
    """The shape of a sound plume: near and far end in mm, and the angle it spans in degrees."""

    near_mm: float
    reach_mm: float
    width_deg: float


def typical_plume(result: Result) -> Typical:
    """Take the middle clear plume (any plume when none is clear) as the shape of a sound one."""
    clear = [h.plume - 1 for h in result.holes if h.state is HoleState.CLEAR and h.plume]
    cat = result.catalogue
    rows = np.array(clear or range(len(cat)), int)
    if len(rows) == 0:
        w, h = result.card.size_mm
        return Typical(near_mm=0.1 * min(w, h), reach_mm=0.3 * min(w, h), width_deg=15.0)
    return Typical(
        near_mm=float(np.median(cat.near_mm[rows])),
        reach_mm=float(np.median(cat.reach_mm[rows])),
        width_deg=float(np.median(cat.width_deg[rows])),
    )


def ghost_outline(result: Result, hole: Hole) -> tuple[Points, float]:
    """Outline of the plume a hole should have left.

    Returns
    -------
    outline_mm : (K, 2) ndarray of float64
        On the card.
    reach_mm : float
        Its far end's distance from the centre.
    """
    typical = typical_plume(result)
    scale = _radial_factor(result, hole)
    near, reach = typical.near_mm * scale, typical.reach_mm * scale
    middle, half = (near + reach) / 2, max(1e-6, (reach - near) / 2)
    across = min(half, middle * math.tan(math.radians(min(60.0, typical.width_deg) / 2)))
    t = np.linspace(0, 2 * math.pi, 48, endpoint=False)
    along = middle + half * np.cos(t)
    side = across * np.sin(t)
    direction = hole.expected_deg + np.degrees(np.arctan2(side, along))
    centre = np.array([result.centre.x_mm, result.centre.y_mm])
    return polar(centre, direction, np.hypot(along, side)), reach


def _radial_factor(result: Result, hole: Hole) -> float:
    """How far out this hole lands against the middle clear one: a cone at an angle lands at tan."""
    angles = np.array(result.layout.axis_angle_deg)
    clear = [h.hole - 1 for h in result.holes if h.state is HoleState.CLEAR]
    if not clear or hole.hole > len(angles) or max(clear) >= len(angles):
        return 1.0
    middle = float(np.median(angles[clear]))
    own = float(angles[hole.hole - 1])
    if not (0 < own < 85 and 0 < middle < 85):
        return 1.0
    return math.tan(math.radians(own)) / math.tan(math.radians(middle))


def smooth_outline(outline: Points, sigma_px: float) -> Points:
    """Smooth a closed outline along itself, for the eye: cells of the map show no stairs.

    Parameters
    ----------
    outline : (K, 2) ndarray of float64
        Closed polygon, in pixels.
    sigma_px : float
        Standard deviation of the Gaussian along the outline.
    """
    if len(outline) < 8:
        return outline
    closed = np.vstack([outline, outline[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    if along[-1] < 12 * sigma_px:
        return outline
    count = int(np.clip(along[-1] / (0.5 * sigma_px), 24, 1000))
    at = np.linspace(0, along[-1], count, endpoint=False)
    even = np.interp(at, along, closed[:, 0]) + 1j * np.interp(at, along, closed[:, 1])
    cycles = np.fft.fftfreq(count, along[-1] / count)
    damped = np.fft.fft(even) * np.exp(-2 * (math.pi * cycles * sigma_px) ** 2)
    back = np.fft.ifft(damped)
    return np.column_stack([back.real, back.imag])
