"""The pages of the atlas, as ``lessons.toml`` beside this module lists them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from enum import StrEnum
from importlib import resources
from typing import Any, Final

import msgspec

from spraycheck.report.words.findings import KINDS
from spraycheck.report.words.photos import PHOTO_ADVICE
from spraycheck.train.lessons.card_request import CardRequest


class LessonKind(StrEnum):
    """What a page shows; a look-alike looks wrong, but is no fault of the nozzle."""

    GOOD = "good"
    FAULT = "fault"
    LOOK_ALIKE = "look-alike"


_DEFAULTS: Final = {"sheet": "200x200", "megapixels": 2.0}


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One page.

    Parameters
    ----------
    group, title : str
        Heading of several pages, and of this one.
    kind : LessonKind
        What sort of page.
    request : CardRequest
        What is drawn.
    see : str
        What to see, in plain words.
    causes, steps : tuple of str
        What it may come from, and what to do next.
    """

    group: str
    title: str
    kind: LessonKind
    request: CardRequest
    see: str
    causes: tuple[str, ...]
    steps: tuple[str, ...]


class _Page(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A page as listed; what its group says stands for what it leaves out."""

    title: str
    see: str
    findings: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    advice: str = ""
    request: dict[str, Any] = {}


class _Group(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Pages about one thing."""

    title: str
    page: tuple[_Page, ...]
    kind: LessonKind = LessonKind.FAULT
    findings: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    request: dict[str, Any] = {}


class _Listed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole list."""

    group: tuple[_Group, ...]


def lessons(seed: int = 1) -> tuple[Lesson, ...]:
    """Return the pages in reading order.

    Parameters
    ----------
    seed : int
        Another seed draws other cards of the same kinds.
    """
    text = resources.files(__package__).joinpath("lessons.toml").read_text("utf-8")
    listed = msgspec.convert(tomllib.loads(text), _Listed)
    pages = [_lesson(group, page) for group in listed.group for page in group.page]
    # Added, so that pages that show the same nozzle still do.
    return tuple(
        replace(page, request=replace(page.request, seed=page.request.seed + 1000 * (seed - 1)))
        for page in pages
    )


def _lesson(group: _Group, page: _Page) -> Lesson:
    """Make a page; causes and steps come from the catalogue of findings where codes are given."""
    known = [KINDS[code] for code in page.findings or group.findings]
    advice = (PHOTO_ADVICE[page.advice],) if page.advice else ()
    return Lesson(
        group=group.title,
        title=page.title,
        kind=group.kind,
        request=CardRequest(**_tuples({**_DEFAULTS, **group.request, **page.request})),
        see=page.see,
        causes=page.causes
        or group.causes
        or tuple(dict.fromkeys(cause for one in known for cause in one.causes)),
        steps=page.steps
        or advice
        or group.steps
        or tuple(dict.fromkeys(one.next_step for one in known)),
    )


def _tuples(value: Any) -> Any:
    """Return lists as tuples, however deep."""
    if isinstance(value, dict):
        return {name: _tuples(one) for name, one in value.items()}
    return tuple(map(_tuples, value)) if isinstance(value, list) else value
