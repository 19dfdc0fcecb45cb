"""Reading the printed target card: place, scale, turn, label, and everything that can be wrong."""

import dataclasses
import functools
import math

import cv2
import numpy as np
import pytest
from printed_cards import flat_card, mapped, paste, photograph, view

from spraycheck import flags
from spraycheck.card.find import find_card as find_card_finely
from spraycheck.card.find import rectify_printed_card
from spraycheck.card.markers import CARD_NUMBERS, place_corners, read_markers
from spraycheck.card.printed_ink import without_print
from spraycheck.card.spec import CardSpec, parse_sheet
from spraycheck.card.target import CARDS, inert
from spraycheck.card.unreadable import count_squares
from spraycheck.errors import CardNotFoundError
from spraycheck.photo import photo_from_array
from spraycheck.simulate import Artwork, Camera, Curl, Paper, SyntheticNozzle, draw_card
from spraycheck.simulate import photograph as simulated

# Where things lie does not depend on how finely the light is resampled.
find_card = functools.partial(find_card_finely, cell_mm=1.0)

GRID = np.array([[x, y] for x in (-50.0, 0.0, 50.0) for y in (-70.0, 0.0, 70.0)])


@pytest.fixture(scope="module")
def slanted():
    homography = view("a4", turn_deg=11, tilt_deg=14)
    flat = flat_card("a4", job="J-2041", injector="cyl 3")
    return homography, photograph(flat, "a4", homography)


def misplaced(card, homography):
    """Distance, mm, between where the card has points and where they are."""
    off = card.to_photo(GRID) - mapped(homography, GRID)
    return np.linalg.norm(off, axis=1) / card.px_per_mm((0, 0))


@pytest.mark.parametrize(
    ("paper", "turn_deg"), [("a4", 0), ("a4", 180), ("letter", 3), ("a5", 100)]
)
def test_the_card_is_found_in_place_whichever_way_up(paper, turn_deg):
    homography = view(paper, turn_deg=turn_deg, tilt_deg=9)
    card = find_card(photo_from_array(photograph(flat_card(paper), paper, homography)))
    assert card.found_by == "printed-card"
    assert card.scale_known
    assert misplaced(card, homography).max() < 0.1
    assert card.printed.paper == paper
    assert card.printed.markers_seen == 12
    assert card.printed.residual_mm < 0.15


def test_scale_and_residual_meet_what_is_asked(slanted):
    homography, photo = slanted
    card = find_card(photo_from_array(photo))
    ends = np.array([[-50.0, 20.0], [50.0, 20.0], [10.0, -60.0], [10.0, 60.0]])
    # What the photo truly shows of the distance between two found places, in mm.
    true = mapped(np.linalg.inv(homography), card.to_photo(ends))
    across, down = np.linalg.norm(true[1] - true[0]), np.linalg.norm(true[3] - true[2])
    assert across == pytest.approx(100, rel=0.003)
    assert down == pytest.approx(120, rel=0.003)
    assert card.printed.residual_mm < 0.15
    turn = math.degrees(math.atan2(true[3][0] - true[2][0], true[3][1] - true[2][1]))
    assert abs(turn) < 0.1


def test_job_and_injector_come_from_the_code(slanted):
    card = find_card(photo_from_array(slanted[1]))
    assert (card.printed.job, card.printed.injector) == ("J-2041", "CYL 3")
    assert card.printed.label_read
    assert flags.LABEL_UNREAD not in card.flags


