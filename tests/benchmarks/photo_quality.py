"""How errors grow as a photo gets worse, and how true the stated uncertainties stay.

A few healthy drawn cards are photographed with one thing growing at a time. For every photo: the
errors of directions (after one common turn), shares and centre against what was drawn, and each
over the standard uncertainty stated for it. Its root mean square is 1 or less where the statement
is true; the limits of the gate in ``spraycheck/judge/quality/gate.py`` are set below the point
where it passes 1.

    python tests/benchmarks/photo_quality.py [--only blur,noise] [--scenes 3] [--json curves.json]

Prints a table. All factors, three cards: 156 photos, about five minutes on one core.

``--json`` writes the curves; ``notebooks/data/quality_curves.json`` was made like this with three
cards. It is a list with one entry per factor and level, in the order of `FACTORS`:

``factor``, ``level``
    What grew, named with its unit, and how far.
``photos``, ``measured``
    How many were taken, and on how many every plume was found once; errors are of these.
``verdicts``
    One per photo: a verdict, with "k of n" plumes where k were found; or the error's name. Every
    card is healthy, so "fail" is false.
``direction_rms_deg``, ``share_rms_pct``, ``centre_rms_mm``
    Root mean square errors; shares in per cent of an even share. Null without any.
``direction_ratio``, ``share_ratio``, ``centre_ratio``
    Root mean square of error over stated standard uncertainty: 1 or less where it is true.
``values``
    Medians of what the gate looks at, the fields of ``PhotoQuality`` by their names, with
    ``map_noise`` and ``contrast`` of the wetness map and ``limits_passed``, how many limits of the
    gate the photo was beyond. Empty without a measured photo.

Numbers are rounded to four digits.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from spraycheck import measure_photo, photo_from_array
from spraycheck.card.spec import CardSpec
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import SprayCheckError
from spraycheck.judge.result import Result
from spraycheck.simulate import Scene, SyntheticPhoto, random_scene
from spraycheck.simulate.card import CardImage

SEEDS = (3, 8, 21, 34, 55)


def _camera(**fields: Any) -> Callable[[Scene], Scene]:
    return lambda scene: replace(scene, camera=replace(scene.camera, **fields))


def _shot(factor: float) -> Callable[[Scene], Scene]:
    def change(scene: Scene) -> Scene:
        assert scene.shot is not None
        volume = scene.shot.volume_mm3 * factor
        return replace(scene, shot=replace(scene.shot, volume_mm3=volume))

    return change


def _size(megapixels: float) -> Callable[[Scene], Scene]:
    def change(scene: Scene) -> Scene:
        camera = scene.camera
        by = math.sqrt(megapixels * 1e6 / (camera.width_px * camera.height_px))
        width, height = round(camera.width_px * by), round(camera.height_px * by)
        return replace(scene, camera=replace(camera, width_px=width, height_px=height))

    return change


FACTORS: dict[str, dict[float, Callable[[Scene], Scene]]] = {
    "blur_px": {v: _camera(blur_px=v) for v in (0.6, 2.0, 4.0, 6.0, 9.0)},
    "motion_px": {v: _camera(motion_px=v) for v in (0.0, 8.0, 16.0, 28.0, 45.0)},
    "tilt_deg": {v: _camera(obliquity_deg=v) for v in (3.0, 15.0, 25.0, 35.0, 45.0)},
    "tilt_unstated_deg": {v: _camera(obliquity_deg=v) for v in (15.0, 25.0, 35.0)},
    "gloss": {v: _camera(light="flash", gloss=v) for v in (0.0, 0.3, 0.7, 1.5, 3.0)},
    "noise": {v: _camera(noise=v) for v in (0.006, 0.03, 0.08, 0.16, 0.3)},
    "megapixels": {v: _size(v) for v in (1.5, 0.5, 0.25, 0.12, 0.07)},
    "jpeg_quality": {float(v): _camera(jpeg_quality=v) for v in (90, 50, 25, 12, 5)},
    "exposure": {v: _camera(exposure=v) for v in (0.06, 0.15, 0.8, 1.2, 1.6)},
    "soak_s": {v: (lambda s, v=v: replace(s, soak_s=v)) for v in (30.0, 120.0, 600.0)},
    "volume_frac": {v: _shot(v) for v in (0.06, 0.2, 1.0, 3.0, 6.0, 12.0)},
}
"""Factor to its levels, best or usual one among them; gloss is for a flash at the camera."""

_UNSTATED = ("tilt_unstated_deg",)
"""The photo does not say its focal length; elsewhere it does, as phones' photos do."""

