"""The loop that has every photo scored once.

Photos are hashed first, a few at a time and in order. What the journal knows under its key is taken
over, a second photo of the same content waits for the first, and the rest is scored; each result
is in the journal before the next look. Work lost with a dead worker is tried again one by one, so
that only the photo that kills workers fails.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from dataclasses import dataclass, field
from typing import Any, Final

from spraycheck.batch.early_stop import FirstFailures
from spraycheck.batch.executors import Engine
from spraycheck.batch.expectations import Expected
from spraycheck.batch.journal import Entry, Journal
from spraycheck.batch.keys import place_key, result_key
from spraycheck.batch.scoring import Scored, Task, hash_files, score
from spraycheck.errors import InputError, MeasurementError
from spraycheck.judge.standoff import Standoff
from spraycheck.report.document import error_document

HASH_TOGETHER: Final = 16
"""Photos hashed by one piece of work: reading 16 takes some tenths of a second from a disk."""

TRIES_ALONE: Final = 2
"""Deaths of the process alone with a photo before the photo is to blame: one may be chance, such as
memory that another program took."""

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
    settings : callable
        From what is expected to the digest that goes into the key.
    journal : Journal
        Where results go.
    engine : Engine
        Who does the work.
    pictures : callable or None
        Takes key, small and large picture and stores them; None when none are wanted.
    has_pictures : callable
        Whether the pictures of a measured photo are there.
    missing : dict of str to InputError
        Photos that are known not to be readable, and why.
    standoff : Standoff or None
        Height of the tip over every card.
    aim : (float, float) or str or None
        Where the tip was set over every card, for nozzles with one central spray.
    """

    paths: Sequence[str]
    expected: Callable[[str], Expected]
    settings: Callable[[Expected], bytes]
    journal: Journal
    engine: Engine
    pictures: Callable[[bytes, bytes, bytes], None] | None = None
    has_pictures: Callable[[bytes], bool] = lambda _: True
    missing: dict[str, InputError] = field(default_factory=dict)
    standoff: Standoff | None = None
    aim: str | tuple[float, float] | None = None


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