def test_a_measured_length_corrects_every_length(slanted):
    photo = photo_from_array(slanted[1])
    as_printed = find_card(photo)
    shrunk = find_card(photo, CardSpec(printed_x_mm=98.7, printed_y_mm=98.7))
    there = np.array([[50.0, 0.0], [0.0, 70.0]])
    # A print at 98.7 % puts what was designed at 50 mm at 49.35 mm.
    np.testing.assert_allclose(shrunk.to_photo(there * 0.987), as_printed.to_photo(there), atol=0.3)
    assert shrunk.printed.scale_u_frac < as_printed.printed.scale_u_frac
    assert flags.SCALE_AS_PRINTED in as_printed.flags
    assert flags.SCALE_AS_PRINTED not in shrunk.flags


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("a5", "a5"),
        ("letter", "letter"),
        ("200x200", "200x200"),
        ("a4", ""),
        ("296x209", ""),
        (None, ""),
    ],
)
def test_another_sheet_asked_for_is_told_and_changes_nothing(slanted, asked, told):
    photo = photo_from_array(slanted[1])
    plain = find_card(photo)
    card = find_card(photo, CardSpec() if asked is None else parse_sheet(asked))
    assert card.printed.sheet_asked == told
    assert (flags.SHEET_AS_PRINTED in card.flags) == bool(told)
    assert card.size_mm == plain.size_mm
    np.testing.assert_array_equal(card.linear_rgb, plain.linear_rgb)


def test_a_size_without_a_name_is_told_in_mm(slanted):
    card = find_card(photo_from_array(slanted[1]), CardSpec(width_mm=148, height_mm=210.5))
    assert card.printed.sheet_asked == "148x210.5"


def test_axes_may_be_printed_at_different_scales():
    homography = view("a4", turn_deg=11, tilt_deg=14)
    squeezed = homography @ np.diag([0.98, 1.0, 1.0])
    photo = photo_from_array(photograph(flat_card("a4"), "a4", squeezed))
    card = find_card(photo, CardSpec(printed_x_mm=98.0, printed_y_mm=100.0))
    assert misplaced(card, homography).max() < 0.1
    # Taken as printed true, the same places are off by up to 2 % of 50 mm.
    assert misplaced(find_card(photo), homography).max() > 0.5


@pytest.mark.parametrize("left", [3, 4, 6])
def test_a_few_markers_suffice(slanted, left):
    homography, photo = slanted
    photo = photo.copy()
    keep = {3: (0, 5, 7), 4: (0, 1, 6, 7), 6: (0, 2, 5, 7, 9, 10)}[left]
    for k, marker in enumerate(CARDS["a4"].markers):
        if k not in keep:
            x, y = mapped(homography, np.array([[marker.x_mm, marker.y_mm]]))[0]
            cv2.circle(photo, (round(x), round(y)), 36, (150, 110, 80), -1)
    card = find_card(photo_from_array(photo))
    assert card.printed.markers_seen == left
    assert misplaced(card, homography).max() < (0.6 if left == 3 else 0.3)


def test_any_six_markers_may_be_covered(slanted):
    homography, photo = slanted
    rng = np.random.default_rng(8)
    places = mapped(homography, np.array([[m.x_mm, m.y_mm] for m in CARDS["a4"].markers]))
    off = []
    for _ in range(20):
        covered = photo.copy()
        for k in rng.choice(12, 6, replace=False):
            x, y = places[k] + rng.normal(0, 5, 2)
            colour = [int(v) for v in rng.integers(20, 200, 3)]
            cv2.circle(covered, (round(x), round(y)), int(rng.integers(26, 42)), colour, -1)
        card = find_card(photo_from_array(covered))
        assert card.found_by == "printed-card"
        off.append(misplaced(card, homography).max())
    assert np.median(off) < 0.15
    assert max(off) < 1.0