_SHOWN = (
    *("edge_x_mm", "edge_y_mm", "plume_width_mm", "mm_per_px", "map_noise", "contrast"),
    *("clipped_frac", "glare_frac", "evenness_frac", "view_deg", "dark_frac", "fill_frac"),
)

_REDRAWN = ("soak_s", "volume_frac")


@dataclass(frozen=True, kw_only=True)
class Row:
    """One photo."""

    factor: str
    level: float
    scene: int
    verdict: str
    values: dict[str, float]
    direction_error_deg: tuple[float, ...] = ()
    direction_ratio: tuple[float, ...] = ()
    share_error_pct: tuple[float, ...] = ()
    share_ratio: tuple[float, ...] = ()
    centre_error_mm: float = math.nan
    centre_ratio: float = math.nan


def photos(only: tuple[str, ...], scenes: int) -> Iterator[tuple[str, float, int, SyntheticPhoto]]:
    """Yield factor, level, scene number and photo; each card is drawn once where it can be."""
    for number in range(scenes):
        base = random_scene(SEEDS[number], family="bench", fault="none", megapixels=1.5)
        base = replace(base, camera=replace(base.camera, roll_deg=4.0))
        card: CardImage | None = None
        for factor in only:
            for level, change in FACTORS[factor].items():
                scene = change(base)
                if factor in _REDRAWN:
                    yield factor, level, number, scene.photograph()
                else:
                    card = card or base.draw()
                    yield factor, level, number, scene.photograph(card)


def judge(factor: str, level: float, number: int, photo: SyntheticPhoto) -> Row:
    """Measure one photo and hold it against what was drawn."""
    holes = len(photo.truth.holes)
    spec = CardSpec(width_mm=photo.sheet_mm[0], height_mm=photo.sheet_mm[1])
    focal = math.nan if factor in _UNSTATED else photo.focal_35mm
    try:
        seen = replace(photo_from_array(photo.rgb), focal_35mm=focal)
        a = measure_photo(seen, holes=holes, sheet=spec)
    except SprayCheckError as error:
        return Row(
            factor=factor, level=level, scene=number, verdict=type(error).__name__, values={}
        )
    return compare(factor, level, number, photo, a)


def compare(factor: str, level: float, number: int, photo: SyntheticPhoto, a: Result) -> Row:
    """Errors of one assessment, and each over its stated standard uncertainty."""
    truth, rows = photo.truth, a.catalogue
    true = np.array([hole.direction_deg for hole in truth.holes])
    gap = (rows.direction_deg[:, None] - true[None] + 180) % 360 - 180
    nearest = np.abs(gap).argmin(axis=1) if len(rows) else np.zeros(0, int)
    values = facts(a)
    if len(rows) != len(true) or len(set(nearest.tolist())) != len(true):
        verdict = f"{a.verdict}, {len(rows)} of {len(true)}"
        return Row(factor=factor, level=level, scene=number, verdict=verdict, values=values)
    off = gap[np.arange(len(rows)), nearest]
    off -= off.mean()
    areas = np.array([hole.area_mm2_at for hole in truth.holes])[nearest]
    shares = areas / areas.sum(axis=0)
    # Where wetted ends is a matter of reading: any share between the three readings is true.
    low, high = shares.min(axis=1), shares.max(axis=1)
    share = rows.area_frac - np.clip(rows.area_frac, low, high)
    miss = math.hypot(a.centre.x_mm - truth.x_mm, a.centre.y_mm - truth.y_mm)
    return Row(
        factor=factor,
        level=level,
        scene=number,
        verdict=a.verdict,
        values=values,
        direction_error_deg=tuple(off.tolist()),
        direction_ratio=tuple((off / rows.direction_u_deg * COVERAGE_FACTOR_95).tolist()),
        share_error_pct=tuple((100 * share * len(rows)).tolist()),
        share_ratio=tuple((share / rows.area_u_frac * COVERAGE_FACTOR_95).tolist()),
        centre_error_mm=miss,
        # 95 % radius of a round normal: 2.448 standard uncertainties.
        centre_ratio=miss / a.centre.u95_mm * 2.448,
    )


