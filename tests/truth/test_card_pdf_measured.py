"""The card's PDF, drawn by an independent program and measured, against the design.

poppler's ``pdftoppm`` turns the page into pixels; OpenCV's own detector finds the markers. Skipped
where pdftoppm is not installed (Debian: poppler-utils).
"""

import math
import shutil
import subprocess

import cv2
import numpy as np
import pytest

from spraycheck.card.target import CARDS, make_label
from spraycheck.report.card_page import compose_card
from spraycheck.report.card_pdf import card_pdf

TOLERANCE_MM = 0.05  # a twentieth of what a steel rule shows
DPI = 400

pytestmark = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs pdftoppm")


@pytest.fixture(scope="module", params=sorted(CARDS))
def drawn(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("card")
    (folder / "card.pdf").write_bytes(card_pdf([compose_card(make_label(request.param))]))
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", "card.pdf", "card"],
        cwd=folder, check=True, timeout=60,
    )  # fmt: skip
    return CARDS[request.param], cv2.imread(str(folder / "card.pgm"), cv2.IMREAD_GRAYSCALE)


def found_markers(picture):
    how = cv2.aruco.DetectorParameters()
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    corners, numbers, _ = cv2.aruco.ArucoDetector(codes, how).detectMarkers(picture)
    return {
        int(n): np.asarray(c, float).reshape(4, 2)
        for n, c in zip(np.ravel(numbers), corners, strict=True)
    }


def to_mm(card, picture, px):
    size = np.array(picture.shape[::-1])
    assert size == pytest.approx(np.array([card.width_mm, card.height_mm]) / 25.4 * DPI, abs=1.0)
    # Integer pixels are pixel centres; the page starts half a pixel before the first.
    return (px + 0.5) / DPI * 25.4 - np.array([card.width_mm, card.height_mm]) / 2


def test_every_marker_lies_where_the_design_has_it(drawn):
    card, picture = drawn
    found = found_markers(picture)
    assert set(found) == {m.number for m in card.markers}
    for marker in card.markers:
        corners = to_mm(card, picture, found[marker.number])
        assert np.abs(corners - np.array(marker.corners())).max() < TOLERANCE_MM


def test_a_card_printed_at_99_percent_would_be_noticed(drawn):
    card, picture = drawn
    found = found_markers(picture)
    off = [
        np.abs(0.99 * to_mm(card, picture, found[m.number]) - np.array(m.corners())).max()
        for m in card.markers
    ]
    assert max(off) > 10 * TOLERANCE_MM


def test_the_check_lines_are_a_hundred_millimetres_long(drawn):
    card, picture = drawn
    for stroke in card.strokes:
        (x0, y0), (x1, y1) = stroke.points[0], stroke.points[-1]
        if stroke.grey or not math.isclose(math.hypot(x1 - x0, y1 - y0), 100.0):
            continue
        upright = x0 == x1
        # Across each end mark, a little off the line: its darkest place.
        ends = []
        for x, y in ((x0, y0), (x1, y1)):
            beside = (x - 0.8, y) if upright else (x, y - 0.8)
            row, col = [
                round((v + h / 2) / 25.4 * DPI - 0.5)
                for v, h in zip(beside[::-1], (card.height_mm, card.width_mm), strict=True)
            ]
            strip = picture[row - 8 : row + 9, col] if upright else picture[row, col - 8 : col + 9]
            ink = 255.0 - strip
            ends.append((row if upright else col) + (ink * np.arange(-8, 9)).sum() / ink.sum())
        assert abs(ends[1] - ends[0]) / DPI * 25.4 == pytest.approx(100.0, abs=TOLERANCE_MM)
