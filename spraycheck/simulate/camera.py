"""The camera: where it stands, how its lens maps the card to pixels, and a sheet that curls.

Frame of the table: mm, ``x`` right, ``y`` down, ``z`` away from the camera's side; the flat sheet
lies in ``z = 0``, its middle at the origin, and the card's frame is the table's. Photo pixels count
from the centre of the top left one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.simulate.checks import check_choice, check_range

Float = NDArray[np.float64]

FILM_DIAGONAL_MM = 43.266615305567875
"""Diagonal of 36 x 24 mm film, to which equivalent focal lengths refer."""

LIGHTS = ("ceiling", "window", "lamp", "flash")


@dataclass(frozen=True, kw_only=True)
class Curl:
    """A sheet bent like a sheet from a roll: an arc of a cylinder, no stretching.

    Parameters
    ----------
    lift_mm : float
        How far the ends stand above the middle (negative: the middle stands above the ends).
    axis_deg : float
        Clockwise direction of the line that stays straight.
    """

    lift_mm: float = 0.0
    axis_deg: float = 0.0

    def __post_init__(self) -> None:
        check_range("lift_mm", self.lift_mm, -40, 40, unit="mm")
        check_range("axis_deg", self.axis_deg, -360, 720, unit="deg")


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A phone, how it was held, the light, and what its processing does.

    Parameters
    ----------
    width_px, height_px : int
        Size of the upright photo. Default 3 megapixels.
    focal_35mm : float
        Focal length as equivalent on 36 x 24 mm film; 26 is a usual main phone camera (from
        memory).
    fill_frac : float
        How much of the frame the sheet fills, from centre to the nearest edge; above 1 crops it.
        Sets the distance.
    obliquity_deg, obliquity_to_deg : float
        How far the view is from square-on, and the clockwise direction it looks towards.
    roll_deg : float
        Turn of the camera about its own axis.
    aim_mm : (float, float)
        Card point in the middle of the photo.
    distortion : (float, float)
        Radial coefficients of the lens, ``1 + k1 r^2 + k2 r^4`` in units of the focal length.
    light : str
        ``ceiling`` (even, weak fall-off), ``window`` (gradient), ``lamp`` (point-like, strong
        fall-off) or ``flash`` (at the camera, hot spot and gloss).
    light_from_deg : float
        Clockwise direction on the card from where the light comes.
    light_fall_frac : float
        Strength of a window's gradient: darkest over brightest side of the sheet is about 1 less
        this.
    warm_frac : float
        Colour cast left by the white balance: red up and blue down by this much.
    shadow_frac : float
        Darkness of a shadow's edge across the card (of the photographer, the phone); 0 none.
    shadow_soft_mm : float
        Width of its penumbra.
    gloss : float
        Reflectance of the mirrored light source at its brightest (linear, relative to white).
    exposure : float
        Linear signal of a white sheet in full light; from 1 on it clips.
    blur_px : float
        Standard deviation of the lens and focus blur.
    motion_px : float
        Length of the smear from hand shake.
    noise : float
        Standard deviation of the sensor's noise at full white (linear, shot noise; a fifth of it
        also at black).
    vignette_frac : float
        Loss of light in the corners.
    sharpen : float
        Strength of the unsharp mask phones apply (0 none, 1 strong).
    contrast : float
        Strength of the S-curve phones lay over sRGB (0 none, 1 strong).
    jpeg_quality : int
        1 to 100.

    Raises
    ------
    InputError
        A value out of range.
    """

    width_px: int = 2000
    height_px: int = 1500
    focal_35mm: float = 26.0
    fill_frac: float = 0.8
    obliquity_deg: float = 3.0
    obliquity_to_deg: float = 0.0
    roll_deg: float = 0.0
    aim_mm: tuple[float, float] = (0.0, 0.0)
    distortion: tuple[float, float] = (0.0, 0.0)
    light: str = "ceiling"
    light_from_deg: float = 315.0
    light_fall_frac: float = 0.3
    warm_frac: float = 0.0
    shadow_frac: float = 0.0
    shadow_soft_mm: float = 30.0
    gloss: float = 0.0
    exposure: float = 0.8
    blur_px: float = 0.6
    motion_px: float = 0.0
    noise: float = 0.006
    vignette_frac: float = 0.12
    sharpen: float = 0.3
    contrast: float = 0.15
    jpeg_quality: int = 90

    def __post_init__(self) -> None:
        for name in ("width_px", "height_px"):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int) or not 64 <= value <= 12000:
                raise InputError(f"{name} {value!r}: expected a whole number from 64 to 12000")
        check_choice("light", self.light, LIGHTS)
        for name, low, high in (
            ("focal_35mm", 10, 300),
            ("fill_frac", 0.1, 4),
            ("obliquity_deg", 0, 60),
            ("distortion k1", -0.5, 0.5),
            ("light_fall_frac", 0, 0.9),
            ("warm_frac", -0.5, 0.5),
            ("shadow_frac", 0, 0.95),
            ("shadow_soft_mm", 0.5, 500),
            ("gloss", 0, 5),
            ("exposure", 0.01, 5),
            ("blur_px", 0, 20),
            ("motion_px", 0, 60),
            ("noise", 0, 0.5),
            ("vignette_frac", 0, 0.9),
            ("sharpen", 0, 3),
            ("contrast", 0, 1),
            ("jpeg_quality", 1, 100),
        ):
            value = self.distortion[0] if name == "distortion k1" else getattr(self, name)
            check_range(name, value, low, high)


