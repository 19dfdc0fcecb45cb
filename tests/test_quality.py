"""Photo quality: what is measured of a photo, and when it holds a pass back."""

from __future__ import annotations

import functools
import json
import math
from dataclasses import fields, replace

import cv2
import jsonschema
import numpy as np
import pytest
from drawn_photos import Camera, Card, even, photograph
from judging import judge_rows, with_parts

from spraycheck import flags, measure_photo, photo_from_array
from spraycheck.card.spec import CardSpec
from spraycheck.errors import InputError
from spraycheck.judge.judge import check_spray, decide_case, photo_findings
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.quality.metrics import measure_quality
from spraycheck.judge.quality.wicking import (
    parse_spray_time,
    seconds_since,
    wicking_mm,
    widen_for_wicking,
)
from spraycheck.judge.result import Verdict
from spraycheck.optics import srgb_decode
from spraycheck.pipeline import Pipeline
from spraycheck.report.document import result_document
from spraycheck.report.document.schema import schema_text
from spraycheck.report.model.shared import quality_lines
from spraycheck.report.words.findings import text_of as say
from spraycheck.spray.containers import PlumeCatalogue
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import segment_plumes
from spraycheck.spray.wetness import map_wetness

CARD = Card(plumes=even(5), size=(190.0, 214.0), centre=(3.0, -4.0))
SHEET = "190x214"


@functools.cache
def plain():
    """One good photo of a good card."""
    return photograph(CARD, Camera(size=(900, 1100), focal=1050.0))


def assess(rgb, **options):
    return measure_photo(rgb, holes=5, sheet=SHEET, **options)


@functools.cache
def good():
    return assess(plain().rgb)


