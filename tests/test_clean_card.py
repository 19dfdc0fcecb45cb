"""A dry photo of the same card: what was dark before does not count."""

import dataclasses

import numpy as np
import pytest
from cards import Scene, draw, even, grid
from drawn_photos import Camera, Card
from drawn_photos import even as blots
from drawn_photos import photograph as shot
from report_factory import printed_facts

from spraycheck import flags
from spraycheck.card.reference import subtract_clean_card
from spraycheck.card.spec import CardSpec
from spraycheck.errors import CardNotFoundError
from spraycheck.judge.layout import Layout
from spraycheck.judge.quality.light import measure_light
from spraycheck.photo import photo_from_array
from spraycheck.pipeline import Pipeline
from spraycheck.spray.wetness import map_wetness

STAINS = ((-50.0, 60.0, 9.0), (40.0, 70.0, 7.0), (60.0, -70.0, 8.0))


def darkened(card, x, y, *, keep=0.7):
    """Old stains: dark blots that were there before."""
    light = np.array(card.linear_rgb)
    for bx, by, r in STAINS:
        blot = 1 / (1 + np.exp((np.hypot(x - bx, y - by) - r) / 0.7))
        light *= (1 - (1 - keep) * blot)[..., None]
    return dataclasses.replace(card, linear_rgb=light.astype(np.float32))


@pytest.fixture(scope="module")
def pair():
    sprayed = Scene(plumes=even(5), seed=4)
    clean = Scene(plumes=(), seed=5, falloff=0.1, brightness=0.9)  # another lamp, another noise
    x, y = grid(sprayed)
    return darkened(draw(sprayed), x, y), darkened(draw(clean), x, y), x, y


def stained_wetness(card, x, y):
    wet = map_wetness(card)
    return max(
        float(np.median(wet.smooth[np.hypot(x - bx, y - by) < r - 2])) for bx, by, r in STAINS
    )


def test_old_stains_read_dry_once_the_clean_card_is_known(pair):
    card, clean, x, y = pair
    assert stained_wetness(card, x, y) > 0.3  # negative control: without it they read wet
    assert abs(stained_wetness(subtract_clean_card(card, clean), x, y)) < 0.05


def test_plumes_keep_their_wetness(pair):
    card, clean, x, y = pair
    before, after = map_wetness(card), map_wetness(subtract_clean_card(card, clean))
    away = np.min([np.hypot(x - bx, y - by) - r for bx, by, r in STAINS], axis=0) > 4
    wet = (before.smooth > 0.5) & away
    assert np.abs(after.smooth[wet] - before.smooth[wet]).mean() < 0.05


def test_a_plain_sheet_laid_the_other_way_up_is_turned_back(pair):
    card, clean, x, y = pair
    upside_down = dataclasses.replace(
        clean,
        linear_rgb=np.ascontiguousarray(clean.linear_rgb[::-1, ::-1]),
        inside=np.ascontiguousarray(clean.inside[::-1, ::-1]),
    )
    assert abs(stained_wetness(subtract_clean_card(card, upside_down), x, y)) < 0.05


def facts(**changes):
    return printed_facts(**{"job": "7", "injector": "CYL 1", **changes})


def test_another_card_is_refused(pair):
    card, clean, *_ = pair
    mine = dataclasses.replace(card, printed=facts())
    with pytest.raises(
        CardNotFoundError, match=r"another card \(A4 7 CYL 2\), expected A4 7 CYL 1"
    ):
        subtract_clean_card(mine, dataclasses.replace(clean, printed=facts(injector="CYL 2")))
    with pytest.raises(CardNotFoundError, match="printed target card and the other a plain sheet"):
        subtract_clean_card(mine, clean)
    with pytest.raises(CardNotFoundError, match="sheet of 148 x 210 mm"):
        subtract_clean_card(card, dataclasses.replace(clean, size_mm=(148.0, 210.0)))
    with pytest.raises(CardNotFoundError, match="dry photo shows no sheet"):
        subtract_clean_card(card, dataclasses.replace(clean, found_by="none"))


def test_a_label_that_was_not_read_is_no_other_card(pair):
    card, clean, *_ = pair
    unread = facts(label_read=False, job="", injector="")
    out = subtract_clean_card(
        dataclasses.replace(card, printed=facts()), dataclasses.replace(clean, printed=unread)
    )
    assert "before spraying" in out.method


@pytest.mark.parametrize(("brightness", "dry_brightness"), [(1.55, 1.0), (1.0, 1.55)])
def test_over_exposure_is_told_although_the_clean_card_is_divided_out(brightness, dry_brightness):
    sprayed, clean = (
        photo_from_array(
            shot(
                Card(plumes=plumes, brightness=light, falloff=0.1),
                Camera(size=(600, 800), focal=718),
            ).rgb
        )
        for plumes, light in ((blots(4), brightness), ((), dry_brightness))
    )
    layout = Layout(name="four", azimuth_deg=(0.0, 90.0, 180.0, 270.0))
    spec = CardSpec(width_mm=210, height_mm=297)
    held = Pipeline()(sprayed, spec, nozzle=layout, dry=clean)
    assert held.quality.clipped_frac > 0.15
    assert flags.CLIPPED in held.quality.flags
    assert held.verdict != "pass"
    # Negative control: the divided light itself does not show it.
    if dry_brightness > 1:
        assert measure_light(held.wetness).clipped_frac < 0.05


def test_a_dry_photo_that_shows_no_card_is_named(pair):
    shown = iter([pair[0], CardNotFoundError("nothing there", stage="rectification", hint="again")])

    def rectify(photo, spec, **_):
        if isinstance(one := next(shown), Exception):
            raise one
        return one

    photo = photo_from_array(np.full((300, 300, 3), 90, np.uint8))
    layout = Layout(name="five", azimuth_deg=(0.0, 72.0, 144.0, 216.0, 288.0))
    with pytest.raises(CardNotFoundError, match="in the dry photo, nothing there") as caught:
        Pipeline(rectify=rectify)(photo, nozzle=layout, dry=photo)
    assert caught.value.hint == "again"
