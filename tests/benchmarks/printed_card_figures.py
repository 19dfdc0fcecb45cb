"""How well the project's own target card is read: centre, directions, index, scale, residual.

Sprayed printed cards are drawn and photographed by the simulator's phone, half of them curled, the
rest flat; each is measured and held against what was drawn.

    python tests/benchmarks/printed_card_figures.py [--cards 30] [--seed 1]

Targets: centre 0.4 mm (median), directions 0.6 degrees and index 0.5 degrees (RMS), scale 0.3 %
(every card), marker residual 0.15 mm on flat and 0.4 mm on curled cards (every card). Thirty cards
take about two minutes on one core.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))  # tests share small helper modules

from printed_cards import flat_card

from spraycheck import measure_photo, photo_from_array
from spraycheck.card.target import CARDS
from spraycheck.constants import SHEET_SIZES_MM
from spraycheck.errors import SprayCheckError
from spraycheck.simulate import (
    Artwork,
    Camera,
    Curl,
    Paper,
    SprayShot,
    SyntheticNozzle,
    SyntheticPhoto,
    draw_card,
    photograph,
)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One card; errors are found less true."""

    paper: str
    lift_mm: float
    verdict: str
    markers: int
    centre_mm: float
    direction_deg: tuple[float, ...]
    index_deg: float
    scale_frac: float
    residual_mm: float


def take(number: int, rng: np.random.Generator) -> tuple[str, float, SyntheticPhoto]:
    """Draw and photograph a card; every other one is curled."""
    paper = tuple(CARDS)[number % len(CARDS)]
    width, height = SHEET_SIZES_MM[paper]
    small = paper == "a5"
    art = Artwork(rgb=flat_card(paper, job="J-2041"), width_mm=width, height_mm=height)
    stock = Paper.stock("office", width_mm=width, height_mm=height)
    card = draw_card(
        SyntheticNozzle.evenly(
            int(rng.integers(4, 9)),
            first_deg=float(rng.uniform(0, 360)),
            axis_angle_deg=62.0 if small else 67.0,
        ),
        SprayShot(volume_mm3=90.0 if small else 180.0, height_mm=16.0 if small else 22.0),
        dataclasses.replace(stock, artwork=(art,)),
        seed=number,
        foot_mm=(float(rng.normal(0, 4)), float(rng.normal(0, 4))),
        cell_mm=0.25 if small else 0.4,
    )
    camera = Camera(
        width_px=1500,
        height_px=2000,
        fill_frac=float(rng.uniform(0.75, 0.92)),
        obliquity_deg=float(rng.uniform(0, 18)),
        obliquity_to_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.normal(0, 6)),
        light=str(rng.choice(["ceiling", "window", "lamp"])),
        distortion=(float(rng.uniform(-0.03, 0.03)), 0.0),
        blur_px=float(rng.uniform(0.6, 1.2)),
    )
    lift = float(rng.uniform(3, 8) * rng.choice([-1, 1])) * (0.6 if small else 1.0)
    curl = Curl(lift_mm=lift, axis_deg=float(rng.uniform(0, 180))) if number % 2 else None
    return paper, lift if curl else 0.0, photograph(card, camera, curl=curl, seed=number)


def judge(paper: str, lift_mm: float, photo: SyntheticPhoto) -> Row:
    """Measure a photo and hold it against what was drawn."""
    truth = photo.truth
    seen = dataclasses.replace(photo_from_array(photo.rgb), focal_35mm=photo.focal_35mm)
    a = measure_photo(seen, holes=len(truth.holes))
    assert a.card.printed is not None
    rows = a.catalogue
    true = np.array([hole.direction_deg for hole in truth.holes])
    gap = (rows.direction_deg[:, None] - true + 180) % 360 - 180
    off = gap[np.arange(len(rows)), np.abs(gap).argmin(axis=1)]
    half = np.array(SHEET_SIZES_MM[paper]) / 2
    grid = np.array([[x, y] for x in (-0.6, 0.0, 0.6) for y in (-0.6, 0.0, 0.6)]) * half
    # Where the places that the reading takes for these grid points truly lie on the card.
    there = photo.view.to_card(a.card.to_photo(grid))
    design = np.column_stack([grid, np.ones(len(grid))])
    fit = np.linalg.lstsq(design, there, rcond=None)[0][:2].T
    return Row(
        paper=paper,
        lift_mm=lift_mm,
        verdict=a.verdict,
        markers=a.card.printed.markers_seen,
        centre_mm=math.hypot(a.centre.x_mm - truth.x_mm, a.centre.y_mm - truth.y_mm),
        direction_deg=tuple(off.tolist()),
        index_deg=math.degrees(math.atan2(fit[1, 0] - fit[0, 1], fit[0, 0] + fit[1, 1])),
        scale_frac=math.sqrt(float(np.linalg.det(fit))) - 1,
        residual_mm=a.card.printed.residual_mm,
    )


def rms(values: list[float]) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values)))) if values else math.nan


def main() -> int:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--cards", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    cv2.setNumThreads(1)
    rng = np.random.default_rng(args.seed)
    rows: list[Row] = []
    for number in range(args.cards):
        paper, lift, photo = take(number, rng)
        try:
            row = judge(paper, lift, photo)
        except SprayCheckError as error:
            print(f"{paper:7s} not measured: {error}")
            continue
        rows.append(row)
        print(
            f"{row.paper:7s} lift {row.lift_mm:5.1f} {row.verdict:8s} {row.markers:2d} markers  "
            f"centre {row.centre_mm:.2f}  directions {rms(list(row.direction_deg)):.2f}  "
            f"index {row.index_deg:+.2f}  scale {row.scale_frac:+.2%}  "
            f"residual {row.residual_mm:.3f}",
            flush=True,
        )
    flat = [r.residual_mm for r in rows if r.lift_mm == 0]
    curled = [r.residual_mm for r in rows if r.lift_mm]
    figures = [
        ("centre, median mm", float(np.median([r.centre_mm for r in rows])), 0.4),
        ("directions, RMS deg", rms([d for r in rows for d in r.direction_deg]), 0.6),
        ("index, RMS deg", rms([r.index_deg for r in rows]), 0.5),
        ("index, most deg", max(abs(r.index_deg) for r in rows), 0.5),
        ("scale, most %", 100 * max(abs(r.scale_frac) for r in rows), 0.3),
        ("residual flat, most mm", max(flat), 0.15),
        ("residual curled, most mm", max(curled), 0.4),
    ]
    print(f"\n{len(rows)} of {args.cards} cards measured")
    for name, value, target in figures:
        print(f"{name:26s}{value:7.3f}  target {target:g}{'' if value <= target else '  MISSED'}")
    met = len(rows) == args.cards and all(value <= target for _, value, target in figures)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
