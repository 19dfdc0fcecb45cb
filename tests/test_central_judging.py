"""Central sprays: the edges of shadows, noise, and verdicts close to and far beyond a limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from central_cards import disc, grid, photo_of, wet_map
from judging import judge_patch

from spraycheck.judge.case import Case
from spraycheck.judge.limits import AxialLimits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Result
from spraycheck.pipeline import Pipeline
from spraycheck.spray.axial.containers import QUANTITIES, Aim, AxialPatch
from spraycheck.spray.axial.measure import measure_axial
from spraycheck.spray.containers import WetnessMap

MIDDLE = (7.0, -12.0)
HERE = Aim(x_mm=MIDDLE[0], y_mm=MIDDLE[1], u_mm=0.3, source="given")
RING = disc(15, MIDDLE) - disc(9, MIDDLE)


def judge(patch: AxialPatch, wet: WetnessMap, *, fill: str = "filled") -> Result:
    return judge_patch(
        patch,
        AxialNozzle(name="test", kind="pintle", fill=fill, full_angle_deg=20.0),
        AxialLimits(),
        photo=photo_of(wet),
        card=wet.card,
        wetness=wet,
    )


def judged(wet: WetnessMap) -> Result:
    return judge(measure_axial(wet, HERE), wet)


def state(a: Result, limit: str) -> str:
    return next(one.outcome for one in a.checks if one.limit == limit)


def shadowed(wetness: np.ndarray, dark: np.ndarray) -> WetnessMap:
    """The map of a card with a shadow on it, in which what is dark has two thirds of the light."""
    return wet_map(wetness, light=0.6 - 0.2 * dark)


def test_a_shadows_edge_at_the_border_is_no_spray() -> None:
    _, turn = grid((-60.0, 60.0))
    shadow = (abs(turn) < 90).astype(float)
    looks_wet = 0.7 * disc(8, (-75, 58)) * shadow
    a = judged(shadowed(disc(12, MIDDLE) + looks_wet, shadow))
    assert a.patch.sides == ()
    assert a.verdict == "pass"
    # The same spot on an evenly lit card, darker than all paper beside it, may be spray.
    lit = judged(wet_map(disc(12, MIDDLE) + looks_wet))
    assert lit.verdict == "recheck"


def test_a_shadows_edge_through_the_patch_is_no_part_of_it() -> None:
    r, turn = grid(MIDDLE)
    below = r * np.cos(np.radians(turn)) < 0
    edge = 0.5 * (below & (r * np.cos(np.radians(turn)) > -4) & (r < 40))
    wetness = np.maximum(disc(12, MIDDLE), edge)
    a = judged(shadowed(wetness, below.astype(float)))
    assert a.patch.diameter_mm == pytest.approx(24 + 2 * 0.37, rel=0.05)
    assert a.verdict == "pass"
    # Without the shadow in the photo the same arms are spray.
    assert judged(wet_map(wetness)).verdict != "pass"


def test_noise_adds_nothing_to_the_streaks() -> None:
    even = disc(8, MIDDLE)
    found = [
        measure_axial(wet_map(even, noise=0.6, seed=seed), HERE).streak_frac for seed in range(6)
    ]
    assert np.mean(found) < 0.03


def test_far_beyond_a_limit_the_uncertainty_is_that_of_the_limit() -> None:
    _r, turn = grid(MIDDLE)
    p = measure_axial(
        wet_map(disc(12, MIDDLE) * (1 + 0.9 * np.cos(np.radians(4 * turn))) / 1.9), HERE
    )
    assert p.streak_frac > 0.4
    assert 0 < p.u_at("streak_frac", 0.2) < 0.7 * p.u("streak_frac")
    # Not on the near side of the limit, and not where nothing grows with the value.
    assert p.u_at("streak_frac", 0.9) == p.u("streak_frac")
    assert p.u_at("ellipse_ratio", 0.8) == p.u("ellipse_ratio")


def test_two_limits_nearly_broken_are_proof_together() -> None:
    wet = wet_map(disc(12, MIDDLE))
    patch = measure_axial(wet, HERE)
    k, j = (list(QUANTITIES).index(name) for name in ("ellipse_ratio", "form_factor"))
    covariance = np.diag(np.full(len(QUANTITIES), 1e-6))
    covariance[k, k] = covariance[j, j] = 0.02**2
    # Each limit is kept with a probability of 4 %, so both with 0.2 %.
    near = replace(
        patch,
        ellipse_ratio=0.8 - 1.75 * 0.02,
        form_factor=0.55 - 1.75 * 0.02,
        covariance=covariance,
    )
    assert judge(near, wet).verdict == "fail"
    assert judge(replace(near, form_factor=0.9), wet).verdict == "recheck"


def test_a_dry_spot_beside_a_wet_middle_is_no_hollow_off_its_middle() -> None:
    wet = wet_map(RING)
    off = replace(measure_axial(wet, HERE), hollow_offset_ratio=0.25)
    assert state(judge(off, wet, fill="hollow"), "hollow_offset_ratio") == "broken"
    assert (
        state(judge(replace(off, core_ratio=0.65), wet, fill="hollow"), "hollow_offset_ratio")
        == "unsure"
    )


def test_fine_drops_beside_the_patch_are_doubtful_and_one_alone_is_not_much() -> None:
    """Thirty drops of 0.8 mm: the map's filter makes each too pale to count as wetted."""
    rng = np.random.default_rng(3)
    patch = disc(8, MIDDLE)
    places = [(MIDDLE[0] + x, MIDDLE[1] + 20 + y) for x, y in rng.uniform(-5, 5, (30, 2))]
    spray = np.maximum(patch, sum(disc(0.45, place) for place in places).clip(0, 1))
    p = measure_axial(wet_map(spray), HERE)
    assert p.side_frac + p.doubtful_frac > 0.04
    assert judge(p, wet_map(spray)).verdict != "pass"
    alone = wet_map(np.maximum(patch, disc(0.45, places[0])))
    assert measure_axial(alone, HERE).doubtful_frac < 0.01
    assert judged(alone).verdict == "pass"


