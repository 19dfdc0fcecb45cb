"""The atlas as one HTML file: pictures, style and text inside, no script, no network."""

from __future__ import annotations

import functools
from importlib import resources
from typing import TYPE_CHECKING

from spraycheck.pattern.findings import AID, CAUTION
from spraycheck.report.atlas import (
    ABOUT,
    AGREEMENT,
    COLUMNS,
    HOW_TO_READ,
    KIND_IN_WORDS,
    TITLE,
    Atlas,
)
from spraycheck.report.contact_sheet import data_address

if TYPE_CHECKING:
    from jinja2 import Template

_MARK = {"agrees": "✓", "undecided": "?", "differs": "≠"}


def atlas_html(atlas: Atlas) -> str:
    """Write the atlas.

    Parameters
    ----------
    atlas : Atlas
        The pages.

    Returns
    -------
    str
        One HTML document; it needs no other file.
    """
    return _template().render(
        title=TITLE,
        about=ABOUT,
        how=HOW_TO_READ,
        columns=COLUMNS,
        atlas=atlas,
        kinds=KIND_IN_WORDS,
        marks=_MARK,
        agreement=AGREEMENT,
        address=data_address,
        caution=CAUTION,
        aid=AID,
        style=_text("style.css"),
    )


@functools.cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(_text("page.html"))


def _text(name: str) -> str:
    return resources.files("spraycheck.report.atlas").joinpath(name).read_text("utf-8")
