"""Showing a picture: with the system's own viewer where there is one."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path


def show_picture(path: Path) -> bool:
    """Open a picture with the system's viewer, without waiting for it.

    Returns
    -------
    bool
        Whether there was a viewer to start; a screen that shows nothing cannot be told apart.
    """
    command = viewer_command()
    try:
        if sys.platform == "win32":
            os.startfile(path)
        elif command:
            subprocess.Popen(
                [*command, str(path)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
        else:
            return False
    except OSError:
        return False
    return True


def viewer_command() -> list[str]:
    """Return what opens a picture here; empty where nothing can (no screen, no viewer)."""
    if sys.platform == "darwin":
        return ["open"]
    if sys.platform == "win32":
        return ["start"]
    screen = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    return ["xdg-open"] if screen and shutil.which("xdg-open") else []
