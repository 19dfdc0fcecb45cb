"""Real photographs with published truth; skipped unless SPRAYCHECK_REAL names their folder.

smartdoc: phone frames of one A4 sheet on a desk with the sheet's corners in ground_truth.csv
(SmartDoc 2015 challenge 1, CC BY 4.0: Burie, Chazalon et al., "ICDAR2015 competition on smartphone
document capture and OCR", ICDAR 2015, 1161-1165).

markers: a printed sheet whose four square markers lie on a rectangle of 150 x 230 mm.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from spraycheck.card.containers import RectifiedCard
from spraycheck.card.find import rectify_card
from spraycheck.card.spec import CardSpec
from spraycheck.photo.containers import Photo

FOLDER = Path(os.environ.get("SPRAYCHECK_REAL", ""))
pytestmark = pytest.mark.skipif(
    not os.environ.get("SPRAYCHECK_REAL") or not (FOLDER / "smartdoc").is_dir(),
    reason="SPRAYCHECK_REAL does not name a folder with smartdoc/",
)


def read(path: Path) -> Photo:
    pixels = cv2.imread(str(path))
    assert pixels is not None, path
    rgb = np.ascontiguousarray(pixels[..., ::-1])
    return Photo(rgb=rgb, width_px=rgb.shape[1], height_px=rgb.shape[0])


def truth() -> list[tuple[Path, np.ndarray]]:
    """Photos with their corners clockwise from the document's top left."""
    if not (FOLDER / "smartdoc").is_dir():
        return []
    out = []
    with (FOLDER / "smartdoc" / "ground_truth.csv").open(newline="") as handle:
        for row in csv.DictReader(handle):
            path = FOLDER / "smartdoc" / row["image_path"].replace("/", "_")
            corners = [
                [float(row[f"{k}_x"]), float(row[f"{k}_y"])] for k in ("tl", "tr", "br", "bl")
            ]
            out.append((path, np.array(corners)))
    return out


def errors_frac(card: RectifiedCard, corners: np.ndarray) -> np.ndarray:
    """Corner errors as a share of the sheet's diagonal, whichever way up it was taken."""
    diagonal = float(np.linalg.norm(corners[2] - corners[0]))
    turned = [np.roll(card.corners_px, k, axis=0) - corners for k in range(4)]
    every = np.array([np.linalg.norm(t, axis=1) for t in turned])
    best: np.ndarray = every[every.max(axis=1).argmin()]
    return best / diagonal


@pytest.mark.parametrize("spec", [CardSpec(width_mm=210, height_mm=297), CardSpec()])
def test_corners_of_a_real_sheet(spec: CardSpec) -> None:
    cases = truth()
    assert len(cases) >= 6
    errors = []
    for path, corners in cases:
        card = rectify_card(read(path), spec)
        assert card.found_by == "sheet", path
        errors.append(errors_frac(card, corners))
    # Required of the median: 0.7 %. No corner may be lost: 1.5 % is about 10 pixels here.
    assert float(np.median(errors)) < 0.007
    assert float(np.max(errors)) < 0.015


def test_corner_measure_can_fail() -> None:
    """Negative control: the same corners moved by 2 % of the diagonal are told apart."""
    path, corners = truth()[0]
    card = rectify_card(read(path))
    moved = corners + 0.02 * np.linalg.norm(corners[2] - corners[0])
    assert float(np.median(errors_frac(card, moved))) > 0.007


def test_proportions_of_a_real_sheet_of_unknown_size() -> None:
    for path, _ in truth():
        card = rectify_card(read(path))
        ratio = max(card.size_mm) / min(card.size_mm)
        # A4 by ISO 216; video frames are cropped, so the focal length is the assumption that
        # matters and the stated uncertainty has to cover it.
        assert abs(np.log(ratio / np.sqrt(2))) < 3 * card.aspect_u_frac + 0.004, path
