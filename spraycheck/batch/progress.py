"""Telling how far a batch is: a bar on a terminal, a plain line now and then elsewhere."""

from __future__ import annotations

import sys
import time
from collections import Counter, deque
from collections.abc import Callable
from typing import IO, Any, Final, Protocol

from spraycheck.batch.scheduler import Step

LINE_S: Final = 30.0
"""Seconds between plain lines: few enough for a log of a night, often enough to see it live."""

WINDOW_S: Final = 120.0
"""The rate is that of the last two minutes: it follows a change of photos, yet does not flicker."""

WORDS: Final = {
    "pass": "pass",
    "fail": "fail",
    "recheck": "recheck",
    "failed": "not measured",
    "not-reached": "not reached",
}
"""What came of a photo, in the words a person reads."""


class Watcher(Protocol):
    """What is told while a batch runs."""

    def begin(self, total: int) -> None:
        """Photos were found."""

    def step(self, step: Step) -> None:
        """A photo is finished."""

    def say(self, text: str) -> None:
        """A line for the person."""

    def end(self) -> None:
        """The run is over."""


class Tally:
    """Counts, rate and time left.

    Parameters
    ----------
    clock : callable
        Seconds that only go forward.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.total = 0
        self.counts: Counter[str] = Counter()
        self.kept = 0
        self._clock = clock
        self._recent: deque[tuple[float, int]] = deque()  # seconds, photos measured until then

    def begin(self, total: int) -> None:
        """Start counting."""
        self.total = total
        self._recent.append((self._clock(), 0))

    def step(self, step: Step) -> None:
        """Count a photo."""
        self.counts[step.code] += 1
        self.kept += step.kept
        now = self._clock()
        # One entry a second is enough for a rate and keeps the list short at any speed.
        if now - self._recent[-1][0] >= 1.0 or len(self._recent) == 1:
            self._recent.append((now, self._measured))
        while len(self._recent) > 2 and now - self._recent[0][0] > WINDOW_S:
            self._recent.popleft()

    @property
    def done(self) -> int:
        """Photos finished."""
        return self.counts.total()

    @property
    def _measured(self) -> int:
        return self.done - self.kept

    @property
    def rate(self) -> float:
        """Photos measured a second; 0 while unknown."""
        began, before = self._recent[0]
        passed = self._clock() - began
        return (self._measured - before) / passed if passed > 0 else 0.0

    @property
    def left_s(self) -> float | None:
        """Seconds left when all that is left must be measured; None while unknown."""
        return (self.total - self.done) / self.rate if self.rate > 0 else None

    def text(self) -> str:
        """Return everything in one line."""
        parts = [f"{self.done} of {self.total}", f"{self.rate:.1f} photos/s"]
        if self.left_s is not None and self.done < self.total:
            parts.append(f"{duration(self.left_s)} left")
        parts += [
            f"{word} {self.counts[code]}" for code, word in WORDS.items() if self.counts[code]
        ]
        if self.kept:
            parts.append(f"{self.kept} taken over")
        return ", ".join(parts)


class PlainProgress:
    """Plain lines, for logs and pipes."""

    def __init__(self, stream: IO[str] | None = None, *, every_s: float = LINE_S) -> None:
        self._stream = stream or sys.stderr
        self._every = every_s
        self.tally = Tally()
        self._told = time.monotonic()

    def begin(self, total: int) -> None:
        """Photos were found."""
        self.tally.begin(total)
        self._told = time.monotonic()

    def step(self, step: Step) -> None:
        """Count, and tell now and then."""
        self.tally.step(step)
        now = time.monotonic()
        if now - self._told >= self._every:
            self._told = now
            self.say(self.tally.text())

    def say(self, text: str) -> None:
        """Write a line."""
        print(f"spraycheck: {' '.join(text.split())}", file=self._stream, flush=True)

    def end(self) -> None:
        """Write the last line."""
        if self.tally.done:
            self.say(self.tally.text())


class TerminalProgress(PlainProgress):
    """A bar with rate and time left."""

    def __init__(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn

        super().__init__()
        self._console = Console(stderr=True, highlight=False, markup=False, emoji=False)
        self._bar = Progress(
            BarColumn(bar_width=24),
            TextColumn("{task.fields[told]}", markup=False),
            console=self._console,
            refresh_per_second=4,
            transient=True,
        )
        self._task: Any = None

    def begin(self, total: int) -> None:
        """Show the bar."""
        super().begin(total)
        self._task = self._bar.add_task("", total=total or 1, told="starting")
        self._bar.start()

    def step(self, step: Step) -> None:
        """Move the bar."""
        self.tally.step(step)
        self._bar.update(self._task, completed=self.tally.done, told=self.tally.text())

    def say(self, text: str) -> None:
        """Write a line above the bar."""
        self._console.print(f"spraycheck: {' '.join(text.split())}", soft_wrap=True)

    def end(self) -> None:
        """Take the bar away and leave the last line."""
        self._bar.stop()
        super().end()


def duration(seconds: float) -> str:
    """Say a duration in words no longer than needed."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 90:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours < 48 else f"{hours / 24:.1f} days"