@pytest.mark.parametrize(("lift_mm", "axis_deg"), [(8.0, 30.0), (-6.0, 95.0)])
def test_a_curled_card_keeps_its_millimetres(lift_mm, axis_deg):
    paper = Paper.stock("office", width_mm=210, height_mm=297)
    art = Artwork(rgb=flat_card("a4"), width_mm=210, height_mm=297)
    blank = draw_card(
        SyntheticNozzle.evenly(4), None, dataclasses.replace(paper, artwork=(art,)), seed=1,
        cell_mm=0.5,
    )  # fmt: skip
    camera = Camera(
        width_px=1500, height_px=1900, obliquity_deg=11, obliquity_to_deg=60, roll_deg=8
    )
    shot = simulated(blank, camera, curl=Curl(lift_mm=lift_mm, axis_deg=axis_deg), seed=2)
    card = find_card(photo_from_array(shot.rgb))
    assert card.printed.markers_seen >= 10
    assert card.printed.residual_mm < 0.4
    true = shot.view.to_card(card.to_photo(GRID))
    assert np.linalg.norm(true - GRID, axis=1).max() < 0.3
    stretch = np.linalg.lstsq(np.column_stack([GRID, np.ones(len(GRID))]), true, rcond=None)[0][:2]
    assert math.sqrt(np.linalg.det(stretch)) == pytest.approx(1, abs=0.003)
    # Negative control: taken as flat, the same card is off by far more.
    flat = rectify_printed_card(photo_from_array(shot.rgb), curl=0.0, cell_mm=1.0)
    assert flat.printed.residual_mm > 3 * card.printed.residual_mm


def test_fewer_markers_are_less_certain(slanted):
    homography, photo = slanted
    whole = find_card(photo_from_array(photo))
    covered = photo.copy()
    for marker in CARDS["a4"].markers[3:]:
        x, y = mapped(homography, np.array([[marker.x_mm, marker.y_mm]]))[0]
        cv2.circle(covered, (round(x), round(y)), 36, (150, 110, 80), -1)
    assert find_card(photo_from_array(covered)).geometry_u_mm > 1.5 * whole.geometry_u_mm


def test_two_markers_are_too_few(slanted):
    homography, photo = slanted
    photo = photo.copy()
    for marker in CARDS["a4"].markers[2:]:
        x, y = mapped(homography, np.array([[marker.x_mm, marker.y_mm]]))[0]
        cv2.circle(photo, (round(x), round(y)), 36, (150, 110, 80), -1)
    with pytest.raises(CardNotFoundError, match="only 2 of the target card's 12 markers"):
        find_card(photo_from_array(photo))


def test_a_mirrored_photo_is_refused(slanted):
    with pytest.raises(CardNotFoundError, match="mirrored"):
        find_card(photo_from_array(np.ascontiguousarray(slanted[1][:, ::-1])))


def test_two_cards_are_asked_about_and_can_be_chosen():
    size = (1900, 1400)
    first = view("a5", turn_deg=5, at=(500, 700), size=size)
    second = view("a5", turn_deg=-8, at=(1380, 690), size=size)
    photo = photograph(
        flat_card("a5", injector="one"), "a5", first, size=size, noise=0, blur_px=0.4
    )
    photo = paste(photo, flat_card("a5", injector="two"), "a5", second)
    photo = photo_from_array(photo)
    with pytest.raises(
        CardNotFoundError, match=r"2 target cards .* 1 \(ONE\), 2 \(TWO\)"
    ) as caught:
        find_card(photo)
    assert "--card-number" in caught.value.hint
    assert find_card(photo, CardSpec(which=1)).printed.injector == "ONE"
    right = find_card(photo, CardSpec(which=2))
    assert right.printed.injector == "TWO"
    assert misplaced(right, second)[4] < 0.2
    with pytest.raises(CardNotFoundError, match="card number 3 was asked for"):
        find_card(photo, CardSpec(which=3))


def test_markers_that_lie_wrong_are_refused(slanted):
    # Three of the card's markers, cut out and laid down anyhow.
    flat = flat_card("a4")
    photo = np.full((1200, 1200, 3), 205, np.uint8)
    per_mm = flat.shape[1] / 210
    for k, (x, y) in zip(
        (0, 3, 6, 9), ((150, 150), (800, 200), (240, 900), (500, 480)), strict=True
    ):
        box = CARDS["a4"].markers[k].box().grown(2)
        left, top = round((box.left + 105) * per_mm), round((box.top + 148.5) * per_mm)
        side = round(16 * per_mm)
        photo[y : y + side, x : x + side] = flat[top : top + side, left : left + side]
    with pytest.raises(CardNotFoundError, match="do not lie as on a target card"):
        find_card(photo_from_array(photo))


