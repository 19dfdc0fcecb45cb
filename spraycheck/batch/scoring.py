"""What a worker does with one photo: values in, values out, no state.

Everything here must be importable by a fresh process, on this machine or another.
"""

from __future__ import annotations

import functools
import hashlib
import json
import os
import tempfile
import traceback
import warnings
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from spraycheck.batch.sources import is_address, open_file
from spraycheck.card.spec import CardSpec
from spraycheck.constants import RESULTS_VERSION
from spraycheck.errors import InputError, MeasurementError, PhotoError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits, LimitSet
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.standoff import Standoff
from spraycheck.photo.containers import Photo
from spraycheck.photo.files import shown
from spraycheck.pipeline import Pipeline
from spraycheck.report.document import error_document, plain
from spraycheck.report.document.shared import limits_entry

if TYPE_CHECKING:
    from spraycheck.judge.result import Result

FORM: Final = "spraycheck.record/1"
"""Form of the records; another form is another key, so that old journals are scored anew."""

SMALL_WIDTH_PX: Final = 320
"""Width of the small picture: eight in a row on a large screen, one on a phone."""

LARGE_SIDE_PX: Final = 720
"""Longest side of the photo in the large picture: words on it are readable on a phone."""

_SMALL_QUALITY, _LARGE_QUALITY = 72, 70
# Chosen by eye: lines and letters stay clean; the small one takes 12 to 20 kB, the large one 100
# to 140 kB on the sample photos.

_MAX_BYTES = 1 << 30  # as in photo.files: nothing larger is read, so nothing larger is hashed


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Everything but the photo that can change a result.

    Parameters
    ----------
    layout : Layout or AxialNozzle or None
        What the nozzle should spray; None when nobody knows.
    limits : LimitSet
        What is tolerated.
    spec : CardSpec
        The sheet.
    standoff : Standoff or None
        Height of the tip over the card.
    aim : (float, float) or str or None
        Where the tip was set over the card, for a nozzle with one central spray; as of
        `Pipeline`.
    lined_up : str
        The feature that 12 o'clock on the card was lined up with; empty for none.
    """

    layout: Layout | AxialNozzle | None
    limits: LimitSet = field(default_factory=Limits)
    spec: CardSpec = field(default_factory=CardSpec)
    standoff: Standoff | None = None
    aim: str | tuple[float, float] | None = None
    lined_up: str = ""

    @property
    def central(self) -> bool:
        """Whether the nozzle has one central spray."""
        return isinstance(self.layout, AxialNozzle)

    def stages(self) -> dict[str, Any]:
        """Return every stage with its parameters, and the versions of the libraries."""
        return dict(Pipeline().describe())

    @functools.cached_property
    def digest(self) -> bytes:
        """The digest of all this: the same digest and the same photo, the same numbers.

        Empty when nobody knows what the nozzle should spray: nothing can be measured then.
        """
        if self.layout is None:
            return b""
        told = self.stages()
        for package in ("spraycheck", "numpy", "opencv"):
            told.pop(package, None)  # the results version speaks for them
        # What is not given leaves no trace, so that keys of results without it stay.
        if self.standoff is not None:
            told["standoff_mm"] = [self.standoff.height_mm, self.standoff.u_mm]
        if self.central:
            told["aim"] = self.aim
        if self.lined_up:
            told["lined_up"] = self.lined_up
        parts = [FORM, RESULTS_VERSION, plain(asdict(self.layout)), limits_entry(self.limits)]
        parts += [plain(asdict(self.spec)), plain(told)]
        return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).digest()


@dataclass(frozen=True, kw_only=True)
class Task:
    """One photo to score: its path or address, how, and whether to draw it."""

    file: str
    settings: Settings
    pictures: bool


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


def failure(error: Exception, photo: Photo | str = "") -> dict[str, Any]:
    """Return the document of a photo that was not measured; ``file`` is None in it."""
    document = error_document(photo, error)
    document["photo"]["file"] = None
    return document


def hash_file(place: str) -> str:
    """Return the SHA-256 of a file; empty for one that cannot be read or is far too large."""
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
    except Exception:  # every store has exceptions of its own; who measures it will say so
        return ""


def versions() -> tuple[str, int, str, str]:
    """Return what must be the same on every machine of a cluster."""
    import cv2
    import numpy as np

    from spraycheck import __version__

    return __version__, RESULTS_VERSION, np.__version__, cv2.__version__


def _score(task: Task) -> Scored:
    from spraycheck.report.document import result_document

    photo: Photo | str = task.file
    try:
        photo = _read(task.file)
        assessment = _measure(photo, task.settings)
        document = result_document(assessment)
    except (MeasurementError, InputError) as error:
        failed, lasting = failure(error, photo), True
    except Exception as error:
        # Mistakes are mended in later versions: nothing to keep.
        failed, lasting = failure(_internal(error), photo), False
    else:
        small, large = _draw(assessment) if task.pictures else (b"", b"")
        document["photo"]["file"] = None
        return Scored(result=document, sha256=photo.sha256, lasting=True, small=small, large=large)
    # Files of the same content share the result, whatever they are called.
    told = failed["error"]["message"].replace(f"{shown(task.file)}: ", "this file: ")
    failed["error"]["message"] = told
    failed["provenance"] = plain(task.settings.stages())
    if isinstance(photo, str):
        sha256 = hash_file(photo)
        failed["photo"]["sha256"] = sha256 or None
        return Scored(result=failed, sha256=sha256, lasting=lasting and bool(sha256))
    small = _shrink(photo.rgb) if task.pictures else b""
    return Scored(result=failed, sha256=photo.sha256, lasting=lasting, small=small)


def _measure(photo: Photo, how: Settings) -> Result:
    from spraycheck.measuring import measure_photo

    assert how.layout is not None  # only what is known is scored
    # An archive may hold cards of both kinds of nozzle: each takes what it can use.
    return measure_photo(
        photo,
        nozzle=how.layout,
        aim=how.aim if how.central else None,
        sheet=how.spec,
        limits=how.limits,
        standoff=how.standoff,
        lined_up="" if how.central else how.lined_up,
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


def _draw(assessment: Result) -> tuple[bytes, bytes]:
    """Draw both pictures; a drawing that fails costs the drawing, not the result."""
    import numpy as np

    from spraycheck.report.overlay import compose_overlay

    try:
        drawn = compose_overlay(assessment, max_side_px=LARGE_SIDE_PX)
        box = drawn.photo
        part = drawn.image[round(box.top) : round(box.bottom), round(box.left) : round(box.right)]
        return _shrink(np.ascontiguousarray(part)), jpeg_bytes(drawn.image, _LARGE_QUALITY)
    except Exception:
        return b"", b""


def _shrink(rgb: Any) -> bytes:
    # Tall and narrow sheets are held to the same area as a square one.
    return jpeg_bytes(rgb, _SMALL_QUALITY, width_px=SMALL_WIDTH_PX, height_px=SMALL_WIDTH_PX * 1.5)


def jpeg_bytes(
    rgb: Any, quality: int, *, width_px: float = float("inf"), height_px: float = float("inf")
) -> bytes:
    """Encode a picture, shrunk into width and height; empty when that is not possible."""
    import cv2

    height, width = rgb.shape[:2]
    scale = min(1.0, width_px / width, height_px / height)
    if scale < 1:
        size = max(1, round(width * scale)), max(1, round(height * scale))
        rgb = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    good, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    return bytes(data.tobytes()) if good else b""


def _internal(error: Exception) -> RuntimeError:
    last = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(last.filename).name} line {last.lineno}"
    return RuntimeError(f"internal error: {type(error).__name__}: {error} ({place})")