@dataclass(frozen=True, kw_only=True)
class View:
    """A camera in place: the exact map from card to photo and back.

    Parameters
    ----------
    centre_mm : (3,) ndarray of float64
        Where the lens is.
    turn : (3, 3) ndarray of float64
        From table to camera axes (right, down, forward).
    focal_px : float
        Focal length.
    middle_px : (float, float)
        Principal point.
    distortion : (float, float)
        Radial coefficients.
    curl : Curl
        Of the sheet.
    half_mm : float
        Half of the sheet's length across the line that stays straight.
    """

    centre_mm: Float
    turn: Float
    focal_px: float
    middle_px: tuple[float, float]
    distortion: tuple[float, float]
    curl: Curl
    half_mm: float

    # -- sheet to space
    @property
    def _bend(self) -> float:
        """Curvature of the sheet, 1/mm; positive when the ends rise."""
        # lift = (1 - cos(k h)) / k is very nearly k h^2 / 2; one Newton step makes it exact to
        # some micrometres for lifts up to a third of the half length.
        lift, half = self.curl.lift_mm, self.half_mm
        if lift == 0:
            return 0.0
        k = 2 * lift / half**2
        for _ in range(8):
            f = (1 - math.cos(k * half)) / k - lift
            slope = (k * half * math.sin(k * half) - (1 - math.cos(k * half))) / k**2
            k -= f / slope
        return k

    @property
    def _base(self) -> float:
        """How far the middle of the sheet stands above the table."""
        return max(0.0, -self.curl.lift_mm)

    @property
    def _axes(self) -> tuple[Float, Float]:
        """Unit vectors on the card across, and along, the line that stays straight."""
        t = math.radians(self.curl.axis_deg)
        return np.array([math.cos(t), math.sin(t)]), np.array([math.sin(t), -math.cos(t)])

    def to_space(self, card_mm: Float) -> Float:
        """Return where ``(K, 2)`` points of the sheet are in space, ``(K, 3)`` mm."""
        p = np.asarray(card_mm, float).reshape(-1, 2)
        k = self._bend
        if k == 0:
            return np.column_stack([p, np.zeros(len(p))])
        across, along = self._axes
        s, t = p @ across, p @ along
        x = np.sin(k * s) / k
        flat = x[:, None] * across + t[:, None] * along
        return np.column_stack([flat, -(1 - np.cos(k * s)) / k - self._base])

    def to_photo(self, card_mm: Float) -> Float:
        """Return the photo pixels of ``(K, 2)`` card points, exactly.

        Returns
        -------
        (K, 2) ndarray of float64
        """
        return self.project(self.to_space(card_mm))

    def project(self, space_mm: Float) -> Float:
        """Return the photo pixels of ``(K, 3)`` points in space."""
        q = (np.asarray(space_mm, float) - self.centre_mm) @ self.turn.T
        xy = q[:, :2] / q[:, 2:]
        r2 = np.sum(xy * xy, axis=1, keepdims=True)
        k1, k2 = self.distortion
        xy = xy * (1 + r2 * (k1 + k2 * r2))
        return np.asarray(xy * self.focal_px + np.array(self.middle_px), float)

    # -- photo to sheet
    def rays(self, photo_px: Float) -> Float:
        """Return the directions in space, ``(K, 3)``, that ``(K, 2)`` pixels look along."""
        seen = (np.asarray(photo_px, float) - np.array(self.middle_px)) / self.focal_px
        k1, k2 = self.distortion
        xy = seen.copy()
        if k1 or k2:
            for _ in range(12):
                r2 = np.sum(xy * xy, axis=1, keepdims=True)
                xy = seen / (1 + r2 * (k1 + k2 * r2))
        return np.asarray(np.column_stack([xy, np.ones(len(xy))]) @ self.turn, float)

    def to_table(self, photo_px: Float) -> Float:
        """Return where pixels see the table's plane, ``(K, 2)`` mm; NaN above the horizon."""
        d = self.rays(photo_px)
        down = np.where(d[:, 2] > 1e-6, d[:, 2], np.nan)
        return np.asarray(self.centre_mm[:2] - self.centre_mm[2] * d[:, :2] / down[:, None], float)

    def to_card(self, photo_px: Float) -> Float:
        """Return which card points pixels see, ``(K, 2)`` mm; beyond the sheet it carries on."""
        k = self._bend
        if k == 0:
            return self.to_table(photo_px)
        d = self.rays(photo_px)
        across, along = self._axes
        cx, cz = self.centre_mm[:2] @ across, self.centre_mm[2] + self._base
        dx, dz = d[:, :2] @ across, d[:, 2]
        # Points of the sheet satisfy x^2 + (z + 1/k)^2 = 1/k^2, so k (x^2 + z^2) + 2 z = 0.
        a = k * (dx * dx + dz * dz)
        b = k * (cx * dx + cz * dz) + dz
        c = k * (cx * cx + cz * cz) + 2 * cz
        root = np.sqrt(np.maximum(b * b - a * c, 0))
        # Of the two crossings the sheet is (root - b) / a: the far one of a circle that opens
        # towards the camera, the near one of an arch. Written so that nothing cancels.
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = np.where(b >= 0, -c / (b + root), (root - b) / a)
        x = cx + reach * dx
        t = (self.centre_mm[:2] @ along) + reach * (d[:, :2] @ along)
        bent = np.clip(k * x, -1, 1)
        s = np.arcsin(bent) / k
        return np.asarray(s[:, None] * across + t[:, None] * along, float)


