"""One photo in, one assessment out: the same for the command line, a batch and Python users."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from spraycheck.card.spec import CardSpec, parse_sheet
from spraycheck.errors import InputError
from spraycheck.judge.layout import HOLES, Layout
from spraycheck.judge.limits import LimitSet
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.quality.wicking import SprayTime, parse_spray_time
from spraycheck.judge.result import Result
from spraycheck.judge.standoff import Standoff, parse_standoff
from spraycheck.photo import photo_from_array, read_photo
from spraycheck.photo.containers import Photo

if TYPE_CHECKING:
    from spraycheck.pipeline import Pipeline


def measure_photo(
    photo: str | os.PathLike[str] | NDArray[np.generic] | Photo,
    *,
    holes: int | None = None,
    layout: Layout | None = None,
    nozzle: Layout | AxialNozzle | None = None,
    aim: str | tuple[float, float] | None = None,
    sheet: str | CardSpec | None = None,
    limits: LimitSet | None = None,
    dry: str | os.PathLike[str] | NDArray[np.generic] | Photo | None = None,
    standoff: str | Standoff | None = None,
    sprayed_at: str | SprayTime | None = None,
    lined_up: str = "",
    pipeline: Pipeline | None = None,
) -> Result:
    """Measure one sprayed card and judge it.

    Parameters
    ----------
    photo : path, (H, W, 3) ndarray or Photo
        A photo file, an upright RGB (or grey) array as `photo_from_array` takes, or a `Photo`.
    holes : int
        How many equal, evenly spread holes the nozzle should have, 3 to 16.
    layout : Layout
        The holes the nozzle should have, where they are not even; give this or ``holes``.
    nozzle : Layout or AxialNozzle
        What the nozzle should do: a layout again, or a nozzle that sprays along its own axis
        (pintle or single-hole); give this or one of the other two.
    aim : (float, float) or str
        Where the tip of a nozzle with an axial spray was set over the card: mm right of and below
        the middle of the sheet, or ``centre``. A printed target card has its own.
    sheet : str or CardSpec
        Size of the sheet: ``a4``, ``a5``, ``a6``, ``letter``, ``WIDTHxHEIGHT`` in mm, or a
        `CardSpec`. Without it nothing is given in mm.
    limits : Limits or AxialLimits
        What is tolerated; the defaults when not given.
    dry : path, (H, W, 3) ndarray or Photo
        The same card before spraying; stains and print on it then do not count.
    standoff : str or Standoff
        Height of the tip over the card in mm, for example ``20`` or ``20+-0.5``, measured with the
        lever released and the gauge at zero; adds the angles of the holes.
    sprayed_at : str or SprayTime
        When the card was sprayed, for example ``14:30`` or ``2026-11-03T14:30``; where the photo
        says when it was taken, areas on a card photographed late become less certain.
    lined_up : str
        The feature of nozzle or holder that 12 o'clock on the card was lined up with (a printed
        card's arrow, a plain sheet's top edge): the one that the layout counts from. The turn of
        the whole pattern is then held against its limit.
    pipeline : Pipeline
        The stages; the house's own when not given.

    Returns
    -------
    Result
        Everything measured, and the verdict.

    Raises
    ------
    PhotoError
        The photo cannot be read.
    InputError
        Not one of ``holes``, ``layout`` and ``nozzle``; an impossible hole count, sheet size or
        aim; limits of another kind of nozzle; a feature that the layout does not count from; an
        option that this kind of nozzle cannot have.
    MeasurementError
        The photo was read but shows no card, no spray, or nothing that can be judged.

    Examples
    --------
    >>> measure_photo("card.jpg", holes=4, sheet="a4").verdict.value  # doctest: +SKIP
    'pass'
    >>> from spraycheck import AxialNozzle
    >>> nozzle = AxialNozzle.single_hole()
    >>> measure_photo("card.jpg", nozzle=nozzle, aim="centre").verdict.value  # doctest: +SKIP
    'pass'
    """
    # Options first: a mistake in them should not wait for a photo to be decoded.
    expected = expected_nozzle(holes=holes, layout=layout, nozzle=nozzle)
    _check_options(expected, limits, aim=aim, sprayed_at=sprayed_at, lined_up=lined_up)
    spec = card_spec(sheet)
    height = parse_standoff(standoff) if isinstance(standoff, str) else standoff
    sprayed = parse_spray_time(sprayed_at) if isinstance(sprayed_at, str) else sprayed_at
    seen, before = _both(photo, dry)
    if pipeline is None:
        from spraycheck.pipeline import Pipeline

        pipeline = Pipeline()
    # A pipeline of the caller's own need not know of what is seldom given.
    extra: dict[str, Any] = {"dry": before, "standoff": height, "sprayed": sprayed}
    extra |= {"lined_up": lined_up or None, "aim": aim}
    extra = {name: value for name, value in extra.items() if value is not None}
    return pipeline(seen, spec, nozzle=expected, limits=limits, **extra)


def expected_nozzle(
    *,
    holes: int | None = None,
    layout: Layout | None = None,
    nozzle: Layout | AxialNozzle | None = None,
) -> Layout | AxialNozzle:
    """Return the nozzle to compare with.

    Raises
    ------
    InputError
        None or several were given.
    LayoutError
        Fewer than 3 or more than 16 holes.
    """
    given = {"holes": holes, "layout": layout, "nozzle": nozzle}
    named = [name for name, value in given.items() if value is not None]
    if len(named) != 1:
        found = "both " + " and ".join(named) if named else "neither holes nor layout"
        raise InputError(
            f"{found} given, expected one of them",
            "give the number of spray holes in the nozzle tip, for example holes=4",
        )
    if holes is not None:
        return Layout.evenly_spread(holes)
    expected = layout if nozzle is None else nozzle
    assert expected is not None  # one of them is named
    return expected


def _check_options(
    expected: Layout | AxialNozzle,
    limits: LimitSet | None,
    *,
    aim: object,
    sprayed_at: object,
    lined_up: str,
) -> None:
    """Refuse what does not go with the kind of nozzle."""
    from spraycheck.judge.judge import JUDGED_ON

    wanted = JUDGED_ON[expected.kind]().limits
    if limits is not None and not isinstance(limits, wanted):
        raise InputError(
            f"limits {limits.name!r} are {type(limits).__name__}, expected {wanted.__name__} for "
            f"{expected.name!r}",
            "give limits for this kind of nozzle",
        )
    expected.check_lined_up(lined_up)
    holes = expected.kind == HOLES
    if holes and aim is not None:
        raise InputError(
            f"aim given, but {expected.name!r} has holes, expected a pintle or single-hole nozzle",
            "leave it out: the holes themselves tell where the tip stood",
        )
    if sprayed_at is not None and not holes:
        raise InputError(
            f"sprayed_at given, but {expected.name!r} has an axial spray, expected a nozzle with "
            "holes",
            "leave it out",
        )


def card_spec(sheet: str | CardSpec | None) -> CardSpec:
    """Return what is known of the sheet.

    Raises
    ------
    InputError
        Not a known name or size.
    """
    if isinstance(sheet, CardSpec):
        return sheet
    return CardSpec() if sheet is None else parse_sheet(sheet)


def _both(
    photo: str | os.PathLike[str] | NDArray[np.generic] | Photo,
    dry: str | os.PathLike[str] | NDArray[np.generic] | Photo | None,
) -> tuple[Photo, Photo | None]:
    """Read the photo and, where there is one, that of the dry card."""
    seen = photo if isinstance(photo, Photo) else _photo(photo)
    before = dry if dry is None or isinstance(dry, Photo) else _photo(dry)
    if before is not None and before.sha256 and before.sha256 == seen.sha256:
        raise InputError(
            "the dry photo is the photo of the sprayed card itself",
            "give the photo taken before spraying",
        )
    return seen, before


def _photo(photo: str | os.PathLike[str] | NDArray[np.generic]) -> Photo:
    if isinstance(photo, str | os.PathLike):
        return read_photo(photo)
    if isinstance(photo, np.ndarray):
        return photo_from_array(photo)
    raise InputError(
        f"photo of type {type(photo).__name__}, expected a path, an RGB array or a Photo"
    )
