"""Stage 3 on drawn cards."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cards import Plume, Scene, draw, even

from spraycheck import flags as flag
from spraycheck.errors import CentreNotFoundError, SprayNotFoundError
from spraycheck.spray.centre import Axes, fit_ring
from spraycheck.spray.containers import NozzleCentre
from spraycheck.spray.plumes import locate_centre
from spraycheck.spray.settings import PlumeSettings
from spraycheck.spray.wetness import map_wetness


def locate(scene: Scene) -> tuple[NozzleCentre, float]:
    found = locate_centre(map_wetness(draw(scene)))
    miss = math.hypot(found.x_mm - scene.centre[0], found.y_mm - scene.centre[1])
    return found, miss


@pytest.mark.parametrize("holes", [3, 4, 5, 6, 7, 8])
def test_centre_of_an_even_pattern(holes: int) -> None:
    found, miss = locate(Scene(plumes=even(holes)))
    assert miss < 0.2
    assert found.found_by == "axes+ring"
    assert found.ring_radius_mm == pytest.approx(46, abs=0.5)


def test_a_missing_plume_does_not_move_the_centre() -> None:
    _found, miss = locate(Scene(plumes=even(5)[1:]))
    assert miss < 0.2


def test_unequal_radii_drop_the_ring() -> None:
    radii = (34, 58, 42, 52, 37)
    plumes = tuple(replace(p, radius=float(r)) for p, r in zip(even(5), radii, strict=True))
    found, miss = locate(Scene(plumes=plumes))
    assert miss < 0.3
    assert flag.RING_DROPPED in found.flags
    assert math.isnan(found.ring_radius_mm)


def test_a_tilted_nozzle_moves_the_ring_and_not_the_centre() -> None:
    # First order: tilt adds a shift s to every impact point along its ray, R + s.u; the plumes
    # keep pointing at the foot. The ring's centre moves by s, the axes do not.
    shift = (3.0, -1.5)
    plumes = []
    for p in even(6):
        t = math.radians(p.direction)
        along = shift[0] * math.sin(t) - shift[1] * math.cos(t)
        plumes.append(replace(p, radius=p.radius + along))
    found, miss = locate(Scene(plumes=tuple(plumes)))
    assert miss < 0.7
    assert found.ring_offset_mm[0] == pytest.approx(shift[0] / 1, abs=1.6)
    # Negative control: a centre from the ring alone would be off by the shift.
    ring = (found.x_mm + found.ring_offset_mm[0], found.y_mm + found.ring_offset_mm[1])
    assert math.hypot(ring[0] - 4.0, ring[1] + 7.0) > 1.0


def test_two_plumes_give_a_wide_centre() -> None:
    found, miss = locate(Scene(plumes=(Plume(20), Plume(110))))
    assert flag.FEW_PLUMES in found.flags
    assert miss < found.u95_mm


def test_a_drip_alone_is_no_pattern() -> None:
    with pytest.raises((CentreNotFoundError, SprayNotFoundError)):
        locate(Scene(plumes=(), drip=5.0))


def test_stated_region_holds_the_centre_on_noisy_cards() -> None:
    inside = 0
    for seed in range(12):
        plumes = tuple(replace(p, turn=1.2 * math.sin(3 * k + seed)) for k, p in enumerate(even(5)))
        found, miss = locate(Scene(plumes=plumes, noise=0.03, seed=seed))
        inside += miss <= found.u95_mm
    assert inside >= 11


def test_plumes_on_one_line_lie_on_no_ring() -> None:
    along = np.array([-40.0, 10.0, 30.0])
    axes = Axes(
        xy=np.column_stack([along, along]),
        angle_rad=np.full(3, 0.9),
        sigma_rad=np.full(3, 0.01),
        area_mm2=np.full(3, 300.0),
    )
    assert fit_ring(axes, PlumeSettings()) is None