def test_less_certain_means_every_uncertainty() -> None:
    p = measure_axial(wet_map(disc(12, MIDDLE)), HERE)
    q = p.less_certain(2.0)
    for name in QUANTITIES:
        assert q.u(name) == pytest.approx(2 * p.u(name), nan_ok=True)
        assert q.value(name) == pytest.approx(p.value(name), nan_ok=True)
    assert q.area_u_mm2 == 2 * p.area_u_mm2
    assert q.diameter_u_mm == 2 * p.diameter_u_mm
    assert q.centre_u_mm == 2 * p.centre_u_mm


def test_a_noisy_photo_is_judged_with_twice_the_uncertainty() -> None:
    """The pipeline asks the map; its other stages are stood in for."""
    sound = wet_map(disc(12, MIDDLE))
    seen: list[AxialPatch] = []

    def decide(case: Case, **_: object) -> None:
        seen.append(case.measurement.patch)

    for noise in (0.05, 0.12):
        pipeline = Pipeline(
            rectify=lambda *_, **__: sound.card,
            axial_wetness=lambda _, noise=noise: replace(sound, noise=noise),
            measure_axial=lambda wet, at: measure_axial(replace(wet, noise=sound.noise), at),
            decide=decide,
        )
        pipeline(photo_of(sound), nozzle=AxialNozzle(name="t", kind="pintle"), aim="centre")
    assert seen[1].u("ellipse_ratio") == pytest.approx(2 * seen[0].u("ellipse_ratio"))


def test_a_patch_whose_area_may_be_nought_is_no_proof() -> None:
    wet = wet_map(disc(8, (20.0, 12.0)))
    found = measure_axial(wet, HERE)
    assert judge(found, wet).verdict == "fail"
    barely = replace(found, area_u_mm2=1.1 * found.area_mm2)
    assert judge(barely, wet).verdict == "recheck"
