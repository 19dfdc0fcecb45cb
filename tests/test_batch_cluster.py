"""A real scheduler and two real workers on this machine; one worker is killed in the middle."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from batch_tools import Quiet, batch, outcome_of, photo, records

from spraycheck.batch import engines, scheduler
from spraycheck.batch.engines import Cluster
from spraycheck.batch.run import Options, run_batch
from spraycheck.errors import InputError
from spraycheck.nozzles.model import Nozzle

TESTS = Path(__file__).parent

pytestmark = pytest.mark.filterwarnings(
    # What the cluster's own package leaves open or renames is none of ours.
    "ignore::ResourceWarning",
    "ignore::DeprecationWarning:distributed",
    "ignore::pytest.PytestUnraisableExceptionWarning",
)


class LocalCluster:
    """A scheduler and workers, each a process of its own."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "scheduler.json"
        self.log = open(folder / "log.txt", "w")  # noqa: SIM115
        self.environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(TESTS), str(TESTS.parent)]),
        }
        self.processes = [self._start("scheduler", "--host", "127.0.0.1", "--port", "0")]
        self.workers: list[subprocess.Popen[bytes]] = []

    def _start(self, role: str, *more: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-m", "dask", role, "--scheduler-file", str(self.file),
             "--no-dashboard", *more],
            stdout=self.log, stderr=self.log, env=self.environment,
        )  # fmt: skip

    def add_workers(self, count: int) -> None:
        for _ in range(count):
            # No nanny: nobody starts a killed worker again.
            worker = self._start("worker", "--nthreads", "1", "--no-nanny", "--host", "127.0.0.1")
            self.workers.append(worker)
            self.processes.append(worker)

    @property
    def address(self) -> str:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                return str(json.loads(self.file.read_text())["address"])
            except (OSError, ValueError):
                time.sleep(0.05)
        raise TimeoutError(self.log.name)

    def wait_for(self, workers: int) -> None:
        from distributed import Client

        with Client(self.address, set_as_default=False, timeout=60) as client:
            client.wait_for_workers(workers, timeout=60)

    def close(self) -> None:
        for process in reversed(self.processes):
            process.terminate()
        for process in self.processes:
            try:
                process.wait(3)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self.log.close()


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[LocalCluster]:
    made = LocalCluster(tmp_path)
    try:
        yield made
    finally:
        made.close()


def test_records_are_those_of_one_process_though_a_worker_dies(
    tmp_path: Path, cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    cluster.add_workers(2)
    words = [f"slow {k}" if k % 4 else f"fail {k}" for k in range(60)] + [
        "blank 3",
        "bug",
        "fail 0",
    ]
    for k, word in enumerate(words):
        photo(tmp_path / f"in/{k:03d}.jpg", word)
    batch(tmp_path / "in", tmp_path / "one")
    cluster.wait_for(2)
    # Two workers of one thread each are kept busy with six photos at a time.
    engine = Cluster(cluster.address)
    assert engine.slots == 6

    class Killing(Quiet):
        def step(self, step: scheduler.Step) -> None:
            super().step(step)
            if len(self.steps) == 15:
                cluster.workers[0].kill()

    watcher = Killing()
    from batch_tools import stand_in

    monkeypatch.setattr(scheduler, "score", stand_in)
    monkeypatch.setattr("spraycheck.batch.run._engine", lambda _: engine)
    monkeypatch.setattr("spraycheck.report.trends.Trends.plots", lambda _: [])
    options = Options(
        places=(str(tmp_path / "in"),), out=tmp_path / "many", nozzle=Nozzle.evenly_spread(4)
    )
    run_batch(options, watcher)
    assert cluster.workers[0].wait(10) == -9
    assert len(records(tmp_path / "many")) == len(words)
    assert outcome_of(tmp_path / "many") == outcome_of(tmp_path / "one")


def test_mistakes_are_one_clear_line(
    cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = cluster.address
    with pytest.raises(InputError, match="has no workers"):
        Cluster(address)
    cluster.add_workers(1)
    cluster.wait_for(1)
    monkeypatch.setattr(engines, "versions", lambda: ("9.9", 1, "2", "5"))
    own = engines.versions
    with pytest.raises(InputError, match="install the same versions everywhere"):
        engines._check_workers({"tcp://w": ("0.1", 1, "2", "5")}, address)
    assert own()[0] == "9.9"


def test_nobody_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engines, "_CONNECT_S", 1)
    with pytest.raises(InputError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        Cluster("tcp://127.0.0.1:9")
