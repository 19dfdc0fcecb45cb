"""How far a batch is, told on a terminal and elsewhere."""

from __future__ import annotations

import io

import pytest

from spraycheck.batch.progress import PlainProgress, Tally, TerminalProgress, duration
from spraycheck.batch.scheduler import Step


def step(code: str = "pass", *, kept: bool = False) -> Step:
    return Step(index=0, code=code, kept=kept)


class Clock:
    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def test_rate_and_time_left() -> None:
    clock = Clock()
    tally = Tally(clock)
    tally.begin(100)
    assert tally.left_s is None
    for _ in range(10):
        tally.step(step(kept=True))  # taken over at once: says nothing of the rate
    for _ in range(20):
        clock.now += 2.0
        tally.step(step("fail"))
    assert tally.rate == pytest.approx(0.5)
    assert tally.left_s == pytest.approx(140.0)
    assert tally.text() == ("30 of 100, 0.5 photos/s, 2 min left, pass 10, fail 20, 10 taken over")


def test_rate_follows_a_change() -> None:
    clock = Clock()
    tally = Tally(clock)
    tally.begin(10_000)
    for pause in (0.1, 4.0):
        for _ in range(200):
            clock.now += pause
            tally.step(step())
    assert tally.rate == pytest.approx(0.25, rel=0.05)
    assert len(tally._recent) < 130  # however many photos


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(3, "3 s"), (89, "89 s"), (90, "2 min"), (3600, "60 min"), (7000, "1 h 57 min"),
     (300_000, "3.5 days")],
)  # fmt: skip
def test_durations(seconds: float, words: str) -> None:
    assert duration(seconds) == words


def test_plain_lines() -> None:
    out = io.StringIO()
    progress = PlainProgress(out, every_s=0.0)
    progress.begin(2)
    progress.step(step())
    progress.say("two\nlines")
    progress.step(step("failed"))
    progress.end()
    lines = out.getvalue().splitlines()
    assert lines[1] == "spraycheck: two lines"
    assert lines[0].startswith("spraycheck: 1 of 2, ")
    assert lines[-1].endswith("pass 1, not measured 1")
    assert all(line.startswith("spraycheck: ") for line in lines)


def test_plain_lines_are_few() -> None:
    out = io.StringIO()
    progress = PlainProgress(out)
    progress.begin(5000)
    for _ in range(5000):
        progress.step(step())
    progress.end()
    assert len(out.getvalue().splitlines()) == 1


def test_terminal(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")
    progress = TerminalProgress()
    progress.begin(3)
    progress.step(step())
    progress.say("a name with [red]brackets[/red]")
    progress.step(step("fail"))
    progress.end()
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "2 of 3" in shown.err
    assert "[red]brackets[/red]" in shown.err