@dataclass(eq=False)
class _Piece:
    """One piece of work: photos to hash, or one to score."""

    indices: Sequence[int]
    task: Task | None = None
    key: bytes = b""
    tries: int = 0


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
        The journal cannot be written; what was finished is kept.
    """
    return _Run(work, tell, patience).go(stop)


class _Run:
    def __init__(self, work: Work, tell: Callable[[Step], None], patience: int | None) -> None:
        self.work = work
        self.tell = tell
        count = len(work.paths)
        self.done = Done(keys=[None] * count, sha256=[b""] * count)
        self.first = FirstFailures(min(patience, count) if patience and count >= patience else 0)
        self.running: dict[Future[Any], _Piece] = {}
        self.suspects: deque[_Piece] = deque()
        self.to_score: deque[_Piece] = deque()
        self.hashed: dict[int, list[str]] = {}  # first index of a piece to its hashes
        self.next_hash = 0  # first photo not yet handed over for hashing
        self.next_plan = 0  # first photo whose hash has not been looked at
        self.waiting: dict[bytes, list[int]] = {}  # photos by the key that is being scored

    def go(self, stop: Callable[[], bool]) -> Done:
        try:
            while self._feed():
                if stop():
                    self.done.stopped = "asked"
                    break
                self._collect()
                if self.first.alike:
                    self._forget_the_rest()
                    break
        finally:
            for future in self.running:
                future.cancel()
            self.work.engine.close()
        if self.done.stopped == "asked":
            self._store(f for f in list(self.running) if f.done() and not f.cancelled())
        return self.done

    # -- handing over ---------------------------------------------------------------------------

    def _feed(self) -> bool:
        """Hand over as much as the engine takes; False when all is done."""
        if self.suspects or any(piece.tries for piece in self.running.values()):
            if not self.running:
                self._submit(self.suspects.popleft())
            return True
        slots = self.work.engine.slots
        while len(self.running) < slots:
            if self.to_score:
                self._submit(self.to_score.popleft())
            elif self.next_hash < len(self.work.paths) and self._hash_ahead():
                self._submit(self._hash_piece())
            else:
                break
        return bool(self.running or self.suspects or self.to_score)

    def _hash_ahead(self) -> bool:
        """Hash no further ahead than keeps the workers busy: memory stays flat."""
        ahead = self.next_hash - self.next_plan
        return ahead < HASH_TOGETHER * max(2, self.work.engine.slots)

    def _hash_piece(self) -> _Piece:
        first = self.next_hash
        # At the very beginning a few only, so that every worker soon has something to measure.
        step = 2 if first < 2 * HASH_TOGETHER else HASH_TOGETHER
        self.next_hash = min(first + step, len(self.work.paths))
        return _Piece(indices=range(first, self.next_hash))

    def _submit(self, piece: _Piece) -> None:
        engine = self.work.engine
        if piece.task is None:
            missing = self.work.missing
            places = [
                p if p not in missing else ""
                for p in map(self.work.paths.__getitem__, piece.indices)
            ]
            self.running[engine.submit(hash_files, places)] = piece
        else:
            self.running[engine.submit(score, piece.task)] = piece

    # -- taking back ----------------------------------------------------------------------------

    def _collect(self) -> None:
        finished, _ = wait(self.running, timeout=LOOK_S, return_when=FIRST_COMPLETED)
        self._store(finished)

    def _store(self, finished: Iterable[Future[Any]]) -> None:
        """Write what has come in to the journal, in one go, then act on it."""
        entries: list[tuple[_Piece, Entry]] = []
        for future in finished:
            piece = self.running.pop(future)
            error = future.exception() if not future.cancelled() else CancelledError()
            if error is not None:
                entries += self._failed_piece(piece, error)
            elif piece.task is None:
                self.hashed[piece.indices[0]] = future.result()
            else:
                entries.append((piece, self._entry(piece, future.result())))
        self.work.journal.append(entry for _, entry in entries)
        for piece, entry in entries:
            self._finish(piece, entry)
        while self.next_plan in self.hashed:
            hashes = self.hashed.pop(self.next_plan)
            for offset, sha256 in enumerate(hashes):
                self._plan(self.next_plan + offset, sha256)
            self.next_plan += len(hashes)

    def _failed_piece(self, piece: _Piece, error: BaseException) -> Iterable[tuple[_Piece, Entry]]:
        engine = self.work.engine
        if isinstance(error, CancelledError) and not engine.careful:
            raise InputError(
                f"the cluster has gone; the {len(self.work.journal)} photos finished so far are "
                "kept",
                "start it again and run the same command again",
            )
        gone = engine.lost(error) or isinstance(error, CancelledError)
        if gone and engine.careful and piece.tries < TRIES_ALONE:
            # Whoever was at work when the process died may have killed it, or somebody from
            # outside. Each gets another try, alone: who dies alone again and again did it.
            piece.tries += 1
            self.suspects.append(piece)
            return ()
        if piece.task is None:
            self.hashed[piece.indices[0]] = [""] * len(piece.indices)
            return ()
        mistake: Exception
        if gone:
            mistake = MeasurementError(
                f"the process that measured this photo died, {TRIES_ALONE} times with nothing else "
                "in hand",
                stage="worker",
                hint="the memory may be too small for it, or the file damaged; try it alone with "
                "spraycheck measure",
            )
        else:
            mistake = RuntimeError(f"internal error: {type(error).__name__}: {error}")
        lost = Scored(result=_failure(mistake), sha256="", lasting=False)
        return [(piece, self._entry(piece, lost))]

    def _entry(self, piece: _Piece, scored: Scored) -> Entry:
        assert piece.task is not None
        index = piece.indices[0]
        expected = self.work.expected(self.work.paths[index])
        settings = self.work.settings(expected)
        key = piece.key
        if scored.sha256:
            # The file may have been changed since it was hashed: what was measured counts.
            key = result_key(scored.sha256, settings)
            self.done.sha256[index] = bytes.fromhex(scored.sha256)
        if self.work.pictures is not None and scored.small:
            self.work.pictures(key, scored.small, scored.large)
        return Entry(
            key=key,
            code=scored.result["verdict"] or "failed",
            lasting=scored.lasting,
            result=scored.result,
        )

    def _finish(self, piece: _Piece, entry: Entry) -> None:
        index = piece.indices[0]
        self._settle(index, entry.key, entry.code, entry.result, kept=False)
        for other in self.waiting.pop(piece.key, ()):
            if entry.key == piece.key:
                self._settle(other, entry.key, entry.code, entry.result, kept=True)
            else:  # the first of them was changed meanwhile
                self._plan(other, self.done.sha256[other].hex())

    # -- deciding -------------------------------------------------------------------------------

    def _plan(self, index: int, sha256: str) -> None:
        """Take a photo over from the journal, let it wait for its double, or have it scored."""
        work, path = self.work, self.work.paths[index]
        self.done.sha256[index] = bytes.fromhex(sha256)
        expected = work.expected(path)
        settings = work.settings(expected)
        key = result_key(sha256, settings) if sha256 else place_key(path, settings)
        problem = work.missing.get(path) or expected.problem
        if problem is not None or expected.layout is None:
            stage = "manifest" if path in work.missing else "layout"
            told = MeasurementError(
                problem.message if problem else "",
                stage=stage,
                hint=problem.hint if problem else "",
            )
            key = place_key(path, settings)
            entry = Entry(key=key, code="failed", lasting=False, result=_failure(told))
            entry.result["photo"]["sha256"] = sha256 or None
            if not work.journal.code_of(key) or work.journal.read(key) != entry.result:
                work.journal.append([entry])  # not again at every run
            self._settle(index, key, "failed", entry.result, kept=False)
            return
        code = work.journal.code_of(key, lasting=True)
        if code and (work.pictures is None or code == "failed" or work.has_pictures(key)):
            self._settle(index, key, code, None, kept=True)
        elif key in self.waiting:
            self.waiting[key].append(index)
        else:
            self.waiting[key] = []
            task = Task(
                file=path,
                layout=expected.layout,
                spec=expected.spec,
                limits=expected.limits,
                pictures=work.pictures is not None,
                standoff=work.standoff,
                aim=work.aim,
                lined_up=expected.lined_up,
            )
            self.to_score.append(_Piece(indices=(index,), task=task, key=key))

    def _settle(
        self, index: int, key: bytes, code: str, result: dict[str, Any] | None, *, kept: bool
    ) -> None:
        self.done.keys[index] = key
        if self.first.wants(index):
            known = result if result is not None else self.work.journal.read(key)
            self.first.note(index, known)
        self.tell(Step(index=index, code=code, kept=kept))

    def _forget_the_rest(self) -> None:
        """Leave the outcome independent of what other workers had in hand."""
        self.done.stopped = "alike"
        self.done.alike = self.first.alike
        for index in range(self.first.count, len(self.done.keys)):
            self.done.keys[index] = None


def _failure(error: Exception) -> dict[str, Any]:
    document = error_document("", error)
    document["photo"]["file"] = None
    return document
