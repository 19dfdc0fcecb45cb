"""Printed cards whose markers can hardly be read: is one ever judged as a plain sheet?

Sprayed printed cards are drawn, photographed ever more blurred, from ever fewer pixels and cropped,
and judged as a user would. A printed card taken for a plain sheet has its print taken for plumes;
such a verdict is worth nothing whatever it says. Counted: cards read by their markers, cards
refused, and cards judged as a plain sheet, which must be none.

    python tests/benchmarks/unreadable_cards.py [--only a4] [--without]

``--without`` judges with the search for a card's traces switched off, for comparison. 90 photos,
about two minutes on one core.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from unittest import mock

import cv2
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))  # tests share small helper modules

from printed_cards import flat_card

from spraycheck import measure_photo, photo_from_array
from spraycheck.constants import SHEET_SIZES_MM
from spraycheck.errors import SprayCheckError
from spraycheck.simulate import (
    Artwork,
    Camera,
    Paper,
    SprayShot,
    SyntheticNozzle,
    draw_card,
    photograph,
)

PAPERS = ("a4", "a5", "letter")
BLURS_PX = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0)
CROPS = {
    # Left, top, right and bottom of what is kept, as shares of the photo.
    "whole": (0.0, 0.0, 1.0, 1.0),
    "side": (0.22, 0.0, 1.0, 1.0),
    "corner": (0.0, 0.0, 0.78, 0.8),
    "close": (0.16, 0.14, 0.86, 0.88),
    "half": (0.0, 0.0, 1.0, 0.6),
}

Picture = NDArray[np.uint8]


def photos(papers: tuple[str, ...]) -> Iterator[tuple[str, float, str, Picture]]:
    """Yield paper, blur, crop and photo of one sprayed card per paper."""
    for number, paper in enumerate(papers):
        width, height = SHEET_SIZES_MM[paper]
        art = Artwork(rgb=flat_card(paper, job="J-2041"), width_mm=width, height_mm=height)
        stock = Paper.stock("office", width_mm=width, height_mm=height)
        card = draw_card(
            SyntheticNozzle.evenly(5, first_deg=17.0, axis_angle_deg=62.0),
            SprayShot(volume_mm3=150.0, height_mm=20.0),
            dataclasses.replace(stock, artwork=(art,)),
            seed=number,
            cell_mm=0.4,
        )
        for k, blur in enumerate(BLURS_PX):
            size = (1500, 1900) if k % 2 else (900, 1140)
            camera = Camera(
                width_px=size[0],
                height_px=size[1],
                blur_px=blur,
                fill_frac=0.86,
                obliquity_deg=4.0 + 3 * number,
                obliquity_to_deg=60.0,
                roll_deg=2.0 + 3 * number,
            )
            shot = photograph(card, camera, seed=10 * number + k)
            for crop, (left, top, right, bottom) in CROPS.items():
                rows, cols = shot.rgb.shape[:2]
                part = shot.rgb[
                    round(top * rows) : round(bottom * rows),
                    round(left * cols) : round(right * cols),
                ]
                yield paper, blur, crop, np.ascontiguousarray(part)


def outcome(rgb: Picture, *, holes: int = 5) -> tuple[str, str]:
    """Say what became of a photo: ``printed``, ``plain`` or ``refused``, and the details."""
    try:
        found = measure_photo(photo_from_array(rgb), holes=holes)
    except SprayCheckError as error:
        return "refused", str(error)
    if found.card.printed is not None:
        return "printed", f"{found.verdict}, {found.card.printed.markers_seen} markers"
    return "plain", f"{found.verdict}, {len(found.catalogue)} plumes, {found.card.found_by}"


def main() -> int:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--only", default=",".join(PAPERS), help="papers, comma between")
    parser.add_argument("--without", action="store_true", help="without the search for traces")
    args = parser.parse_args()
    papers = tuple(args.only.split(","))
    if unknown := set(papers) - set(PAPERS):
        parser.error(f"unknown paper {', '.join(sorted(unknown))}: one of {', '.join(PAPERS)}")
    cv2.setNumThreads(1)
    count: Counter[str] = Counter()
    names = ("what_shows", "what_shows_on")
    off = [mock.patch(f"spraycheck.card.find.{name}", return_value="") for name in names]
    for paper, blur, crop, rgb in photos(papers):
        if args.without:
            with off[0], off[1]:
                kind, said = outcome(rgb)
        else:
            kind, said = outcome(rgb)
        count[kind] += 1
        print(f"{paper:7s}{blur:4g} px {crop:7s}{kind:9s}{said}", flush=True)
    print(f"{sum(count.values())} photos: {dict(count)}")
    return 1 if count["plain"] else 0


if __name__ == "__main__":
    sys.exit(main())