@pytest.mark.parametrize(
    ("paper", "blur_px", "kept"),
    [
        ("a4", 9.0, np.s_[:, :]),
        ("letter", 8.0, np.s_[:1100, :]),
        ("a5", 9.0, np.s_[420:1500, 380:1300]),
    ],
)
def test_a_card_too_blurred_to_read_is_never_taken_for_a_plain_sheet(paper, blur_px, kept):
    homography = view(paper, turn_deg=6, tilt_deg=8, px_per_mm=4.0)
    photo = photograph(flat_card(paper), paper, homography, blur_px=blur_px)
    photo = photo_from_array(np.ascontiguousarray(photo[kept]))
    assert read_markers(photo.rgb, CARD_NUMBERS) == []
    with pytest.raises(CardNotFoundError, match="dark squares lie as on one") as caught:
        find_card(photo)
    assert "in focus" in caught.value.hint


def test_a_small_blurred_card_is_seen_once_its_sheet_is_found():
    size = (900, 1100)
    homography = view("a4", turn_deg=38, tilt_deg=24, px_per_mm=1.5, size=size)
    photo = photo_from_array(photograph(flat_card("a4"), "a4", homography, size=size, blur_px=3.5))
    with pytest.raises(CardNotFoundError, match="dark squares lie as on one"):
        find_card(photo)


@pytest.mark.parametrize("kept", [np.s_[60:560, 150:650], np.s_[150:620, 900:1420]])
def test_a_corner_of_a_card_is_never_taken_for_a_plain_sheet(kept):
    homography = view("a4", turn_deg=0)
    photo = photograph(flat_card("a4"), "a4", homography)
    with pytest.raises(CardNotFoundError, match="target card"):
        find_card(photo_from_array(np.ascontiguousarray(photo[kept])))


def test_spots_that_lie_anyhow_are_no_card():
    rng = np.random.default_rng(2)
    photo = np.full((900, 700, 3), 215, np.uint8)
    for x, y in rng.uniform(40, 660, (14, 2)):
        photo[int(y) : int(y) + 34, int(x) : int(x) + 34] = 40
    light = np.asarray((photo.max(axis=2) / 255.0) ** 2.2, np.float32)
    assert count_squares(cv2.resize(light, (373, 480))) == 0


def test_other_peoples_markers_are_left_alone():
    photo = np.full((900, 900, 3), 230, np.uint8)
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for k, (x, y) in enumerate(((60, 60), (700, 60), (60, 700), (700, 700))):
        photo[y : y + 120, x : x + 120] = cv2.aruco.generateImageMarker(codes, k, 120)[..., None]
    assert read_markers(photo, CARD_NUMBERS) == []
    assert find_card(photo_from_array(photo)).printed is None


def test_a_measured_length_needs_a_printed_card():
    photo = np.full((600, 800, 3), 90, np.uint8)
    photo[100:500, 150:650] = 220
    with pytest.raises(CardNotFoundError, match="no printed target card shows"):
        find_card(photo_from_array(photo), CardSpec(printed_x_mm=99.0, printed_y_mm=99.0))


def test_corners_are_placed_to_hundredths_of_a_pixel():
    homography = view("a4", turn_deg=7, tilt_deg=8)
    photo = photograph(flat_card("a4"), "a4", homography, noise=1.0)
    by_number = {m.number: m for m in CARDS["a4"].markers}
    off = []
    for marker in read_markers(photo, CARD_NUMBERS):
        placed = place_corners(photo, marker)
        truth = mapped(homography, np.array(by_number[marker.number].corners()))
        off.append(placed.corners - truth)
    off = np.array(off)
    rough = [m.corners for m in read_markers(photo, CARD_NUMBERS)]
    assert len(rough) == 12
    middles = off.mean(axis=1)
    assert np.sqrt((middles**2).mean()) < 0.05
    assert np.sqrt((off**2).mean()) < 0.2  # the tone curve moves edges, all of a marker's alike


