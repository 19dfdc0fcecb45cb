"""Where a page goes that is to be written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from spraycheck.errors import InputError


def target_file(text: str, what: str, suffixes: Sequence[str]) -> Path:
    """Check the name of a file before any work is done for it.

    Parameters
    ----------
    text : str
        As the option says. A file of that name is written over.
    what : str
        What it will be, for messages.
    suffixes : sequence of str
        Endings it may have, capitals apart.

    Raises
    ------
    InputError
        Another ending, or a folder that does not exist.
    """
    path = Path(text)
    if path.suffix.lower() not in suffixes:
        raise InputError(
            f"{what} {text!r} ends in {path.suffix!r}, expected {' or '.join(suffixes)}",
            f"for example --out {what}{suffixes[0]}",
        )
    if not path.parent.is_dir():
        raise InputError(
            f"there is no folder {str(path.parent)!r} for the {what}, expected one that exists",
            "make the folder first",
        )
    return path
