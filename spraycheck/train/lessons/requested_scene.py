"""Requests turned into scenes of the simulator: nozzle, shot, sheet, light and camera."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from spraycheck.card.spec import parse_sheet
from spraycheck.judge.layout import Layout
from spraycheck.simulate import Camera, Curl, Fluid, Paper, Scene, SprayShot, StrayJet, Table
from spraycheck.simulate.nozzle import CentralSpray, SyntheticNozzle
from spraycheck.simulate.scribbles import squared_ruling
from spraycheck.train.lessons.card_request import AXIAL, PHOTOS, CardRequest

_RING_FRAC = 0.26
# Distance of the plumes' middles from the centre over the sheet's short side (chosen: plumes clear
# of each other and of the edges).
_STAIN_MM2 = 600.0
# Of one plume on a ring of 55 mm (chosen: as large as the stains on photographs of cards).
_RING_MM = 55.0


@dataclass(frozen=True, kw_only=True)
class RequestedScene:
    """A request turned into something to draw.

    Parameters
    ----------
    request : CardRequest
        What was asked for.
    scene : Scene
        Draws and photographs it.
    layout : Layout or None
        What the nozzle should spray; None for a spray along the axis.
    """

    request: CardRequest
    scene: Scene
    layout: Layout | None


def scene_for(request: CardRequest) -> RequestedScene:
    """Turn a request into a scene.

    Parameters
    ----------
    request : CardRequest
        What is asked for.

    Returns
    -------
    RequestedScene

    Raises
    ------
    InputError
        The request is impossible: a plume that would miss the card, an angle beyond the horizon.

    Notes
    -----
    Healthy holes differ a little, as real ones do: 2 % in flow and 0.4 degrees in direction
    (standard deviations, chosen inside the spread of new nozzles that the simulator's notes give).
    """
    rng = np.random.default_rng([request.seed, 5])
    size = parse_sheet(request.sheet)
    width, height = size.width_mm, size.height_mm
    paper = Paper.stock(request.paper, width_mm=width, height_mm=height)
    if request.squared:
        paper = replace(paper, artwork=(squared_ruling((width, height)),))
    if request.nozzle in AXIAL:
        nozzle, layout = _axial(request, rng), None
        shot = _axial_shot(request, nozzle, paper)
    else:
        healthy = _healthy(request, rng)
        layout = _layout(request, healthy)
        nozzle = _with_faults(request, healthy, rng)
        shot = _shot(request, nozzle, paper)
    scene = Scene(
        seed=int(rng.integers(2**31)),
        nozzle=nozzle,
        shot=shot,
        paper=paper,
        fluid=Fluid.kind(request.fluid),
        camera=_camera(request, (width, height), rng),
        table=_table(request, rng),
        curl=Curl(lift_mm=request.curl_mm, axis_deg=float(rng.uniform(15, 35))),
        foot_mm=(float(rng.uniform(-4, 4)), float(rng.uniform(-4, 4))),
        soak_s=60 * request.minutes,
        family="asked",
        fault="none" if request.faultless else "asked",
    )
    return RequestedScene(request=request, scene=scene, layout=layout)


# -- nozzle ------------------------------------------------------------------------------------


def _healthy(request: CardRequest, rng: np.random.Generator) -> SyntheticNozzle:
    angle = 65.0 if request.angle_deg is None else request.angle_deg
    # Hole 1 is the one nearest 12 o'clock, as the tool numbers them, but never quite on it.
    first = float(rng.uniform(0.05, 0.25)) * 360 / request.holes
    if request.nozzle == "slanted":
        return SyntheticNozzle.slanted(
            request.holes,
            axis_angle_deg=62.0 if request.angle_deg is None else angle,
            slant_deg=9.0,
            slant_to_deg=float(rng.uniform(0, 360)),
            first_deg=first,
        )
    if request.nozzle == "two-row":
        return SyntheticNozzle.two_row(
            request.holes, upper_angle_deg=angle + 3, lower_angle_deg=angle - 4, first_deg=first
        )
    return SyntheticNozzle.evenly(request.holes, axis_angle_deg=angle, first_deg=first)


def _layout(request: CardRequest, nozzle: SyntheticNozzle) -> Layout:
    if request.nozzle == "even":
        return Layout.evenly_spread(request.holes)
    two = request.nozzle == "two-row"
    diameters = nozzle.diameter_mm if isinstance(nozzle.diameter_mm, tuple) else ()
    return Layout(
        name=f"{request.holes} holes, {request.nozzle}, invented",
        azimuth_deg=tuple(round(a, 2) for a in nozzle.azimuth_deg),
        axis_angle_deg=tuple(round(a, 2) for a in nozzle.axis_angles),
        diameter_mm=tuple(round(d, 4) for d in diameters) if two else (),
        row=(1, 2) * (request.holes // 2) if two else (),
    )


def _with_faults(
    request: CardRequest, nozzle: SyntheticNozzle, rng: np.random.Generator
) -> SyntheticNozzle:
    """Spread the healthy holes a little, then put in what was asked for."""
    step = 360.0 / request.holes
    flows = dict.fromkeys(request.blocked, 0.0) | dict(request.weak) | dict(request.heavy)
    turns = dict(request.off_line)
    for hole, left in request.merging:
        turns |= {hole: (step - left) / 2, hole % request.holes + 1: -(step - left) / 2}
    for hole in range(1, request.holes + 1):
        flow, turn = np.clip(rng.normal(1, 0.02), 0.95, 1.05), np.clip(rng.normal(0, 0.4), -1, 1)
        nozzle = nozzle.with_flow(hole, float(flows.get(hole, flow)))
        nozzle = nozzle.with_deflection(hole, float(turns.get(hole, turn)))
    return nozzle


def _shot(request: CardRequest, nozzle: SyntheticNozzle, paper: Paper) -> SprayShot:
    ring = _RING_FRAC * min(paper.width_mm, paper.height_mm)
    steepest = math.tan(math.radians(max(nozzle.axis_angles)))
    height = ring / steepest if request.height_mm is None else request.height_mm
    n = request.holes
    # Many holes have less room each: narrower cones and smaller stains keep them apart.
    cone = min(6.0, 48.0 / n) if request.cone_deg is None else request.cone_deg / 2
    stain = _STAIN_MM2 * (ring / _RING_MM) ** 2 * min(1.0, (8 / n) ** 1.5)
    healthy = (
        stain * n * paper.capacity_mm3_per_mm2 if request.volume_mm3 is None else request.volume_mm3
    )
    flow = sum(nozzle.flows) / n
    return SprayShot(
        # What a blocked hole holds back is shared only in part by the others (chosen: half).
        volume_mm3=healthy * (1 + flow) / 2,
        height_mm=height,
        half_cone_deg=cone,
        drip_mm3=request.drip_mm3,
        splashes=request.splashes,
        strays=tuple(StrayJet(direction_deg=d, share=share) for d, share in request.stray),
        tilt_x_deg=_tilt(request)[0],
        tilt_y_deg=_tilt(request)[1],
    )


def _tilt(request: CardRequest) -> tuple[float, float]:
    to = math.radians(request.tilt_to_deg)
    return request.tilt_deg * math.sin(to), -request.tilt_deg * math.cos(to)


def _axial(request: CardRequest, rng: np.random.Generator) -> SyntheticNozzle:
    """Make a spray along the axis; the values of its faults are chosen to be plain to see."""
    hollow = request.nozzle == "pintle"
    half = (12.0 if hollow else 8.0) if request.cone_deg is None else request.cone_deg / 2
    fault, aside = request.axial_fault, float(rng.uniform(0, 360))
    central = CentralSpray(
        kind="hollow" if hollow else "solid",
        half_cone_deg=half,
        wall_deg=0.27 * half,
        lopsided_frac=0.8 if fault == "lopsided" else 0.04,
        lopsided_deg=aside,
        fill_frac=0.85 if fault == "filled" else 0.0,
        streaks_deg=tuple((aside + 72.0 * k) % 360 for k in range(5)) if fault == "streaky" else (),
        streak_frac=0.7 if fault == "streaky" else 0.0,
        lean_deg=min(1.5 * half, 20.0) if fault == "off-centre" else 0.0,
        lean_to_deg=aside,
    )
    return SyntheticNozzle(azimuth_deg=(), central=central)


def _axial_shot(request: CardRequest, nozzle: SyntheticNozzle, paper: Paper) -> SprayShot:
    assert nozzle.central is not None
    height = 70.0 if request.height_mm is None else request.height_mm
    radius = height * math.tan(math.radians(nozzle.central.half_cone_deg))
    # A hollow only stays one where the paper is not full (chosen as the simulator's scenes do).
    fullness = 0.55 if nozzle.central.kind == "hollow" else 0.9
    wet = math.pi * radius**2 * paper.capacity_mm3_per_mm2 * fullness
    return SprayShot(
        volume_mm3=wet if request.volume_mm3 is None else request.volume_mm3,
        height_mm=height,
        mist_frac=0.1,
        drip_mm3=request.drip_mm3,
        splashes=request.splashes,
        strays=tuple(
            StrayJet(direction_deg=d, axis_angle_deg=35.0, share=f) for d, f in request.stray
        ),
        tilt_x_deg=_tilt(request)[0],
        tilt_y_deg=_tilt(request)[1],
    )


# -- photograph ----------------------------------------------------------------------------------


def _camera(request: CardRequest, sheet: tuple[float, float], rng: np.random.Generator) -> Camera:
    """Hold the camera as asked: straight above in good light, as it comes, or badly."""
    long, short = sorted(sheet, reverse=True)
    ratio = min(long / short, 4 / 3) if long / short > 1.1 else 1.0
    big, small = (
        math.sqrt(request.megapixels * 1e6 * ratio),
        math.sqrt(request.megapixels * 1e6 / ratio),
    )
    upright = sheet[1] >= sheet[0]
    worse = {"easy": 0.0, "usual": 0.45, "poor": 1.0}[request.photo]
    light = ("ceiling", "window", "lamp")[PHOTOS.index(request.photo)]
    return Camera(
        width_px=round(small if upright else big),
        height_px=round(big if upright else small),
        fill_frac=0.93 - 0.15 * worse,
        obliquity_deg=2 + worse * float(rng.uniform(12, 24)),
        obliquity_to_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.uniform(-2, 2)) * (1 + 2 * worse),
        light="flash" if request.glare else light,
        light_from_deg=float(rng.uniform(0, 360)),
        light_fall_frac=0.12 + 0.3 * worse,
        shadow_frac=0.45 if request.shadow else 0.0,
        shadow_soft_mm=15.0,
        gloss=0.45 if request.glare else 0.0,
        exposure=0.78 - 0.35 * worse,
        blur_px=0.5 + 1.3 * worse,
        noise=0.004 + 0.016 * worse,
        jpeg_quality=round(93 - 30 * worse),
    )


def _table(request: CardRequest, rng: np.random.Generator) -> Table:
    surface = str(rng.choice(["steel", "concrete", "blue mat", "wood"]))
    return Table(surface=surface, clutter={"easy": 0, "usual": 2, "poor": 4}[request.photo])
