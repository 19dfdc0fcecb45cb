"""Shadows, tools and marks on the card: they neither hide the spray nor speak for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cards import Plume, Scene, draw, even, grid

from spraycheck import flags as flag
from spraycheck.card.containers import RectifiedCard
from spraycheck.judge.quality.metrics import dark_share
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.patches import away_from_edge, find_patches
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

SCENE = Scene(plumes=even(5))
X, Y = grid(SCENE)


def under(card: RectifiedCard, where: np.ndarray, share: float) -> RectifiedCard:
    """The card with a share of its light left in one place, the place's rim 2 mm soft."""
    left = np.where(np.asarray(where, bool)[..., None], share, 1.0)
    return replace(card, linear_rgb=(card.linear_rgb * left).astype(np.float32))


def test_a_large_pale_patch_along_the_border_does_not_make_the_spray_a_thing() -> None:
    """The patch is larger than all plumes together and paler by more than half."""
    wet = map_wetness(under(draw(SCENE), (X > 70) & (np.abs(Y) < 60), 0.78))
    assert flag.THING_ON_CARD not in wet.flags
    assert segment_plumes(wet, locate_centre(wet)).count == 5


def test_a_tool_darker_than_any_spray_is_left_out() -> None:
    """Judged darker by the plumes, not by a larger pale patch at the border."""
    tool = (np.abs(X + 60) < 5) & (np.abs(Y - 90) < 12)
    wet = map_wetness(under(draw(SCENE), tool, 0.05))
    assert flag.THING_ON_CARD in wet.flags
    assert not wet.valid[tool].any()
    assert segment_plumes(wet, locate_centre(wet)).count == 5


def test_a_shadow_along_the_border_is_not_judged() -> None:
    """A strip 12 mm deep and 60 mm long; its depth is that of spray."""
    strip = (Y < -103) & (np.abs(X) < 30)
    wet = map_wetness(under(draw(SCENE), strip, 0.45))
    assert wet.valid[strip].mean() < 0.15  # a little of its middle is followed as paper
    found = segment_plumes(wet, locate_centre(wet))
    assert found.count == 5
    assert found.marks == ()


def test_what_touches_the_border_sets_no_scale_while_others_can() -> None:
    lone = Plume(direction=75, radius=96, length=26, width=12)  # runs over the right border
    wet = map_wetness(draw(replace(SCENE, plumes=(*SCENE.plumes, lone))))
    patches = find_patches(wet, threshold=0.3)
    assert max(patches, key=lambda p: p.area_mm2).at_edge > 0
    assert len(away_from_edge(patches)) == 5
    centre = locate_centre(wet)
    assert np.hypot(centre.x_mm - 4, centre.y_mm + 7) < 1.0


def test_drops_do_not_outvote_plumes_that_touch_the_border() -> None:
    """Five plumes reach the border of a narrow sheet; three drops do not."""
    scene = Scene(
        plumes=even(4, start=0, radius=46, length=18),
        centre=(0.0, 0.0),
        size=(122.0, 122.0),
        blots=((30, 30, 2), (-30, 30, 2), (30, -30, 2)),
    )
    patches = find_patches(map_wetness(draw(scene)), threshold=0.3)
    assert sum(p.at_edge > 0.03 for p in patches) == 4
    assert away_from_edge(patches) == patches


def test_half_a_card_in_shadow_is_not_flooded() -> None:
    """Plumes stand out from the dark half, which soaked paper would not let them."""
    card = under(draw(replace(SCENE, falloff=0.0)), X > 6, 0.55)
    wet = map_wetness(card)
    found = segment_plumes(wet, locate_centre(wet))
    assert dark_share(wet, found) == 0.0
    # The same two levels without a plume in the darker one may well be a flood.
    nothing = replace(found, labels=np.zeros_like(found.labels))
    assert dark_share(wet, nothing) == pytest.approx(0.5, abs=0.1)


def test_a_steep_holes_plume_is_not_two() -> None:
    """It lands nearer and is round: wide as seen from the centre, not wider in mm."""
    steep = Plume(direction=17 + 72, radius=17, length=6.0, width=6.0)
    plumes = tuple(p for p in SCENE.plumes if p.direction != 17 + 72)
    wet = map_wetness(draw(replace(SCENE, plumes=(*plumes, steep))))
    found = segment_plumes(wet, locate_centre(wet))
    widths = sorted(measure_plumes(wet, found, locate_centre(wet)).width_deg)
    assert found.count == 5
    assert widths[-1] > 1.75 * widths[2]
    assert found.merged == ()


@pytest.mark.parametrize(("edge_mm", "left"), [(-58, 0.45), (-60, 0.45), (-60, 0.6), (-52, 0.6)])
def test_areas_under_a_shadows_edge_are_as_certain_as_stated(edge_mm: float, left: float) -> None:
    """A straight edge across the plume at 17 degrees, much of the light lost beyond it."""
    plain = map_wetness(draw(SCENE))
    before = measure_plumes(plain, segment_plumes(plain))
    dark = map_wetness(under(draw(SCENE), edge_mm > Y, left))
    after = measure_plumes(dark, segment_plumes(dark, locate_centre(plain)))
    assert len(after) == len(before) == 5
    shift = after.area_frac - before.area_frac
    assert (np.abs(shift) <= after.area_u_frac).all()
    relative = after.area_u_frac / after.area_frac
    crossed = np.argmin(np.abs(after.centroid_mm[:, 1] - edge_mm))
    if (edge_mm, left) == (-58, 0.45):  # where the edge costs the plume a tenth of its area
        assert relative[crossed] > 2 * np.median(relative)
    assert np.median(relative) < 0.08
