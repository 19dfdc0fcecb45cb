"""What every command says and how: messages on stderr, and how a report suits the terminal."""

from __future__ import annotations

import os
import sys
from typing import Final, TypedDict

from spraycheck.errors import LayoutError, MeasurementError

TRACEBACK: Final = "SPRAYCHECK_TRACEBACK"
"""Environment variable that lets a mistake in the program through, with everything about it."""


class Look(TypedDict):
    """How a report suits the terminal: keywords of the report functions."""

    colour: bool
    width: int
    ascii_only: bool


def look() -> Look:
    """Return how a report suits stdout."""
    import shutil

    return {
        "colour": sys.stdout.isatty() and "NO_COLOR" not in os.environ,
        "width": shutil.get_terminal_size((100, 24)).columns,
        "ascii_only": not (sys.stdout.encoding or "ascii").lower().startswith("utf"),
    }


def complain(message: str, *, who: str = "spraycheck") -> None:
    """Write one line to stderr."""
    print(f"{who}: {' '.join(message.split())}", file=sys.stderr, flush=True)


def complain_of(error: Exception, *, before: str = "", after: str = "") -> None:
    """Write what happened and what to try to stderr: one line, or one for each mistake in a file.

    Parameters
    ----------
    error : Exception
        What was raised.
    before, after : str
        Words around each line.
    """
    for line in error.lines if isinstance(error, LayoutError) else (describe(error),):
        complain(f"{before}{line}{after}")


def describe(error: Exception) -> str:
    """Return what happened and what to try, as one line."""
    hint = error.hint if isinstance(error, MeasurementError) else ""
    return f"{error}; {hint}" if hint else str(error)


def in_the_program(error: Exception) -> RuntimeError:
    """Say in one line what went wrong in the program, and where."""
    import traceback

    last = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{os.path.basename(last.filename)} line {last.lineno}"
    return RuntimeError(f"internal error: {type(error).__name__}: {error} ({place})")


def quiet_pillow() -> None:
    """Keep what Pillow logs off stderr: it logs whatever it finds odd in a damaged file."""
    import logging

    logging.getLogger("PIL").addHandler(logging.NullHandler())
