from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from photo_files import encode, exif, scene
from report_factory import make_result

from spraycheck import measure_photo
from spraycheck.card.spec import CardSpec
from spraycheck.errors import InputError, LayoutError, PhotoError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits


class Spy:
    """In the place of a Pipeline: keeps what it was given."""

    def __call__(self, photo: Any, spec: Any, *, nozzle: Any, limits: Any) -> Any:
        self.photo, self.spec, self.nozzle, self.limits = photo, spec, nozzle, limits
        return make_result()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "card.png"
    file.write_bytes(encode(scene(), "png", exif(1)))
    return file


def test_a_path_an_array_and_a_photo_are_the_same_picture(path: Path) -> None:
    seen = []
    for photo in (path, str(path), scene()):
        spy = Spy()
        measure_photo(photo, holes=4, pipeline=spy)  # type: ignore[arg-type]
        seen.append(spy.photo)
    spy = Spy()
    measure_photo(seen[0], holes=4, pipeline=spy)  # type: ignore[arg-type]
    assert spy.photo is seen[0]
    for photo in seen:
        assert (photo.rgb == scene()).all()


def test_what_was_expected_is_passed_on() -> None:
    spy, limits = Spy(), Limits(direction_deg=3.0)
    layout = Layout(name="x", azimuth_deg=(0.0, 100.0, 200.0))
    measure_photo(scene(), layout=layout, sheet="a5", limits=limits, pipeline=spy)  # type: ignore[arg-type]
    assert spy.nozzle is layout
    assert spy.limits is limits
    assert (spy.spec.width_mm, spy.spec.height_mm) == (148.0, 210.0)
    spec = CardSpec(width_mm=100.0, height_mm=150.0, name="own")
    measure_photo(scene(), holes=5, sheet=spec, pipeline=spy)  # type: ignore[arg-type]
    assert spy.spec is spec
    assert spy.nozzle == Layout.evenly_spread(5)
    measure_photo(scene(), holes=5, pipeline=spy)  # type: ignore[arg-type]
    assert not spy.spec.size_known


def test_options_that_cannot_be(path: Path) -> None:
    layout = Layout.evenly_spread(4)
    with pytest.raises(InputError, match="neither holes nor layout"):
        measure_photo(path)
    with pytest.raises(InputError, match="both holes and layout"):
        measure_photo(path, holes=4, layout=layout)
    for holes in (0, -1, 2, 17, 40, 4.0, True, "4"):
        with pytest.raises(LayoutError, match="expected"):
            measure_photo(path, holes=holes)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="not understood"):
        measure_photo(path, holes=4, sheet="a99")
    with pytest.raises(InputError, match="photo of type list"):
        measure_photo([[1, 2], [3, 4]], holes=4)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="photo of type bytes"):
        measure_photo(b"card.jpg", holes=4)  # type: ignore[arg-type]


def test_options_are_checked_before_the_photo_is_read() -> None:
    with pytest.raises(LayoutError):
        measure_photo("no such file.jpg", holes=40)
    with pytest.raises(PhotoError, match="not found"):
        measure_photo("no such file.jpg", holes=4)
    with pytest.raises(PhotoError, match="small"):
        measure_photo(np.zeros((9, 9, 3), np.uint8), holes=4)