@pytest.mark.parametrize("blur_px", [0.8, 1.5, 2.2])
def test_sharpness_is_told_in_millimetres(blur_px):
    homography = view("a4", turn_deg=7)
    photo = photo_from_array(photograph(flat_card("a4"), "a4", homography, blur_px=blur_px))
    facts = find_card(photo).printed
    # A Gaussian edge rises from 10 % to 90 % over 2.563 standard deviations; 4.5 pixels a mm.
    expected = 2.563 * blur_px / 4.5
    assert facts.edge_x_mm == pytest.approx(expected, rel=0.2)
    assert facts.edge_y_mm == pytest.approx(expected, rel=0.2)


def test_motion_shows_as_one_direction_less_sharp():
    homography = view("a4")
    photo = photograph(flat_card("a4"), "a4", homography, noise=0.5)
    smeared = cv2.blur(photo, (7, 1))
    facts = find_card(photo_from_array(smeared)).printed
    assert facts.edge_x_mm > 1.5 * facts.edge_y_mm


def test_a_blurred_photo_is_flagged():
    homography = view("a4", turn_deg=7)
    sharp, soft = (
        find_card(photo_from_array(photograph(flat_card("a4"), "a4", homography, blur_px=b)))
        for b in (1.0, 3.0)
    )
    assert flags.BLURRED not in sharp.flags
    assert flags.BLURRED in soft.flags


@pytest.mark.parametrize("paper", ["a4", "a5"])
def test_the_cards_own_print_is_taken_out(paper):
    homography = view(paper, turn_deg=3)
    flat = flat_card(paper, job="J-2041", injector="cyl 3", azimuths=(10.0, 100.0, 190.0, 280.0))
    card = find_card_finely(photo_from_array(photograph(flat, paper, homography)))
    light = cv2.GaussianBlur(card.linear_rgb.mean(axis=2), (0, 0), 0.7 / card.cell_mm)
    inner = cv2.erode(card.inside.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
    paper_light = np.median(light[inner])
    # The wetness threshold of a clear stain is a loss of about 15 %; print must stay far below.
    assert (light[inner] < 0.95 * paper_light).mean() < 0.002
    assert light[inner].min() > 0.85 * paper_light


def test_ink_beside_its_place_is_taken_out_where_a_card_fits_badly():
    art = CARDS["a5"]
    x, y = (np.arange(-half, half, 0.25) for half in (art.width_mm / 2, art.height_mm / 2))
    light = np.full((len(y), len(x), 3), 0.7, np.float32)
    box = art.markers[2].box()
    rows = (y > box.top + 0.9) & (y < box.bottom + 0.9)
    light[np.ix_(rows, (x > box.left) & (x < box.right))] = 0.02
    # A residual of 0.4 mm widens what is filled as `resample` does.
    for residual, clean in ((0.0, False), (0.4, True)):
        filled = without_print(light, art, x, y, blur_mm=0.2 + 4 * residual)
        assert (filled.min() > 0.6) == clean


def test_a_plain_sheet_is_read_as_before():
    from spraycheck.card.find import rectify_card

    rng = np.random.default_rng(4)
    photo = np.full((700, 900, 3), (70, 80, 60), np.uint8)
    cv2.fillConvexPoly(photo, np.array([[210, 90], [690, 120], [720, 600], [180, 580]]), (215,) * 3)
    photo = np.clip(photo + rng.normal(0, 2, photo.shape), 0, 255).astype(np.uint8)
    spec = CardSpec(width_mm=148, height_mm=148)
    found, plain = (
        find_card_finely(photo_from_array(photo), spec),
        rectify_card(photo_from_array(photo), spec),
    )
    for mine, other in ((found, plain), (found.surface, plain.surface)):
        for field in dataclasses.fields(other):
            if field.name != "surface":
                np.testing.assert_array_equal(getattr(mine, field.name), getattr(other, field.name))


def test_inert_text_never_holds_a_line_break():
    assert inert("a\nb\r\tc\u2028d") == "abcd"
