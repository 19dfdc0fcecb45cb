"""Checks of how mistakes are told: in one line, with what to try, and nothing else done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from spraycheck.cli.main import main
from spraycheck.errors import LayoutError


def check_refused(
    arguments: Sequence[str],
    said: str,
    capsys: pytest.CaptureFixture[str],
) -> str:
    """Run a command that must end in one line of stderr which holds ``said``; return the line."""
    assert main(list(arguments)) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.endswith("\n")
    assert told.err.count("\n") == 1, told.err
    assert "Traceback" not in told.err
    assert said in told.err
    return told.err


def check_file_refused(
    read: Callable[[Path], Any], path: Path, what: str, line: int, said: str
) -> None:
    """Read a file that must be refused: a mistake on this line, what was expected, what to try."""
    with pytest.raises(LayoutError) as caught:
        read(path)
    assert any(
        one.startswith(f"{what} '{path}', line {line}: ") and said in one
        for one in caught.value.lines
    ), caught.value.lines
    assert caught.value.hint
    for message in (str(caught.value), *caught.value.lines):
        assert ", expected " in message
        assert "\n" not in message
