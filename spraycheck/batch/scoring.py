"""What a worker does: hash files, and score one photo. Values in, values out, no state.

Everything here must be importable by a fresh process, on this machine or another.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import traceback
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from spraycheck.batch.sources import is_address, open_file
from spraycheck.card.spec import CardSpec
from spraycheck.errors import InputError, MeasurementError, PhotoError
from spraycheck.judge.layout import HOLES, Layout
from spraycheck.judge.limits import LimitSet
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Result
from spraycheck.judge.standoff import Standoff
from spraycheck.photo.containers import Photo
from spraycheck.photo.files import shown
from spraycheck.pipeline import Pipeline

SMALL_WIDTH_PX: Final = 320
"""Width of the small picture: eight in a row on a large screen, one on a phone."""

LARGE_SIDE_PX: Final = 720
"""Longest side of the photo in the large picture: words on it are readable on a phone."""

_SMALL_QUALITY, _LARGE_QUALITY = 72, 70
# Chosen by eye: lines and letters stay clean; the small one takes 12 to 20 kB, the large one 100
# to 140 kB on the sample photos.

_MAX_BYTES = 1 << 30  # as in photos.files: nothing larger is read, so nothing larger is hashed


@dataclass(frozen=True, kw_only=True)
class Task:
    """One photo to score.

    Parameters
    ----------
    file : str
        Path or address.
    layout, spec, limits
        What is expected and tolerated; ``layout`` is a `AxialNozzle` for one central spray.
    pictures : bool
        Whether to draw.
    standoff : Standoff or None
        Height of the tip over the card.
    aim : (float, float) or str or None
        Where the tip was set over the card, for a nozzle with one central spray.
    lined_up : str
        The feature that 12 o'clock on the card was lined up with; empty for none.
    """

    file: str
    layout: Layout | AxialNozzle
    spec: CardSpec
    limits: LimitSet
    pictures: bool
    standoff: Standoff | None = None
    aim: str | tuple[float, float] | None = None
    lined_up: str = ""


@dataclass(frozen=True, kw_only=True)
class Scored:
    """What came of it.

    Parameters
    ----------
    result : dict
        A result document, of an assessment or of a failure; ``file`` is None in it, since photos
        of the same content share it.
    sha256 : str
        Of the file's bytes; empty when it could not be read.
    lasting : bool
        Scoring the same bytes again would give the same. Not so for a mistake in the program or a
        file that could not be reached.
    small, large : bytes
        JPEG pictures; empty when not asked for or not possible.
    """

    result: dict[str, Any]
    sha256: str
    lasting: bool
    small: bytes = b""
    large: bytes = b""


def hash_files(places: Sequence[str]) -> list[str]:
    """Return the SHA-256 of each file; empty for one that cannot be read or is far too large."""
    return [_hash(place) for place in places]


def score(task: Task) -> Scored:
    """Measure and judge one photo; whatever goes wrong becomes the result."""
    import cv2

    # Workers share the processor by photos. The number of threads must not depend on the engine
    # either: sums in another order would differ in the last bit.
    cv2.setNumThreads(1)
    with warnings.catch_warnings():
        # Warnings of a library about one odd photo must not scatter over the progress display.
        warnings.simplefilter("ignore")
        return _score(task)


def versions() -> tuple[str, int, str, str]:
    """Return what must be the same on every machine of a cluster."""
    import cv2
    import numpy as np

    from spraycheck import __version__
    from spraycheck.constants import RESULTS_VERSION

    return __version__, RESULTS_VERSION, np.__version__, cv2.__version__


def _score(task: Task) -> Scored:
    from spraycheck.report.document import error_document, plain, result_document

    photo: Photo | str = task.file
    try:
        photo = _read(task.file)
        assessment = _measure(photo, task)
        document = result_document(assessment)
    except (MeasurementError, InputError) as error:
        failed, lasting = error_document(photo, error), True
    except Exception as error:
        # Mistakes are mended in later versions: nothing to keep.
        failed, lasting = error_document(photo, _internal(error)), False
    else:
        small, large = _draw(assessment) if task.pictures else (b"", b"")
        document["photo"]["file"] = None
        return Scored(
            result=document,
            sha256=assessment.photo.sha256,
            lasting=True,
            small=small,
            large=large,
        )
    failed["photo"]["file"] = None
    # Files of the same content share the result, whatever they are called.
    told = failed["error"]["message"].replace(f"{shown(task.file)}: ", "this file: ")
    failed["error"]["message"] = told
    failed["provenance"] = plain(Pipeline().describe())
    if isinstance(photo, str):
        sha256 = _hash(photo)
        failed["photo"]["sha256"] = sha256 or None
        return Scored(result=failed, sha256=sha256, lasting=lasting and bool(sha256))
    small = _shrink(photo.rgb) if task.pictures else b""
    return Scored(result=failed, sha256=photo.sha256, lasting=lasting, small=small)


def _measure(photo: Photo, task: Task) -> Result:
    from spraycheck.measuring import measure_photo

    # An archive may hold cards of both kinds of nozzle: each takes what it can use.
    holes = task.layout.kind == HOLES
    return measure_photo(
        photo,
        nozzle=task.layout,
        aim=None if holes else task.aim,
        sheet=task.spec,
        limits=task.limits,
        standoff=task.standoff,
        lined_up=task.lined_up if holes else "",
    )


def _read(file: str) -> Photo:
    from spraycheck.photo import read_photo

    if not is_address(file):
        return read_photo(file)
    with tempfile.TemporaryDirectory(prefix="spraycheck-") as folder:
        copy = Path(folder) / "photo"
        try:
            with open_file(file) as source:
                copy.write_bytes(source.read(_MAX_BYTES + 1))
        except OSError as error:
            raise PhotoError(
                f"{shown(file)}: cannot be read ({error.strerror or error}), expected a photo",
                "check the address and the permissions",
            ) from None
        try:
            return replace(read_photo(copy), file=file)
        except PhotoError as error:
            raise PhotoError(error.message.replace(shown(copy), shown(file)), error.hint) from None


def _hash(place: str) -> str:
    try:
        if not is_address(place):
            info = os.stat(place)
            if not os.path.isfile(place) or info.st_size > _MAX_BYTES:
                return ""
        with open_file(place) as file:
            digest = hashlib.sha256()
            while block := file.read(1 << 20):
                digest.update(block)
            return digest.hexdigest()
    except (OSError, ValueError):
        return ""


def _draw(assessment: Result) -> tuple[bytes, bytes]:
    """Draw both pictures; a drawing that fails costs the drawing, not the result."""
    import numpy as np

    from spraycheck.report.overlay import compose_overlay

    try:
        drawn = compose_overlay(assessment, max_side_px=LARGE_SIDE_PX)
        box = drawn.photo
        part = drawn.image[round(box.top) : round(box.bottom), round(box.left) : round(box.right)]
        return _shrink(np.ascontiguousarray(part)), _jpeg(drawn.image, _LARGE_QUALITY)
    except Exception:
        return b"", b""


def _shrink(rgb: Any) -> bytes:
    import cv2

    height, width = rgb.shape[:2]
    # Tall and narrow sheets are held to the same area as a square one.
    scale = min(1.0, SMALL_WIDTH_PX / width, SMALL_WIDTH_PX * 1.5 / height)
    size = max(1, round(width * scale)), max(1, round(height * scale))
    return _jpeg(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), _SMALL_QUALITY)


def _jpeg(rgb: Any, quality: int) -> bytes:
    import cv2

    good, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    return bytes(data.tobytes()) if good else b""


def _internal(error: Exception) -> RuntimeError:
    last = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(last.filename).name} line {last.lineno}"
    return RuntimeError(f"internal error: {type(error).__name__}: {error} ({place})")
