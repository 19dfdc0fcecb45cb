from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from spraycheck.batch.expectations import Expectations, PhotoOptions
from spraycheck.card.target import make_label
from spraycheck.cli.main import main
from spraycheck.errors import InputError, MeasurementError
from spraycheck.nozzles.card_codes import names_printed, nozzle_printed
from spraycheck.nozzles.model import Nozzle
from spraycheck.nozzles.nozzle_library import Library, open_library
from spraycheck.photo import photo_from_array
from spraycheck.report.card_page import compose_card
from spraycheck.report.card_png import card_picture

DPI = 100


@functools.cache
def picture(nozzle: str) -> NDArray[np.uint8]:
    """A printed card lying on a darker bench, a little turned."""
    import cv2

    grey = card_picture(compose_card(make_label("a5", nozzle=nozzle)), DPI)
    padded = np.pad(grey, 120, constant_values=90)
    height, width = padded.shape
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), 12, 1)
    turned = cv2.warpAffine(padded, turn, (width, height), borderValue=90)
    return np.repeat(np.asarray(turned, np.uint8)[..., None], 3, axis=2)


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Library:
    folder = tmp_path / "nozzles"
    folder.mkdir()
    (folder / "Lorry a.toml").write_text('name = "mine"\nholes = 5\n')
    monkeypatch.setenv("SPRAYCHECK_NOZZLES", str(folder))
    return open_library()


def save(folder: Path, name: str, rgb: NDArray[np.uint8]) -> str:
    path = folder / name
    Image.fromarray(rgb).save(path)
    return str(path)


def test_the_code_names_the_nozzle(library: Library) -> None:
    photo = photo_from_array(picture("Lorry A"))
    assert names_printed(photo) == {"LORRY A"}
    nozzle = nozzle_printed(photo, library)
    assert nozzle is not None
    assert (nozzle.name, len(nozzle.layout)) == ("mine", 5)


def test_no_name_and_no_card(library: Library) -> None:
    assert nozzle_printed(photo_from_array(picture("")), library) is None
    assert nozzle_printed(photo_from_array(np.full((600, 400, 3), 200, np.uint8)), library) is None


def test_two_names_and_an_unknown_one_are_refused(library: Library) -> None:
    both = np.concatenate([picture("Lorry A"), picture("even-4")], axis=1)
    with pytest.raises(InputError, match=r"name 2 nozzles \(EVEN-4, LORRY A\), expected one"):
        nozzle_printed(photo_from_array(both), library)
    with pytest.raises(InputError, match="did you mean Lorry a"):
        nozzle_printed(photo_from_array(picture("Lory A")), library)
    with pytest.raises(InputError, match="is no name"):
        nozzle_printed(photo_from_array(picture("../lorry a")), library)


def test_measure_asks_the_card_only_where_no_option_says(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[int] = []

    def measure(photo: Any, *, nozzle: Any, **_: Any) -> Any:
        seen.append(len(nozzle))
        raise MeasurementError("no spray", stage="wetness", hint="spray it")

    monkeypatch.setattr("spraycheck.measuring.measure_photo", measure)
    card = save(tmp_path, "card.png", picture("Lorry A"))
    plain = save(tmp_path, "plain.png", picture(""))
    assert main(["measure", card]) == 3
    assert main(["measure", card, "--holes", "7"]) == 3
    assert main(["measure", plain]) == 2
    assert seen == [5, 7]


def test_batch_asks_the_card_last(library: Library, tmp_path: Path) -> None:
    card = save(tmp_path, "card.png", picture("Lorry A"))
    wrong = save(tmp_path, "wrong.png", picture("Lory A"))
    (tmp_path / "text.png").write_text("no photo")
    asking = Expectations(PhotoOptions(cabinet=library))
    found = asking.of(card)
    assert found.settings.layout is not None
    assert (len(found.settings.layout), found.source) == (5, "card")
    assert asking.of(card) is found
    assert "did you mean Lorry a" in str(asking.of(wrong).problem)
    assert "nobody says how many holes" in str(asking.of(str(tmp_path / "text.png")).problem)
    told = Expectations(PhotoOptions(cabinet=library, nozzle=Nozzle.evenly_spread(4))).of(card)
    assert told.source == "option"
