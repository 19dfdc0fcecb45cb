"""Drawn photographs with exact truth, for tests of the whole chain from pixels to verdict.

A second implementation on purpose: a pinhole camera that sends a ray through every pixel, meets
the table plane and asks what lies there, a point-in-shape test for the spray, and light that is
multiplied. Nothing of the package is used but the container in which `flat` hands over a card that
needs no camera. Edges are soft by their distance in mm, so that one ray per pixel is enough.

Frames as in the package's documents: card in mm, x right, y down, origin in the middle of the
sheet; directions clockwise from 12 o'clock. The camera looks along +z, down on the card.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from cards import from_above
from numpy.typing import NDArray

from spraycheck.card.containers import RectifiedCard

Array = NDArray[np.float64]

PAPER = (0.74, 0.71, 0.64)
SATURATED = (0.62, 0.55, 0.42)  # share of the paper's light left by saturated paper
TABLE = (0.10, 0.075, 0.055)


@dataclass(frozen=True)
class Cone:
    """A straight conical plume: its axis leaves the tip at ``angle`` from the plumb line."""

    direction: float
    angle: float
    half_cone: float


@dataclass(frozen=True)
class Blot:
    """An ellipse on the ray at ``direction``; the plain plume of most scenes."""

    direction: float
    radius: float = 52.0
    length: float = 17.0  # semi-axis along the ray
    width: float = 7.5
    wetness: float = 1.0
    skew: float = 0.0  # turn of the long axis against the ray, degrees clockwise


@dataclass(frozen=True)
class Sector:
    """A piece of a ring, ``width`` degrees wide: one sector of a star chart."""

    direction: float
    near: float = 32.0
    far: float = 76.0
    width: float = 10.0


@dataclass(frozen=True)
class Card:
    """What lies on the sheet."""

    plumes: tuple[Blot | Cone | Sector, ...]
    centre: tuple[float, float] = (7.0, -12.0)
    size: tuple[float, float] = (210.0, 297.0)
    height: float = 30.0  # of the tip, for cones
    softness: float = 0.8  # width of every wet edge, mm
    falloff: float = 0.25
    brightness: float = 1.0
    paper: tuple[float, float, float] = PAPER
    saturated: tuple[float, float, float] = SATURATED


@dataclass(frozen=True)
class Camera:
    """A pinhole camera aimed at ``aim`` on the card."""

    size: tuple[int, int] = (960, 1280)
    focal: float = 1150.0  # px
    distance: float = 390.0  # mm from the aim
    tilt: float = 0.0  # degrees off the plumb line
    towards: float = 35.0  # where on the card's clock the camera stands when tilted
    roll: float = 4.0  # turn of the photo, degrees
    aim: tuple[float, float] = (4.0, -6.0)

    def axes(self) -> tuple[Array, Array]:
        """Rotation (columns right, down, forward in card axes) and position of the camera."""
        t, w, r = (math.radians(v) for v in (self.tilt, self.towards, self.roll))
        side = np.array([math.sin(w), -math.cos(w), 0.0])
        forward = np.array([0.0, 0.0, math.cos(t)]) - math.sin(t) * side
        level = np.cross([0.0, 0.0, 1.0], side)  # unchanged by the tilt
        other = np.cross(forward, level)
        # Untilted, right and down must be the card's own x and y: express them in this basis.
        flat = np.cross([0.0, 0.0, 1.0], level)
        right = level * level[0] + other * flat[0]
        down = level * level[1] + other * flat[1]
        turned = np.column_stack(
            [math.cos(r) * right + math.sin(r) * down, -math.sin(r) * right + math.cos(r) * down]
        )
        place = np.array([*self.aim, 0.0]) - self.distance * forward
        return np.column_stack([turned, forward]), place

    def project(self, points: Array) -> Array:
        """Card points (mm) to photo pixels."""
        rotation, place = self.axes()
        p = np.column_stack([np.atleast_2d(points), np.zeros(len(np.atleast_2d(points)))]) - place
        q = p @ rotation
        middle = (np.array(self.size) - 1) / 2
        return np.asarray(q[:, :2] / q[:, 2:] * self.focal + middle)

    def rays(self, u: Array, v: Array) -> tuple[Array, Array]:
        """Where the rays through pixels meet the table, in card mm."""
        rotation, place = self.axes()
        x = (u - (self.size[0] - 1) / 2) / self.focal
        y = (v - (self.size[1] - 1) / 2) / self.focal
        d = [rotation[k, 0] * x + rotation[k, 1] * y + rotation[k, 2] for k in range(3)]
        s = -place[2] / d[2]
        return place[0] + s * d[0], place[1] + s * d[1]


@dataclass(frozen=True)
class Shot:
    """A photograph and how it came about."""

    rgb: NDArray[np.uint8]
    card: Card
    camera: Camera
    centre_px: Array = field(repr=False)


def even(count: int, *, start: float = 11.0, **plume: float) -> tuple[Blot, ...]:
    return tuple(Blot(direction=start + 360 * k / count, **plume) for k in range(count))


def _soft(distance: Array, softness: float) -> Array:
    """0 outside to 1 inside, half on the edge; ``distance`` in mm, positive inside."""
    return np.asarray(1 / (1 + np.exp(np.clip(-4 * distance / softness, -60, 60))))


def wetness(card: Card, x: Array, y: Array) -> Array:
    """How wet the paper is at card points."""
    wet = np.zeros(np.shape(x))
    for plume in card.plumes:
        if isinstance(plume, Blot):
            one = _blot(card, plume, x, y)
        elif isinstance(plume, Cone):
            one = _cone(card, plume, x, y)
        else:
            one = _sector(card, plume, x, y)
        wet = np.maximum(wet, one)
    return wet


def _sector(card: Card, plume: Sector, x: Array, y: Array) -> Array:
    dx, dy = x - card.centre[0], y - card.centre[1]
    t, middle = math.radians(plume.direction), (plume.near + plume.far) / 2
    reach = (plume.far - plume.near) / 2 + plume.far * math.radians(plume.width / 2)
    reach += 6 * card.softness
    mx, my = middle * math.sin(t), -middle * math.cos(t)
    out = np.zeros(np.shape(x))
    near = np.nonzero((np.abs(dx - mx) < reach) & (np.abs(dy - my) < reach))
    dx, dy = dx[near], dy[near]
    radius = np.hypot(dx, dy)
    off = (np.degrees(np.arctan2(dx, -dy)) - plume.direction + 180) % 360 - 180
    flank = radius * np.radians(plume.width / 2 - np.abs(off))
    ends = np.minimum(radius - plume.near, plume.far - radius)
    out[near] = _soft(np.minimum(ends, flank), card.softness)
    return out


def _blot(card: Card, plume: Blot, x: Array, y: Array) -> Array:
    t, a = math.radians(plume.direction), math.radians(plume.direction + plume.skew)
    mx = card.centre[0] + plume.radius * math.sin(t)
    my = card.centre[1] - plume.radius * math.cos(t)
    out = np.zeros(np.shape(x))
    reach = plume.length + 6 * card.softness
    near = np.nonzero((np.abs(x - mx) < reach) & (np.abs(y - my) < reach))
    dx, dy = x[near] - mx, y[near] - my
    along = dx * math.sin(a) - dy * math.cos(a)
    across = dx * math.cos(a) + dy * math.sin(a)
    q = np.hypot(along / plume.length, across / plume.width)
    # First-order distance to the ellipse: (1 - q) over the length of q's gradient.
    slope = np.hypot(along / plume.length**2, across / plume.width**2) / np.maximum(q, 1e-3)
    out[near] = plume.wetness * _soft((1 - q) / np.maximum(slope, 1e-3), card.softness)
    return out


def _cone(card: Card, plume: Cone, x: Array, y: Array) -> Array:
    """Follow the line from the tip to each card point: is it within the cone about the axis?"""
    t, a = math.radians(plume.direction), math.radians(plume.angle)
    toward = (math.sin(t), -math.cos(t))
    axis = (math.sin(a) * toward[0], math.sin(a) * toward[1], math.cos(a))
    # Only look where rays can land: between the nearest and farthest one, and as far to the sides.
    b, pad = math.radians(plume.half_cone), 6 * card.softness + 1
    low, high = card.height * math.tan(a - b) - pad, card.height * math.tan(a + b) + pad
    dx, dy, dz = x - card.centre[0], y - card.centre[1], card.height
    middle, reach = (low + high) / 2, (high - low) / 2
    out = np.zeros(np.shape(x))
    near = np.nonzero(
        (np.abs(dx - middle * toward[0]) < reach) & (np.abs(dy - middle * toward[1]) < reach)
    )
    dx, dy = dx[near], dy[near]
    length = np.sqrt(dx**2 + dy**2 + dz**2)
    cosine = (dx * axis[0] + dy * axis[1] + dz * axis[2]) / length
    off = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    if card.softness <= 0:
        out[near] = off <= plume.half_cone
    else:
        out[near] = _soft(np.radians(plume.half_cone - off) * length, card.softness)
    return out


def linear_light(card: Card, x: Array, y: Array, px_mm: float) -> Array:
    """Linear light of sheet and table; the sheet's edge is one pixel (``px_mm``) soft."""
    width, height = card.size
    # Light wanders in paper: square roots of reflectance mix (Yule and Nielsen 1951, n = 2).
    wet = wetness(card, x, y)[..., None]
    passed = ((1 - wet) + wet * np.sqrt(np.array(card.saturated))) ** 2
    sheet = np.array(card.paper) * passed
    inside = np.minimum(width / 2 - np.abs(x), height / 2 - np.abs(y))
    cover = np.clip(0.5 + inside / px_mm, 0, 1)[..., None]
    grain = 1 + 0.15 * np.sin(x / 9.0 + 0.6 * np.sin(y / 31.0))[..., None]
    scene = cover * sheet + (1 - cover) * np.array(TABLE) * grain
    # Two slow ramps and a bend: nothing symmetric.
    ramp = 1 - card.falloff * np.clip(0.5 + x / 420 + 0.3 * y / 600 + (y / 500) ** 2, 0, 2)
    return np.asarray(scene * card.brightness * ramp[..., None])


