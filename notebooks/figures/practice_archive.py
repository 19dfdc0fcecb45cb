"""A small invented archive of drawn cards, and repeated photographs of a few, with manifests.

For lessons about what a batch tells: three injectors followed over months, and three cards that two
people photograph twice. Names, dates and people are invented.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from spraycheck.errors import InputError
from spraycheck.output_files import write_file
from spraycheck.train.encoding import picture_bytes
from spraycheck.train.lessons.card_request import CardRequest
from spraycheck.train.lessons.requested_scene import scene_for

SHEET: Final = "140x140"
"""Small, so that an archive is drawn in some seconds (chosen)."""

MEGAPIXELS: Final = 0.6

DATES: Final = ("2025-02-10", "2025-06-16", "2025-11-03", "2026-03-16")

MANIFEST: Final = "cards.csv"


@dataclass(frozen=True, kw_only=True)
class ManifestRow:
    """One row of a manifest, as ``spraycheck batch`` reads it; empty where nothing is said.

    Parameters
    ----------
    file, holes, sheet, nozzle, injector, date, verdict, part, person, repeat : str
        See ``spraycheck batch --help``; ``verdict`` is a person's.
    """

    file: str
    holes: str
    sheet: str = SHEET
    nozzle: str = ""
    injector: str = ""
    date: str = ""
    verdict: str = ""
    part: str = ""
    person: str = ""
    repeat: str = ""


FOUR, SIX = "four-hole, invented", "six-hole, invented"

_WEAK_OVER_TIME: Final = (0.95, 0.8, 0.66, 0.5)
# What hole 3 of one injector gives: deposit that grows.

_BY_EYE: Final = {
    "A-101": ("pass", "pass", "pass", "pass"),
    "A-102": ("pass", "pass", "pass", "fail"),
    "B-201": ("pass", "pass", "fail", "pass"),
}
# As a person who sees no weak hole before it gives half.


def write_archive(folder: Path) -> Path:
    """Draw twelve cards of three injectors and write them with their manifest.

    A-101 is sound throughout; hole 3 of A-102 gives less each time; a hole of B-201 is found off
    line once, then the nozzle is replaced.

    Parameters
    ----------
    folder : Path
        Where to; made when missing.

    Returns
    -------
    Path
        The manifest.

    Raises
    ------
    InputError
        The folder cannot be written to.
    """
    return _write(folder, _archive())


def write_repeats(folder: Path) -> Path:
    """Draw three cards, have two people photograph each twice, and write all with a manifest.

    Ana holds the phone square-on in good light; Ben at a slant, in worse light.

    Parameters and errors are those of `write_archive`.

    Returns
    -------
    Path
        The manifest.
    """
    return _write(folder, _repeats())


def _archive() -> Iterator[tuple[ManifestRow, bytes]]:
    for k, date in enumerate(DATES):
        faults: dict[str, dict[str, Any]] = {
            "A-101": {},
            "A-102": {"weak": ((3, _WEAK_OVER_TIME[k]),)},
            "B-201": {"off_line": ((2, 11.0),)} if k == 2 else {},
        }
        for n, (injector, fault) in enumerate(faults.items()):
            holes = 6 if injector.startswith("B") else 4
            request = CardRequest(
                holes=holes,
                sheet=SHEET,
                seed=400 + 10 * n + k,
                megapixels=MEGAPIXELS,
                photo="usual" if (n + k) % 3 == 0 else "easy",
                **fault,
            )
            scene = scene_for(request).scene
            yield (
                ManifestRow(
                    file=f"{date}-{injector}.jpg",
                    holes=str(holes),
                    nozzle=SIX if holes == 6 else FOUR,
                    injector=injector,
                    date=date,
                    verdict=_BY_EYE[injector][k],
                ),
                picture_bytes(scene.photograph().rgb, focal_35mm=26.0),
            )


def _repeats() -> Iterator[tuple[ManifestRow, bytes]]:
    rng = np.random.default_rng(77)
    faults: dict[str, dict[str, Any]] = {
        "card 1": {},
        "card 2": {"weak": ((2, 0.8),)},
        "card 3": {"off_line": ((4, 4.0),)},
    }
    for part, fault in faults.items():
        request = CardRequest(
            holes=4, sheet=SHEET, seed=500 + int(part[-1]), megapixels=MEGAPIXELS, **fault
        )
        base = scene_for(request).scene
        card = base.draw()
        for person, slant, blur in (("Ana", 3.0, 0.5), ("Ben", 22.0, 1.2)):
            for repeat in ("1", "2"):
                camera = replace(
                    base.camera,
                    obliquity_deg=slant + float(rng.uniform(-2, 2)),
                    obliquity_to_deg=float(rng.uniform(0, 360)),
                    roll_deg=float(rng.uniform(-4, 4)),
                    light_from_deg=float(rng.uniform(0, 360)),
                    blur_px=blur,
                )
                scene = replace(base, camera=camera, seed=int(rng.integers(2**31)))
                photo = scene.photograph(card)
                yield (
                    ManifestRow(
                        file=f"{part.replace(' ', '-')}-{person}-{repeat}.jpg",
                        holes="4",
                        part=part,
                        person=person,
                        repeat=repeat,
                    ),
                    picture_bytes(photo.rgb, focal_35mm=photo.focal_35mm),
                )


def _write(folder: Path, cards: Iterator[tuple[ManifestRow, bytes]]) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"folder {str(folder)!r} cannot be made ({error.strerror or error})",
            "choose another place",
        ) from None
    rows: list[ManifestRow] = []
    for row, picture in cards:
        write_file(folder / row.file, picture, "picture")
        rows.append(row)
    return _write_manifest(folder / MANIFEST, rows)


def _write_manifest(path: Path, rows: Sequence[ManifestRow]) -> Path:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, [one.name for one in fields(ManifestRow)])
    writer.writeheader()
    writer.writerows(asdict(row) for row in rows)
    write_file(path, text.getvalue().encode(), "manifest")
    return path
