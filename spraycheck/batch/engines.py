"""Where the work is done: this process, a pool of processes, or a cluster.

An engine takes a function and an argument and gives a future. The scheduler knows nothing else of
it, so that all three give the same records.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Final, Protocol, TypeVar

from spraycheck.batch import ONE_THREAD
from spraycheck.batch.scoring import versions
from spraycheck.errors import InputError

A = TypeVar("A")
R = TypeVar("R")


class Engine(Protocol):
    """What the scheduler needs.

    ``slots`` is how many pieces of work to hand over at a time. ``tries`` is how often a piece must
    lose its process alone, with nothing else in hand, before it is to blame; 0 where the engine
    itself finds out which piece kills.
    """

    slots: int
    tries: int

    def submit(self, function: Callable[[A], R], argument: A) -> Future[R]:
        """Start a piece of work."""

    def lost(self, error: BaseException) -> bool:
        """Tell whether an error means that a process died, and be ready to go on."""

    def close(self) -> None:
        """Drop what has not begun, wait for what has."""


class InProcess:
    """Does the work at once in this process: for tests, debugging and notebooks."""

    slots = 1
    tries = 0

    def submit(self, function: Callable[[A], R], argument: A) -> Future[R]:
        """Do the work."""
        future: Future[R] = Future()
        try:
            future.set_result(function(argument))
        except Exception as error:
            future.set_exception(error)
        return future

    def lost(self, error: BaseException) -> bool:
        """Nobody else can die here."""
        return False

    def close(self) -> None:
        """Nothing to close."""


class Pool:
    """A pool of fresh processes on this machine.

    Parameters
    ----------
    jobs : int
        How many.

    Notes
    -----
    Processes are spawned, not forked: a fork copies locks that other threads hold. One process
    that dies breaks a `ProcessPoolExecutor` for good; a new one is made then.
    """

    tries = 2  # one death may be chance, such as memory that another program took

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs
        # One waiting behind each at work, so that none is idle while the main process writes.
        self.slots = 2 * jobs
        self._executor: Executor | None = None

    def submit(self, function: Callable[[A], R], argument: A) -> Future[R]:
        """Queue a piece of work; starts the processes when there are none."""
        if self._executor is not None:
            try:
                return self._executor.submit(function, argument)
            except BrokenProcessPool as error:  # a worker died since the last look
                self.lost(error)
        # The processes start with the first piece of work, and take over settings from this one.
        with _one_thread(), _ignoring_interrupts():
            self._executor = ProcessPoolExecutor(
                self.jobs, mp_context=multiprocessing.get_context("spawn"), initializer=begin_worker
            )
            return self._executor.submit(function, argument)

    def lost(self, error: BaseException) -> bool:
        """Drop a broken pool; the next piece of work makes another."""
        if isinstance(error, BrokenProcessPool) and self._executor is not None:
            self._executor.shutdown(wait=False, cancel_futures=True)
            self._executor = None
        return isinstance(error, BrokenProcessPool | CancelledError)

    def close(self) -> None:
        """Drop what has not begun, wait for what has."""
        if self._executor is not None:
            self._executor.shutdown(wait=True, cancel_futures=True)
            self._executor = None


class Cluster:
    """Workers of a running dask.distributed scheduler.

    Parameters
    ----------
    address : str
        Of the scheduler, for example ``tcp://10.0.0.5:8786``.

    Raises
    ------
    InputError
        The package is missing, nobody answers, there are no workers, or they run other versions.
    """

    tries = 0  # the scheduler moves lost work to other workers, and gives up what kills several

    def __init__(self, address: str) -> None:
        try:
            import distributed
        except ImportError:
            raise InputError(
                "--cluster needs the package distributed, which is not installed",
                "run: pip install 'spraycheck[cluster]'",
            ) from None
        make: Any = distributed.Client  # typed in parts only
        try:
            self._client: Any = make(address, timeout=_CONNECT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise InputError(
                f"no scheduler answers at {address} ({' '.join(str(error).split())})",
                "start one with: dask scheduler; then workers with: dask worker ADDRESS",
            ) from None
        try:
            _check_workers(self._client.run(versions), address)
            self._executor = self._client.get_executor(pure=False)
            # Three for each thread: the work travels while the thread is busy.
            self.slots = 3 * max(1, sum(self._client.ncores().values()))
        except BaseException:
            self._client.close()
            raise

    def submit(self, function: Callable[[A], R], argument: A) -> Future[R]:
        """Hand a piece of work to the scheduler."""
        try:
            future: Future[R] = self._executor.submit(function, argument)
        except Exception as error:  # a closed connection shows in many ways
            raise _cluster_gone(" ".join(str(error).split())) from None
        return future

    def lost(self, error: BaseException) -> bool:
        """Tell whether the scheduler gave a piece of work up because it killed several workers."""
        if isinstance(error, CancelledError):
            raise _cluster_gone("work was dropped")
        return type(error).__name__ == "KilledWorker"

    def close(self) -> None:
        """Drop what is under way and disconnect."""
        self._executor.shutdown(wait=False)
        self._client.close()


_CONNECT_S: Final = 20
# Chosen because a scheduler on the same network answers within a second, a busy one within ten.


def begin_worker() -> None:
    """Set up a process of the pool: no part in Ctrl-C, and no life without its parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    """End this process when its parent has gone, killed perhaps: nobody else would tell it."""
    from multiprocessing.connection import wait

    wait([sentinel])
    os._exit(1)


def _cluster_gone(why: str) -> InputError:
    return InputError(
        f"the cluster has gone ({why}); the photos finished so far are kept",
        "start it again and run the same command again",
    )


def _check_workers(found: dict[str, tuple[str, int, str, str]], address: str) -> None:
    if not found:
        raise InputError(
            f"the scheduler at {address} has no workers", f"start some with: dask worker {address}"
        )
    own = versions()
    names = ("spraycheck", "results version", "numpy", "opencv")
    for worker, theirs in found.items():
        for name, mine, other in zip(names, own, theirs, strict=True):
            if mine != other:
                raise InputError(
                    f"worker {worker} has {name} {other}, this machine {mine}: records would "
                    "depend on who measured",
                    "install the same versions everywhere",
                )


@contextlib.contextmanager
def _one_thread() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


@contextlib.contextmanager
def _ignoring_interrupts() -> Iterator[None]:
    """Let new processes start deaf to Ctrl-C, which the terminal sends to all of them."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before: Any = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
