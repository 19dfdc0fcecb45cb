"""Noticing early that a whole batch fails for one reason, before the night is over."""

from __future__ import annotations

import re
from typing import Any


class FirstFailures:
    """Looks at the first photos and tells when all of them failed the same way.

    Parameters
    ----------
    count : int
        How many; 0 looks at none.
    """

    def __init__(self, count: int) -> None:
        self.count = count
        self.alike = ""
        """What they all failed with; empty while that is not so."""
        self._kinds: dict[int, str] = {}
        self._over = count == 0

    def wants(self, index: int) -> bool:
        """Tell whether the result of this photo is worth noting."""
        return not self._over and index < self.count

    def note(self, index: int, result: dict[str, Any]) -> None:
        """Take down how one of the first photos went."""
        error = result.get("error")
        kind = kind_of(error) if error else ""
        self._kinds[index] = kind
        if not kind or len(set(self._kinds.values())) > 1:
            self._over = True
        elif len(self._kinds) == self.count:
            self._over = True
            self.alike = f"{error['message']}; {error['hint']}"  # type: ignore[index]


def kind_of(error: dict[str, str]) -> str:
    """Return a failure without what differs from photo to photo: names and numbers."""
    text = re.sub(r"'[^']*'", "", error["message"])
    text = re.sub(r"\d+(?:[.,]\d+)?", "#", text)
    return f"{error['stage']}: {' '.join(text.split())}"
