"""``spraycheck.toml``: what a folder's photos show, written once and left in the folder.

```toml
holes = 4                  # or: layout = "nozzle.toml", a path from this folder
sheet = "a4"               # optional
nozzle = "lorry A"         # optional: a name to sort by; without holes and layout, a nozzle file's
injector = "cyl 1"         # optional: to follow one injector over time
```

It holds for the folder and everything below, until a folder below has a file of its own.
"""

from __future__ import annotations

import os
import tomllib
from typing import Final

import msgspec

from spraycheck.errors import InputError
from spraycheck.photo.files import shown

FOLDER_FILE: Final = "spraycheck.toml"


class FolderFile(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """The keys of the file; empty or None when not stated."""

    holes: int | None = None
    layout: str = ""
    sheet: str = ""
    nozzle: str = ""
    injector: str = ""


def read_folder_file(folder: str) -> FolderFile | None:
    """Read a folder's file; None when it has none.

    Raises
    ------
    InputError
        Not to be read or understood.
    """
    path = os.path.join(folder, FOLDER_FILE)
    try:
        with open(path, "rb") as file:
            data = tomllib.load(file)
        told = msgspec.convert(data, FolderFile)
    except FileNotFoundError:
        return None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, msgspec.ValidationError) as error:
        raise InputError(
            f"{shown(path)}: {error}, expected for example: holes = 4", "correct the file"
        ) from None
    except OSError as error:
        raise InputError(
            f"{shown(path)} cannot be read ({error.strerror})", "check its permissions"
        ) from None
    if told.holes is not None and told.layout:
        raise InputError(f"{shown(path)}: both holes and layout given", "take one of them out")
    return told