def place(camera: Camera, sheet_mm: tuple[float, float], curl: Curl | None = None) -> View:
    """Stand the camera where the sheet fills the frame as asked.

    Parameters
    ----------
    camera : Camera
        How it is held.
    sheet_mm : (float, float)
        Width and height of the sheet.
    curl : Curl, optional
        Of the sheet; flat by default.

    Returns
    -------
    View
    """
    curl = curl or Curl()
    o, towards = math.radians(camera.obliquity_deg), math.radians(camera.obliquity_to_deg)
    pivot = np.array([math.cos(towards), math.sin(towards), 0.0])
    slant, _ = cv2.Rodrigues(pivot * o)
    spin, _ = cv2.Rodrigues(np.array([0.0, 0.0, math.radians(-camera.roll_deg)]))
    turn = np.asarray(spin, float) @ np.asarray(slant, float).T
    forward = turn[2]
    diagonal = math.hypot(camera.width_px, camera.height_px)
    t = math.radians(curl.axis_deg)
    half = (abs(math.cos(t)) * sheet_mm[0] + abs(math.sin(t)) * sheet_mm[1]) / 2
    corners = np.array(
        [
            [sx * sheet_mm[0] / 2, sy * sheet_mm[1] / 2]
            for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
    )
    aim = np.array([camera.aim_mm[0], camera.aim_mm[1], 0.0])
    middle = ((camera.width_px - 1) / 2, (camera.height_px - 1) / 2)
    frame = np.array([camera.width_px, camera.height_px]) / 2

    def view(distance: float) -> View:
        return View(
            centre_mm=aim - distance * forward,
            turn=turn,
            focal_px=camera.focal_35mm / FILM_DIAGONAL_MM * diagonal,
            middle_px=middle,
            distortion=camera.distortion,
            curl=curl,
            half_mm=half,
        )

    low, high = 0.6 * math.hypot(*sheet_mm), 60 * math.hypot(*sheet_mm)
    for _ in range(60):
        mid = math.sqrt(low * high)
        off = np.abs(view(mid).to_photo(corners) - np.array(middle)) / frame
        if off.max() > camera.fill_frac:
            low = mid
        else:
            high = mid
    return view(high)
