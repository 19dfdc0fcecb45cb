"""Where a page goes that is to be written, and writing it."""

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


def write_file(path: Path, data: bytes, what: str) -> None:
    """Write a file.

    Parameters
    ----------
    path : Path
        Where to; a file of that name is written over.
    data : bytes
        What it holds.
    what : str
        What it is, for messages.

    Raises
    ------
    InputError
        It cannot be written.
    """
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(
            f"{what} {str(path)!r} cannot be written ({error.strerror or error}), expected room "
            "and permission to write",
            "choose another place",
        ) from None