def in_light(rgb, change):
    """Apply a change to linear light."""
    table = srgb_decode(np.arange(256) / 255).astype(np.float32)
    light = np.clip(change(table[rgb]), 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.rint(255 * code).astype(np.uint8)


def blurred(sigma_px):
    return in_light(plain().rgb, lambda light: cv2.GaussianBlur(light, (0, 0), sigma_px))


def smeared(length_px):
    kernel = np.full((1, length_px), 1 / length_px, np.float32)
    return in_light(plain().rgb, lambda light: cv2.filter2D(light, -1, kernel))


def codes(assessment):
    return [finding.code for finding in assessment.findings]


def text_of(assessment, code):
    return next(say(f) for f in assessment.findings if f.code == code)


def judged_again(a, **parts):
    """The photo judged anew with other parts of what was measured."""
    found = with_parts(a, **parts).measurement
    quality = measure_quality(found)
    case = check_spray(found, a.layout, a.limits, quality=quality)
    return decide_case(case, quality=quality)


def told_openly(a, **parts):
    """What is said of the photo where the verdict is open."""
    found = with_parts(a, **parts).measurement
    quality = measure_quality(found, elapsed_s=a.quality.elapsed_s)
    return {f.code: say(f) for f in photo_findings(found, Verdict.RECHECK, quality)}


# -- what is measured


def test_a_good_photo_passes_every_limit():
    a = good()
    assert a.verdict == "pass"
    assert a.quality.flags == ()
    assert a.quality.measured_on == "sheet"
    assert a.quality.view_deg < 2
    assert not [c for c in codes(a) if c.startswith("photo-")]


@pytest.mark.parametrize("sigma_px", [2.0, 4.0])
def test_sharpness_is_that_of_the_blur_in_millimetres(sigma_px):
    # A Gaussian edge rises from 10 to 90 % over 2.563 standard deviations (normal distribution).
    a = assess(blurred(sigma_px))
    px_per_mm = 1050.0 / 390.0
    expected = 2.563 * sigma_px / px_per_mm
    for edge in (a.quality.edge_x_mm, a.quality.edge_y_mm):
        assert edge == pytest.approx(expected, rel=0.1)
    assert a.quality.mm_per_px == pytest.approx(1 / px_per_mm, rel=0.02)
    # Negative control: the sharp photo reads nothing like it.
    assert good().quality.edge_x_mm < 0.3 * expected


def test_motion_widens_one_direction_only():
    a = assess(smeared(15))
    # A smear of length L is a ramp: 10 to 90 % is 0.8 L; 20 to 80 % scaled as a Gaussian is 0.91 L.
    along = 15 / (1050.0 / 390.0)
    assert 0.75 * along < a.quality.edge_x_mm < 1.0 * along
    assert a.quality.edge_y_mm < 0.3 * a.quality.edge_x_mm


def test_uneven_light_and_view_are_told():
    steep = photograph(
        replace(CARD, falloff=0.8), Camera(size=(900, 1100), focal=1050.0, tilt=24.0)
    )
    quality = assess(steep.rgb).quality
    assert quality.evenness_frac < 0.75 < good().quality.evenness_frac
    assert quality.view_deg == pytest.approx(24.0, abs=4.0)


def test_glare_is_told_as_a_share_of_the_card():
    rgb = plain().rgb.copy()
    width = round(190 * 1050 / 390)
    # A lamp over a corner of the sheet, a tenth of it.
    side = round(width * math.sqrt(0.1 * 214 / 190))
    middle = plain().camera.project(np.array([[55.0, 68.0]]))[0].astype(int)
    half = side // 2
    rgb[middle[1] - half : middle[1] + half, middle[0] - half : middle[0] + half] = 255
    a = assess(rgb)
    assert a.quality.glare_frac == pytest.approx(0.1, abs=0.03)
    told = told_openly(a)["photo-glare"]
    assert f"{a.quality.glare_frac:.0%} of the card is glare" in told
    assert "Move the lamp" in told


# -- when a pass is held back


def test_a_blurred_photo_cannot_pass():
    a = assess(blurred(6.0))
    assert a.verdict == "recheck"
    assert flags.BLURRED in a.quality.flags
    text = text_of(a, "photo-blurred")
    assert "of a plume's width; up to 20% is sharp enough" in text
    assert "tap the card to focus" in text


def test_a_smeared_photo_is_called_moved():
    a = assess(smeared(27))
    assert a.verdict == "recheck"
    assert "photo-moved" in codes(a)
    assert "photo-blurred" not in codes(a)


def test_an_overexposed_photo_cannot_pass():
    a = assess(in_light(plain().rgb, lambda light: light * 1.7))
    assert a.verdict == "recheck"
    assert flags.CLIPPED in a.quality.flags
    assert f"{a.quality.clipped_frac:.0%} of the paper's light" in text_of(a, "photo-overexposed")


def test_a_tiny_copy_cannot_pass():
    small = cv2.resize(plain().rgb, None, fx=0.23, fy=0.23, interpolation=cv2.INTER_AREA)
    a = assess(small)
    assert a.verdict == "recheck"
    assert "expected at least 11" in text_of(a, "photo-coarse")


def test_a_flooded_card_is_too_wet():
    plumes = even(5, radius=48.0, length=44.0, width=30.0)
    a = assess(photograph(replace(CARD, plumes=plumes), Camera(size=(900, 1100), focal=1050.0)).rgb)
    assert a.verdict == "recheck"
    assert "too-wet" in codes(a)
    assert "too-wet" not in codes(good())


def test_a_faint_ragged_pattern_is_a_weak_stroke():
    pale = replace(good().wetness, contrast=0.15)
    unfilled = replace(pale, smooth=(0.6 * pale.smooth).astype(np.float32))
    a = judged_again(good(), wetness=unfilled)
    assert a.verdict == "recheck"
    assert "weak-stroke" in codes(a)
    # Pale but wet through is the fluid's colour, not the stroke.
    assert "weak-stroke" not in codes(judged_again(good(), wetness=pale))


@pytest.mark.parametrize(("contrast", "code"), [(0.6, "photo-noisy"), (0.15, "photo-poor")])
def test_noise_holds_a_pass_back(contrast, code):
    a = judged_again(good(), wetness=replace(good().wetness, noise=0.1, contrast=contrast))
    assert a.verdict == "recheck"
    assert code in codes(a)
    quieter = replace(good().wetness, noise=0.05)
    assert judged_again(good(), wetness=quieter).verdict == "pass"


@pytest.mark.parametrize(("quality", "verdict"), [(15.0, "recheck"), (40.0, "pass")])
def test_a_strongly_compressed_copy_cannot_pass(quality, verdict):
    photo = replace(good().photo, jpeg_quality=quality, flags=(flags.LOSSY_COPY,))
    a = judged_again(good(), photo=photo)
    assert a.verdict == verdict
    assert ("photo-compressed" in codes(a)) == (verdict == "recheck")


def test_a_fault_that_is_plain_is_one_on_a_poor_photo_too():
    gone = replace_rows(good().catalogue, slice(0, 4))
    noisy = replace(good().wetness, noise=0.1)
    assert judged_again(good(), catalogue=gone, wetness=noisy).verdict == "fail"


def test_flash_and_lossy_copy_are_told_only_when_the_verdict_is_open():
    photo = replace(good().photo, flags=(flags.FLASH, flags.LOSSY_COPY))
    passed = judged_again(good(), photo=photo)
    assert passed.verdict == "pass"
    assert "photo-poor" not in codes(passed)
    found = with_parts(good(), photo=photo).measurement
    told = photo_findings(found, Verdict.RECHECK, measure_quality(found))
    assert sum("flash" in say(f) for f in told) == 1


# -- time since spraying


@pytest.mark.parametrize(
    ("sprayed", "taken", "seconds"),
    [
        ("14:30", "2026-11-03T14:31:30", 90),
        ("14.30", "2026-11-03T14:31:30+01:00", 90),
        ("9:05:10", "2026-11-03T09:05:20", 10),
        ("23:58", "2026-11-04T00:02:00", 240),
        ("2026-11-01T14:30", "2026-11-03T14:30:00", 172_800),
        ("2026-11-03T13:30+00:00", "2026-11-03T14:31:00+01:00", 60),
        ("14:31", "2026-11-03T14:30:00", 0),  # clocks differ by a minute
    ],
)
def test_time_since_spraying(sprayed, taken, seconds):
    assert seconds_since(parse_spray_time(sprayed), taken) == seconds


@pytest.mark.parametrize("text", ["", "noon", "25:00", "14:61", "1430", "2026-13-01T10:00"])
def test_a_time_that_is_none(text):
    with pytest.raises(InputError, match="expected when the card was sprayed"):
        parse_spray_time(text)


def test_a_photo_from_before_the_stroke_is_refused():
    with pytest.raises(InputError, match="taken 20 minutes before that"):
        seconds_since(parse_spray_time("14:50"), "2026-11-03T14:30:00")


def test_rims_creep_with_the_root_of_time_and_not_at_all_for_a_while():
    assert wicking_mm(math.nan) == 0
    assert wicking_mm(90) == 0
    late, later = (wicking_mm(s) + 0.25 * math.sqrt(120) for s in (900.0, 3600.0))
    assert later == pytest.approx(2 * late)  # four times the time, twice the way


def rows(length_mm, width_deg):
    """A catalogue of plumes 60 mm out, ellipses of these lengths and widths."""
    length, width = np.asarray(length_mm, float), np.asarray(width_deg, float)
    area = math.pi / 4 * length * 2 * 60 * np.sin(np.radians(width / 2))
    n = len(length)
    one = {name: np.ones(n) for name in PlumeCatalogue._ROWS}
    return PlumeCatalogue(
        **{
            **one,
            "width_deg": width,
            "inner_mm": 60 - length / 2,
            "outer_mm": 60 + length / 2,
            "area_mm2": area,
            "area_u_mm2": 0.02 * area,
            "area_frac": area / area.sum(),
            "area_u_frac": 0.02 * area / area.sum(),
        },
        centroid_mm=np.zeros((n, 2)),
        centroid_px=np.zeros((n, 2)),
        label=np.arange(1, n + 1, dtype=np.int32),
        flags=((),) * n,
        rotation_u_deg=0.1,
    )


def test_alike_plumes_lose_nothing_by_waiting_and_a_small_one_does():
    even_rows = rows([30] * 5, [16] * 5)
    assert widen_for_wicking(even_rows, 3.0).area_u_mm2 == pytest.approx(even_rows.area_u_mm2)
    uneven = rows([30, 30, 12, 30, 30], [16, 16, 7, 16, 16])
    late = widen_for_wicking(uneven, 2.0)
    relative = late.area_u_mm2 / late.area_mm2
    assert relative[0] == pytest.approx(0.02)
    assert relative[2] > 0.3
    assert late.area_u_frac[2] > 3 * uneven.area_u_frac[2]
    # A dose can at most double its area, however long one waits.
    assert (widen_for_wicking(uneven, 500.0).area_u_mm2 / uneven.area_mm2).max() < 1.2
    assert widen_for_wicking(uneven, 0.0) is uneven


def test_the_photo_tells_when_it_was_taken_and_the_report_says_so():
    photo = replace(photo_from_array(plain().rgb), taken_at="2026-11-03T15:30:00")
    late = assess(photo, sprayed_at="14:30")
    assert late.quality.elapsed_s == 3600
    assert late.quality.wicking_mm == pytest.approx(wicking_mm(3600))
    assert "taken 60 min after spraying" in quality_lines(late.quality, scale_known=True)[0]
    assert late.provenance["sprayed_at"] == "14:30"
    assert "60 minutes after spraying" in told_openly(late)["photo-late"]
    undated = assess(plain().rgb, sprayed_at="14:30")
    assert codes(undated) == ["photo-undated"]
    assert undated.verdict == "pass"


# -- the document


def test_the_document_holds_it_and_hides_assumed_millimetres():
    document = result_document(good())
    jsonschema.validate(document, json.loads(schema_text()))
    entry = document["quality"]
    assert entry["measured_on"] == "sheet"
    assert entry["edge_x_mm"] == pytest.approx(good().quality.edge_x_mm, rel=1e-3)
    unscaled = measure_photo(plain().rgb, holes=5)
    entry = result_document(unscaled)["quality"]
    assert entry["edge_x_mm"] is None
    assert entry["mm_per_px"] is None
    assert 0 < entry["edge_frac"] < 0.1
    assert "mm" not in quality_lines(unscaled.quality, scale_known=False)[0]


def test_an_assessment_without_quality_says_nothing():
    assert quality_lines(None, scale_known=True) == []


def test_beyond_a_limit_every_uncertainty_is_doubled():
    a = good()
    assert a.quality.flags == ()
    noisy = judged_again(a, wetness=replace(a.wetness, noise=0.1))
    assert noisy.quality.flags == (flags.NOISY,)
    assert noisy.centre.u95_mm == pytest.approx(2 * a.centre.u95_mm)
    for name in ("direction_u_deg", "rotation_u_deg", "area_u_mm2", "area_u_frac"):
        assert getattr(noisy.catalogue, name) == pytest.approx(2 * getattr(a.catalogue, name))
    assert noisy.catalogue.direction_deg is a.catalogue.direction_deg


def test_the_pipeline_judges_a_noisy_photo_with_twice_the_uncertainty():
    """The second time the map says that it is noisy; nothing else differs."""
    spec = CardSpec(width_mm=190.0, height_mm=214.0)
    photo, layout = photo_from_array(plain().rgb), Layout.evenly_spread(5)
    usual = Pipeline()(photo, spec, nozzle=layout)

    def measured(_, *rest):
        return measure_plumes(usual.wetness, *rest)

    noisy = Pipeline(
        wetness=lambda card, photo: replace(map_wetness(card, photo=photo), noise=0.1),
        segment=lambda _: segment_plumes(usual.wetness),
        measure=measured,
    )(photo, spec, nozzle=layout)
    assert noisy.catalogue.area_u_mm2 == pytest.approx(2 * usual.catalogue.area_u_mm2)
    assert noisy.centre.u95_mm == pytest.approx(2 * usual.centre.u95_mm)
    assert usual.verdict == "pass"
    assert noisy.verdict == "recheck"


def test_where_wet_paper_may_look_dry_a_missing_plume_is_no_proof():
    a = good()
    parts = ("photo", "card", "wetness", "centre", "segmentation")
    given = {name: getattr(a, name) for name in parts}
    for beyond, state in (
        ((), "blocked"),
        ((flags.NOISY,), "blocked"),
        ((flags.CLIPPED,), "unsure"),
    ):
        kept = replace_rows(a.catalogue, slice(0, 4))
        result = judge_rows(kept, Layout.evenly_spread(5), Limits(), exceeded=beyond, **given)
        assert sorted({h.state for h in result.holes}) == sorted({"clear", state})


def replace_rows(rows, keep):
    names = [f.name for f in fields(rows)]
    n = len(rows)
    cut = {
        name: value[keep]
        for name in names
        if hasattr(value := getattr(rows, name), "__len__") and len(value) == n
    }
    return replace(rows, **cut)