def facts(a: Result) -> dict[str, float]:
    """What the gate looks at."""
    quality = a.quality
    assert quality is not None
    named = {
        name: getattr(quality, name)
        for name in quality.__dataclass_fields__
        if isinstance(getattr(quality, name), int | float)
    }
    named["limits_passed"] = len(quality.flags)
    return {**named, "map_noise": a.wetness.noise, "contrast": a.wetness.contrast}


def rms(values: list[float]) -> float:
    """Root mean square; NaN of nothing."""
    return math.sqrt(sum(v * v for v in values) / len(values)) if values else math.nan


def table(rows: list[Row]) -> list[dict[str, Any]]:
    """One line per factor and level, all scenes together."""
    lines = []
    for factor, level in dict.fromkeys((row.factor, row.level) for row in rows):
        mine = [r for r in rows if (r.factor, r.level) == (factor, level)]
        told = [r for r in mine if r.direction_ratio]
        names = sorted({name for r in mine for name in r.values})
        lines.append(
            {
                "factor": factor,
                "level": level,
                "photos": len(mine),
                "measured": len(told),
                "verdicts": [r.verdict for r in mine],
                "direction_rms_deg": rms([v for r in told for v in r.direction_error_deg]),
                "direction_ratio": rms([v for r in told for v in r.direction_ratio]),
                "share_rms_pct": rms([v for r in told for v in r.share_error_pct]),
                "share_ratio": rms([v for r in told for v in r.share_ratio]),
                "centre_rms_mm": rms([r.centre_error_mm for r in told]),
                "centre_ratio": rms([r.centre_ratio for r in told]) / math.sqrt(2),
                "values": {
                    name: float(np.median([r.values[name] for r in mine if name in r.values]))
                    for name in names
                },
            }
        )
    return lines


def shown(line: dict[str, Any]) -> str:
    """One line of the table."""
    v = line["values"]
    values = " ".join(f"{name}={v[name]:.3g}" for name in _SHOWN if name in v)
    return (
        f"{line['factor']:18s}{line['level']:6g} {line['measured']}/{line['photos']} "
        f"dir {line['direction_rms_deg']:5.2f} ({line['direction_ratio']:4.2f}) "
        f"share {line['share_rms_pct']:5.1f} ({line['share_ratio']:4.2f}) "
        f"centre {line['centre_rms_mm']:4.2f} ({line['centre_ratio']:4.2f})  {values}  "
        f"{'; '.join(line['verdicts'])}"
    )


def main() -> int:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--only", default=",".join(FACTORS), help="factors, comma between")
    parser.add_argument("--scenes", type=int, default=3, choices=range(1, len(SEEDS) + 1))
    parser.add_argument("--json", metavar="FILE", help="write the curves here")
    args = parser.parse_args()
    only = tuple(args.only.split(","))
    if unknown := set(only) - set(FACTORS):
        parser.error(f"unknown factor {', '.join(sorted(unknown))}: one of {', '.join(FACTORS)}")
    cv2.setNumThreads(1)
    rows = []
    for factor, level, number, photo in photos(only, args.scenes):
        rows.append(judge(factor, level, number, photo))
        print(".", end="", file=sys.stderr, flush=True)
    lines = table(sorted(rows, key=lambda r: (only.index(r.factor), r.scene)))
    print(
        f"\n{'factor':18s}{'level':>6s} n   errors, in brackets over the stated uncertainty "
        "(1 or less is true)"
    )
    for line in lines:
        print(shown(line))
    if args.json:
        plain = json.loads(
            json.dumps(lines),
            parse_constant=lambda _: None,
            parse_float=lambda text: float(f"{float(text):.4g}"),
        )
        rows_of_text = ",\n".join(json.dumps(line) for line in plain)
        Path(args.json).write_text(f"[\n{rows_of_text}\n]\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
