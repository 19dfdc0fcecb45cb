"""The loop that has every photo scored once.

Photos are hashed first, a few ahead and in order. What the journal knows under its key is taken
over, a second photo of the same content waits for the first, and the rest is scored; each result
is in the journal before the next look. Work lost with a dead process is tried again one by one, so
that only the photo that kills processes fails.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Generator, Iterable, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    CancelledError,
    Future,
    ThreadPoolExecutor,
    wait,
)
from dataclasses import dataclass, field
from typing import Any, Final

from spraycheck.batch.engines import Engine
from spraycheck.batch.expectations import Expected
from spraycheck.batch.files import Pictures
from spraycheck.batch.journal import Entry, Journal, place_key, result_key
from spraycheck.batch.scoring import Scored, Task, failure, hash_file, score
from spraycheck.errors import InputError, MeasurementError

HASH_AHEAD: Final = 32
"""Photos hashed ahead of their turn: some seconds of work for the processes, at any size."""

HASH_THREADS: Final = 4
"""Photos hashed at the same time: a store on a network answers slowly, but many at once."""

LOOK_S: Final = 0.5
"""Longest wait before looking whether to stop."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """What happened to one photo, for the progress display.

    ``kept`` tells that nothing was measured: the journal had it, or another photo of the same
    content.
    """

    index: int
    code: str
    kept: bool


@dataclass(kw_only=True)
class Work:
    """Everything one run needs.

    Parameters
    ----------
    paths : sequence of str
        Photos in the order of the outcome.
    expected : callable
        From a path to what it should show.
    journal : Journal
        Where results go.
    engine : Engine
        Who does the work.
    pictures : Pictures or None
        Where pictures go; None when none are wanted.
    missing : dict of str to InputError
        Photos that are known not to be readable, and why.
    """

    paths: Sequence[str]
    expected: Callable[[str], Expected]
    journal: Journal
    engine: Engine
    pictures: Pictures | None = None
    missing: dict[str, InputError] = field(default_factory=dict)


@dataclass(kw_only=True)
class Done:
    """What a run reached.

    Parameters
    ----------
    keys : list of bytes or None
        Per photo the key of its result in the journal; None when it was not reached.
    sha256 : list of bytes
        Per photo the hash of its content; empty when it could not be read.
    stopped : str
        Why the run ended early: empty, ``asked`` or ``alike``.
    alike : str
        What the first photos all failed with.
    """

    keys: list[bytes | None]
    sha256: list[bytes]
    stopped: str = ""
    alike: str = ""


def run(
    work: Work,
    *,
    tell: Callable[[Step], None],
    stop: Callable[[], bool] = lambda: False,
    patience: int | None = 50,
) -> Done:
    """Have every photo scored.

    Parameters
    ----------
    work : Work
        What to do.
    tell : callable
        Called for each photo when it is finished.
    stop : callable
        Asked now and then; when it says True, what is under way is finished and the run ends.
    patience : int, optional
        The run ends early when this many photos at the beginning all fail the same way; None
        never.

    Raises
    ------
    InputError
        The journal cannot be written, or a cluster has gone; what was finished is kept.
    """
    return _Run(work, tell, patience).go(stop)


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
        self._seen: set[int] = set()
        self._kind = ""

    def wants(self, index: int) -> bool:
        """Tell whether the result of this photo is worth noting."""
        return index < self.count

    def note(self, index: int, result: dict[str, Any]) -> None:
        """Take down how one of the first photos went."""
        error = result.get("error")
        if not error or self._kind not in ("", kind_of(error)):
            self.count = 0  # nothing more to find out
            return
        self._kind = kind_of(error)
        self._seen.add(index)
        if len(self._seen) == self.count:
            self.alike = f"{error['message']}; {error['hint']}"


def kind_of(error: dict[str, str]) -> str:
    """Return a failure without what differs from photo to photo: names and numbers."""
    text = re.sub(r"'[^']*'", "", error["message"])
    text = re.sub(r"\d+(?:[.,]\d+)?", "#", text)
    return f"{error['stage']}: {' '.join(text.split())}"


@dataclass(eq=False, kw_only=True)
class _Piece:
    """One photo to score; ``tries`` counts how often its process died."""

    index: int
    task: Task
    key: bytes
    tries: int = 0


class _Run:
    def __init__(self, work: Work, tell: Callable[[Step], None], patience: int | None) -> None:
        self.work = work
        self.tell = tell
        count = len(work.paths)
        self.done = Done(keys=[None] * count, sha256=[b""] * count)
        self.first = FirstFailures(patience if patience and count >= patience else 0)
        self.hashes = _hashes(work.paths, work.missing)
        self.planned = 0  # photos looked at
        self.to_score: deque[_Piece] = deque()
        self.suspects: deque[_Piece] = deque()  # to be scored with nothing else in hand
        self.running: dict[Future[Scored], _Piece] = {}
        self.waiting: dict[bytes, list[int]] = {}  # photos by the key that is being scored

    def go(self, stop: Callable[[], bool]) -> Done:
        try:
            while not self.first.alike:
                if stop():
                    self.done.stopped = "asked"
                    break
                if finished := [future for future in self.running if future.done()]:
                    self._store(finished)
                elif not self._hand_over():
                    if not self.running:
                        return self.done
                    wait(self.running, timeout=LOOK_S, return_when=FIRST_COMPLETED)
        finally:
            for future in self.running:
                future.cancel()
            self.hashes.close()
            self.work.engine.close()
        if self.done.stopped == "asked":
            self._store([f for f in self.running if f.done() and not f.cancelled()])
        else:
            self._forget_the_rest()
        return self.done

    def _forget_the_rest(self) -> None:
        """Leave the outcome independent of what other processes had in hand."""
        self.done.stopped, self.done.alike = "alike", self.first.alike
        for index in range(self.first.count, len(self.done.keys)):
            self.done.keys[index] = None

    # -- handing over ---------------------------------------------------------------------------

    def _hand_over(self) -> bool:
        """Look at the next photo, or start scoring one; False when there is nothing to do now."""
        if self.suspects or any(piece.tries for piece in self.running.values()):
            if self.running:
                return False
            self._submit(self.suspects.popleft())
        elif len(self.running) >= self.work.engine.slots:
            return False
        elif self.to_score:
            self._submit(self.to_score.popleft())
        elif (sha256 := next(self.hashes, None)) is not None:
            self.planned += 1
            self._plan(self.planned - 1, sha256)
        else:
            return False
        return True

    def _submit(self, piece: _Piece) -> None:
        self.running[self.work.engine.submit(score, piece.task)] = piece

    def _plan(self, index: int, sha256: str) -> None:
        """Take a photo over from the journal, let it wait for its double, or have it scored."""
        work, path = self.work, self.work.paths[index]
        self.done.sha256[index] = bytes.fromhex(sha256)
        expected = work.expected(path)
        if problem := work.missing.get(path) or expected.problem:
            stage = "manifest" if path in work.missing else "layout"
            told = MeasurementError(problem.message, stage=stage, hint=problem.hint)
            key = place_key(path, expected.settings.digest)
            entry = Entry(key=key, result=failure(told), lasting=False)
            entry.result["photo"]["sha256"] = sha256 or None
            if not work.journal.code_of(key) or work.journal.read(key) != entry.result:
                work.journal.append([entry])  # not again at every run
            self._settle(index, entry.key, entry.code, entry.result, kept=False)
            return
        digest = expected.settings.digest
        key = result_key(sha256, digest) if sha256 else place_key(path, digest)
        code = work.journal.code_of(key, lasting=True)
        if code and (work.pictures is None or code == "failed" or work.pictures.there(key)):
            self._settle(index, key, code, None, kept=True)
        elif key in self.waiting:
            self.waiting[key].append(index)
        else:
            self.waiting[key] = []
            task = Task(file=path, settings=expected.settings, pictures=work.pictures is not None)
            self.to_score.append(_Piece(index=index, task=task, key=key))

    # -- taking back ----------------------------------------------------------------------------

    def _store(self, finished: Iterable[Future[Scored]]) -> None:
        """Write what has come in to the journal, in one go, then act on it."""
        entries: list[tuple[_Piece, Entry]] = []
        for future in finished:
            piece = self.running.pop(future)
            scored = self._scored(piece, future)
            if scored is not None:
                entries.append((piece, self._entry(piece, scored)))
        self.work.journal.append(entry for _, entry in entries)
        for piece, entry in entries:
            self._settle(piece.index, entry.key, entry.code, entry.result, kept=False)
            for other in self.waiting.pop(piece.key):
                if entry.key == piece.key:
                    self._settle(other, entry.key, entry.code, entry.result, kept=True)
                else:  # the first of them was changed meanwhile
                    self._plan(other, self.done.sha256[other].hex())

    def _scored(self, piece: _Piece, future: Future[Scored]) -> Scored | None:
        """Return what came of a piece; None when it is to be tried again."""
        engine = self.work.engine
        error = CancelledError() if future.cancelled() else future.exception()
        if error is None:
            return future.result()
        mistake: Exception
        if not engine.lost(error):
            mistake = RuntimeError(f"internal error: {type(error).__name__}: {error}")
        elif piece.tries < engine.tries:
            # Whoever was at work when the process died may have killed it, or somebody from
            # outside. Each gets another try, alone: who dies alone again and again did it.
            piece.tries += 1
            self.suspects.append(piece)
            return None
        else:
            often = (
                f"{engine.tries} times with nothing else in hand"
                if engine.tries
                else "on one machine after another"
            )
            mistake = MeasurementError(
                f"the process that measured this photo died, {often}",
                stage="worker",
                hint="the memory may be too small for it, or the file damaged; try it alone with "
                "spraycheck measure",
            )
        return Scored(result=failure(mistake), sha256="", lasting=False)

    def _entry(self, piece: _Piece, scored: Scored) -> Entry:
        key = piece.key
        if scored.sha256:
            # The file may have been changed since it was hashed: what was measured counts.
            key = result_key(scored.sha256, piece.task.settings.digest)
            self.done.sha256[piece.index] = bytes.fromhex(scored.sha256)
        if self.work.pictures is not None and scored.small:
            self.work.pictures.store(key, scored.small, scored.large)
        return Entry(key=key, result=scored.result, lasting=scored.lasting)

    def _settle(
        self, index: int, key: bytes, code: str, result: dict[str, Any] | None, *, kept: bool
    ) -> None:
        self.done.keys[index] = key
        if self.first.wants(index):
            known = result if result is not None else self.work.journal.read(key)
            self.first.note(index, known)
        self.tell(Step(index=index, code=code, kept=kept))


def _hashes(paths: Sequence[str], missing: dict[str, InputError]) -> Generator[str, None, None]:
    """Give the SHA-256 of each photo in order; empty for one that cannot be read."""
    ahead: deque[Future[str]] = deque()
    with ThreadPoolExecutor(HASH_THREADS, thread_name_prefix="hashing") as threads:
        for path in paths:
            ahead.append(threads.submit(hash_file, "" if path in missing else path))
            if len(ahead) > HASH_AHEAD:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()
