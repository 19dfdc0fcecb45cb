"""Drawing the card: as PDF, as a picture, what stands on it."""

import base64
import math
import re
import zlib

import numpy as np
import pytest

from spraycheck.card.target import CARDS, make_label
from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.report.card_page import compose_card, qr_modules
from spraycheck.report.card_pdf import card_pdf
from spraycheck.report.card_png import card_picture, png_bytes
from spraycheck.report.shapes import Polyline, Words

PAPERS = sorted(CARDS)


def words(page):
    return " ".join(shape.text for shape in page.shapes if isinstance(shape, Words))


@pytest.fixture(scope="module")
def page():
    return compose_card(make_label("a4", job="Büro 7", injector="Cyl 3"))


@pytest.mark.parametrize("paper", PAPERS)
def test_a_card_says_how_it_is_sprayed_in_this_order(paper):
    said = words(compose_card(make_label(paper)))
    order = ["Purge", "tray under the cover", "Cover closed and hands out", "One brisk full stroke"]
    order += ["Pressure released and gauge at zero before opening"]
    places = [re.sub(r" \d(?= )", "", said).find(part.split()[0]) for part in order]
    assert -1 not in places
    assert places == sorted(places)
    for needed in ("surgical emergency", "does not hurt", "eye protection", "combustible waste"):
        assert needed in said
    for needed in ("160 g/m²", "Standoff height", "Strokes", "Fluid temperature", "Time sprayed"):
        assert needed in said
    assert "100.0 mm" in said
    assert "--printed-length 98.7" in said


def test_the_nozzle_is_printed_and_stands_in_the_code():
    page = compose_card(make_label("a5", nozzle="Lorry A"))
    assert "LORRY A" in words(page)
    assert "Nozzle" in words(page)
    assert "Nozzle" not in words(compose_card(make_label("a5")))


@pytest.mark.parametrize("paper", PAPERS)
def test_everything_stays_on_the_paper_and_legible(paper):
    page = compose_card(make_label(paper, job="W" * 40, injector="M" * 40))
    for shape in page.shapes:
        if isinstance(shape, Words):
            assert abs(shape.x_mm) < page.width_mm / 2 - 5
            assert abs(shape.y_mm) < page.height_mm / 2 - 5
    sizes = [s.size_pt for s in page.shapes if isinstance(s, Words) and len(s.text) < 40]
    assert min(sizes) >= 4.79


def test_ticks_only_when_the_layout_says_what_its_zero_is():
    label = make_label("a4")
    azimuths = (10.0, 100.0, 222.0)

    def strokes(layout):
        return [s for s in compose_card(label, layout).shapes if isinstance(s, Polyline)]

    bare = strokes(None)
    assert len(strokes(Layout.evenly_spread(3))) == len(bare)
    assert len(strokes(Layout(name="n", azimuth_deg=azimuths))) == len(bare)
    ticks = [s for s in strokes(Layout(name="n", azimuth_deg=azimuths, counts_from="pin"))
             if s not in bare]  # fmt: skip
    ways = [math.degrees(math.atan2(t.points[1][0], -t.points[1][1])) % 360 for t in ticks]
    np.testing.assert_allclose(sorted(ways), azimuths, atol=1e-9)
    assert min(math.hypot(*t.points[0]) for t in ticks) > 80


def test_the_same_card_gives_the_same_bytes(page):
    assert card_pdf([page, page]) == card_pdf([page, page])


def test_the_pdf_is_true_to_scale_and_carries_its_fonts(page):
    data = card_pdf([page])
    assert b"/PrintScaling /None" in data
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
    assert [float(v) / 72 * 25.4 for v in box.groups()] == pytest.approx([210, 297], abs=0.01)
    assert data.count(b"/FontFile2") == 2
    assert b"Helvetica" not in data


def test_marker_rectangles_stand_in_the_pdf_where_the_design_has_them(page):
    """Read back from the page's own drawing commands, through the PDF's filters."""
    data = card_pdf([page])
    text = b""
    for stream in re.findall(rb"stream\r?\n([!-uz\s]*)~>endstream", data):
        body = zlib.decompress(base64.a85decode(stream))
        text += body if b" re" in body else b""
    number = rb"([-\d.]+) "
    rects = [tuple(map(float, m)) for m in re.findall(rb"n " + 4 * number + rb"re f", text)]
    assert len(rects) > 200
    # One change of axes for the whole page: millimetres from the sheet's middle, y down.
    frame = re.search(rb"cm\s+" + 6 * number + rb"cm", text)
    scale = [float(v) for v in frame.groups()]
    assert scale[:4] == pytest.approx([72 / 25.4, 0, 0, -72 / 25.4], abs=1e-5)
    assert [v * 25.4 / 72 for v in scale[4:]] == pytest.approx([105, 148.5], abs=1e-3)
    # The top row of every marker is black from side to side.
    for marker in CARDS["a4"].markers:
        box = marker.box()
        near = [r for r in rects if abs(r[0] - box.left) < 0.01 and abs(r[1] - box.top) < 0.01]
        assert near
        assert near[0][2] == pytest.approx(marker.side_mm, abs=0.01)


def test_a_picture_states_its_resolution_and_size(page):
    from io import BytesIO

    from PIL import Image

    picture = card_picture(page, 100)
    assert picture.shape == (round(297 / 25.4 * 100), round(210 / 25.4 * 100))
    assert Image.open(BytesIO(png_bytes(picture, 100))).info["dpi"] == pytest.approx(
        (100, 100), 0.01
    )
    for dpi in (10, 5000, math.nan):
        with pytest.raises(InputError, match="expected 72 to 1200"):
            card_picture(page, dpi)


def test_the_code_reads_back_through_another_reader(page):
    import cv2

    payload = make_label("a4", job="Büro 7", injector="Cyl 3").payload()
    modules = np.pad(qr_modules(payload), 4)
    picture = np.kron(np.where(modules, 0, 255).astype(np.uint8), np.ones((8, 8), np.uint8))
    assert cv2.QRCodeDetectorAruco().detectAndDecode(picture)[0] == payload
