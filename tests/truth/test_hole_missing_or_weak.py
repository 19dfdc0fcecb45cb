"""One hole of n missing, or one at a fraction f of the others: which hole, and what share.

Closed forms, independent of any code. Missing: spacings of the plumes left are 360/n but one of
720/n, in whose middle the hole is. Weak: n - 1 equal areas and one of f times theirs give the share
f / (n - 1 + f) and, for n = 8 and f = 0.8, 0.10256 with a coefficient of variation of 7.25 % (n - 1
in the denominator).
"""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import numpy as np
import pytest
from drawn_photos import Blot, Card, even, flat, photograph
from judging import judge_rows

from spraycheck import measure_photo
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import Result
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

PHOTO = Photo(rgb=np.zeros((60, 80, 3), np.uint8), width_px=80, height_px=60)
START = 9.0


@functools.cache
def _stages() -> tuple[WetnessMap, NozzleCentre, PlumeSegmentation, PlumeCatalogue]:
    """Any good card: the assessment asks it whether a missing plume could have been seen."""
    card = Card(plumes=even(4), centre=(4.0, -6.0), size=(180.0, 200.0))
    wet = map_wetness(flat(card, cell=0.5))
    centre = locate_centre(wet)
    labels = segment_plumes(wet, centre)
    return wet, centre, labels, measure_plumes(wet, labels, centre)


def _assessed(directions: np.ndarray, areas: np.ndarray, holes: int) -> Result:
    wet, centre, labels, like = _stages()
    order = np.argsort(directions)
    d, a = directions[order] % 360, areas[order]
    n = len(d)
    t = np.radians(d)
    place = 50 * np.column_stack([np.sin(t), -np.cos(t)]) + [centre.x_mm, centre.y_mm]
    first = {
        name: np.repeat(getattr(like, name)[:1], n)
        for name in ("width_deg", "inner_mm", "outer_mm", "raggedness", "drops_frac", "peak")
    }
    rows = replace(
        like,
        **first,
        direction_deg=d,
        direction_u_deg=np.full(n, 0.8),
        area_mm2=a,
        area_u_mm2=0.03 * a,
        area_frac=a / a.sum(),
        area_u_frac=0.03 * a / a.sum(),
        centroid_mm=place,
        centroid_px=4 * place,
        axis_deg=d.copy(),
        label=np.arange(1, n + 1, dtype=np.int32),
        flags=((),) * n,
        outlines_px=(),
    )
    return judge_rows(
        rows,
        Layout.evenly_spread(holes),
        Limits(),
        photo=PHOTO,
        card=wet.card,
        wetness=wet,
        centre=centre,
        segmentation=labels,
    )


@pytest.mark.parametrize("n", range(4, 13))
def test_the_missing_hole_is_named_whichever_it_is(n: int) -> None:
    full = START + np.arange(n) * 360 / n
    for gone in range(n):
        got = _assessed(np.delete(full, gone), np.full(n - 1, 400.0), n)
        # START lies between 0 and the spacing, so hole 1 is the first one drawn.
        assert [h.state == "blocked" for h in got.holes] == [k == gone for k in range(n)], gone
        assert got.holes[gone].expected_deg == pytest.approx(full[gone], abs=1e-6)
        assert got.verdict == "fail"
        before = got.holes[gone - 1]
        assert before.spacing_deg == pytest.approx(720 / n, abs=1e-6)
        others = [h.spacing_deg for h in got.holes if h.plume and h is not before]
        np.testing.assert_allclose(others, 360 / n, atol=1e-6)
        shares = [h.area_frac for h in got.holes if h.plume]
        np.testing.assert_allclose(shares, 1 / (n - 1), atol=1e-9)


@pytest.mark.parametrize("n", range(4, 13))
def test_nothing_missing_is_the_negative_control(n: int) -> None:
    got = _assessed(START + np.arange(n) * 360 / n, np.full(n, 400.0), n)
    assert {h.state for h in got.holes} == {"clear"}
    assert got.verdict == "pass"


@pytest.mark.parametrize(("n", "gone"), [(4, 2), (7, 0), (10, 6), (12, 11)])
def test_the_missing_hole_is_named_on_a_photo(n: int, gone: int) -> None:
    size = {"radius": 62.0, "length": 17.0, "width": min(8.0, 150.0 / n)}
    plumes = even(n, start=START, **size)
    card = Card(plumes=tuple(p for k, p in enumerate(plumes) if k != gone))
    got = measure_photo(photograph(card).rgb, holes=n, sheet="a4")
    assert [h.state == "blocked" for h in got.holes] == [k == gone for k in range(n)]
    assert got.verdict == "fail"
    # Half a degree: the turn of the sheet's own edges (0.3) and the plumes' scatter.
    assert got.holes[gone].expected_deg == pytest.approx(plumes[gone].direction, abs=0.5)
    assert got.holes[gone - 1].spacing_deg == pytest.approx(720 / n, abs=0.5)


@pytest.mark.parametrize("n", range(4, 13))
@pytest.mark.parametrize("f", [0.3, 0.6, 0.76, 0.8])
def test_share_of_a_weak_hole_by_the_closed_form(n: int, f: float) -> None:
    areas = np.full(n, 400.0)
    areas[1] *= f
    got = _assessed(START + np.arange(n) * 360 / n, areas, n)
    weak = got.holes[1]
    assert weak.area_frac == pytest.approx(f / (n - 1 + f), abs=1e-12)
    assert weak.area_ratio == pytest.approx(f, abs=1e-12)
    assert all(h.area_ratio == pytest.approx(1.0, abs=1e-12) for h in got.holes if h is not weak)
    # Three quarters is the limit; an expanded uncertainty of 5 % of the ratio (3 % each for its own
    # area and shot to shot, and the others') is 0.04 of it: 0.76 is undecided, 0.80 is not.
    assert weak.state == {0.3: "weak", 0.6: "weak", 0.76: "unsure", 0.8: "clear"}[f]


def test_the_worked_row() -> None:
    areas = np.array([1, 1, 1, 1, 1, 0.8, 1, 1]) * 400.0
    got = _assessed(START + np.arange(8) * 45.0, areas, 8)
    shares = np.array([h.area_frac for h in got.holes])
    assert shares[5] == pytest.approx(0.10256, abs=5.1e-6)
    assert 100 * shares.std(ddof=1) / shares.mean() == pytest.approx(7.25, abs=0.006)


@pytest.mark.parametrize(("n", "f"), [(4, 0.5), (5, 0.8), (8, 0.6)])
def test_share_of_a_weak_hole_on_a_photo(n: int, f: float) -> None:
    # The ellipse keeps its shape and shrinks to f in area; edges as soft as oil leaves them.
    k = math.sqrt(f)
    plumes = list(even(n, start=START, radius=56.0, length=18.0, width=8.5))
    plumes[2] = Blot(direction=plumes[2].direction, radius=56.0, length=18.0 * k, width=8.5 * k)
    got = measure_photo(photograph(Card(plumes=tuple(plumes))).rgb, holes=n, sheet="a4")
    weak = got.holes[2]
    even_share = 1 / n
    # 3 % of an even share: what is asked of bench photos. A rim of blur all round counts more on a
    # small mark, so the share reads high by about 1 to 2 %.
    assert weak.area_frac == pytest.approx(f / (n - 1 + f), abs=0.03 * even_share)
    assert weak.area_frac < 0.93 * even_share  # negative control: an even share would not do
    assert (weak.state == "weak") == (f < 0.75)
    assert all(h.state == "clear" for h in got.holes if h is not weak)