def srgb(light: Array) -> Array:
    """Encode linear light (IEC 61966-2-1)."""
    v = np.clip(light, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def photograph(
    card: Card, camera: Camera | None = None, *, noise: float = 0.006, seed: int = 5
) -> Shot:
    """Take the photo, in strips of rows so that large ones need little memory."""
    camera = camera or Camera()
    cols, rows = camera.size
    rng = np.random.default_rng(seed)
    rgb = np.empty((rows, cols, 3), np.uint8)
    px_mm = camera.distance / camera.focal
    steps = np.round(255 * srgb(np.arange(16385) / 16384)).astype(np.uint8)
    for top in range(0, rows, 256):
        v, u = np.mgrid[top : min(top + 256, rows), 0:cols].astype(float)
        x, y = camera.rays(u, v)
        light = linear_light(card, x, y, px_mm)
        light *= 1 + noise * rng.standard_normal(light.shape, np.float32)
        rgb[top : top + 256] = steps[np.clip(light * 16384 + 0.5, 0, 16384).astype(np.int32)]
    centre = camera.project(np.array([card.centre]))[0]
    return Shot(rgb=rgb, card=card, camera=camera, centre_px=centre)


def flat(
    card: Card, *, cell: float = 0.25, oversample: int = 1, noise: float = 0.0, seed: int = 5
) -> RectifiedCard:
    """Return the card as if already rectified without fault; 4 photo pixels per mm, shifted."""
    cols, rows = (int(side // cell) for side in card.size)
    x0, y0 = -(cols - 1) / 2 * cell, -(rows - 1) / 2 * cell
    x, y = np.meshgrid(x0 + cell * np.arange(cols), y0 + cell * np.arange(rows))
    step = (np.arange(oversample) - (oversample - 1) / 2) * cell / oversample
    light = np.mean([linear_light(card, x + a, y + b, 1e-3) for a in step for b in step], axis=0)
    light *= 1 + np.random.default_rng(seed).normal(0, noise, light.shape)
    return from_above(light, x, y, cell=cell, size=card.size, px_per_mm=4.0, shift=(30, 55))
