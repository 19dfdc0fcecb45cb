"""Where a page goes that is to be written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from spraycheck.errors import InputError


def target_file(
    text: str, what: str, suffixes: Sequence[str], *, expected: str = "", hint: str = ""
) -> Path:
    """Check the name of a file before any work is done for it.

    Parameters
    ----------
    text : str
        As the option says. A file of that name is written over.
    what : str
        What it will be, for messages.
    suffixes : sequence of str
        Endings it may have, capitals apart.
    expected : str
        The endings in words; each of them when not given.
    hint : str
        What to try after another ending; an example for ``--out`` when not given.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        Another ending, or a folder that does not exist.
    """
    path = Path(text)
    if path.suffix.lower() not in suffixes:
        endings = expected or " or ".join(suffixes)
        raise InputError(
            f"{what} {text!r} ends in {path.suffix!r}, expected {endings}",
            hint or f"for example --out {what}{suffixes[0]}",
        )
    if not path.parent.is_dir():
        raise InputError(
            f"there is no folder {str(path.parent)!r} for the {what}, expected one that exists",
            "make the folder first",
        )
    return path
