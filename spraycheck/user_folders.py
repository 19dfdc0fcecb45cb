"""The user's own folders, where the system keeps settings and data; nothing is made here."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

_NAME: Final = "spraycheck"


def settings_folder(environ: Mapping[str, str] | None = None) -> Path:
    """Return where what the user sets up lies.

    Parameters
    ----------
    environ : mapping, optional
        The environment; that of the process when not given.

    Notes
    -----
    ``XDG_CONFIG_HOME`` or ``~/.config`` (XDG base directory specification), on Windows
    ``%APPDATA%``, on a Mac ``~/Library/Application Support``.
    """
    return _own(environ, "APPDATA", "Roaming", "XDG_CONFIG_HOME", ".config")


def data_folder(environ: Mapping[str, str] | None = None) -> Path:
    """Return where what the program keeps for the user lies.

    Parameters
    ----------
    environ : mapping, optional
        The environment; that of the process when not given.

    Notes
    -----
    ``XDG_DATA_HOME`` or ``~/.local/share``, on Windows ``%LOCALAPPDATA%``, on a Mac as settings.
    """
    return _own(environ, "LOCALAPPDATA", "Local", "XDG_DATA_HOME", ".local/share")


def _own(
    environ: Mapping[str, str] | None, windows: str, beside: str, xdg: str, hidden: str
) -> Path:
    environ = os.environ if environ is None else environ
    home = Path(environ.get("HOME") or os.path.expanduser("~"))
    if sys.platform == "darwin":
        return home / "Library" / "Application Support" / _NAME
    if sys.platform == "win32":
        return Path(environ.get(windows) or home / "AppData" / beside) / _NAME
    named = environ.get(xdg, "")
    # The specification has a relative path ignored: it would mean another place in every folder.
    return (Path(named) if os.path.isabs(named) else home / hidden) / _NAME
