"""A whole station on the simulated bench and the virtual clock, for tests: no waiting, no sockets unless asked for."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from batchtest.bench import Bench
from batchtest.clock import Clock, VirtualClock
from batchtest.files.bench import Instrument, instruments
from batchtest.files.library import Setup, load_setup
from batchtest.measuring import Reader
from batchtest.nouns import Attempt, Line, Waiver
from batchtest.procedure import Action, Procedure, derive
from batchtest.sequencer import Job, Station, run_batch
from batchtest.simulated import RunningBench, start_bench

ROOT = Path(__file__).resolve().parent.parent


_derived: list[tuple[Setup, Procedure]] = []
_loaded = lru_cache(load_setup)


def demo_setup(boards: dict[str, str] | None = None, *, nest: str = "vent-nest", **simulation: Any) -> Setup:
    """A demo's setup; `boards` says what is wrong with which serial, all others are good unless a rate is given.

    Its instruments are in the test's own process; where the wire is the subject, say `transport="tcp"`.
    """
    setup = _loaded(ROOT, nest, "simulated")
    assert setup.bench.simulation is not None
    changed = {"fixture": nest, "defect_rate": 0, "boards": boards or {}, "transport": "direct", **simulation}
    bench = setup.bench.model_copy(update={"simulation": setup.bench.simulation.model_copy(update=changed)})
    return replace(setup, bench=bench)


def _of(setup: Setup) -> Iterator[tuple[str, Instrument]]:
    return iter(instruments(setup.bench).items())


def derive_once(setup: Setup) -> Procedure:
    """The procedure of a setup; what is simulated or spoken has no part in it, so that one may serve many tests."""
    same = {"simulation": None, **{role: each.model_copy(update={"dialect": "any"}) for role, each in _of(setup)}}
    plain = replace(setup, bench=setup.bench.model_copy(update=same))
    for known, procedure in _derived:
        if known == plain:
            return procedure
    _derived.append((plain, derive(setup)))
    return _derived[-1][1]


@dataclass
class Watcher:
    """An observer that keeps what it was told; `on_line` may do mischief once a line is on disk."""

    lines: list[Line] = field(default_factory=list)
    actions: list[Action] = field(default_factory=list)
    on_line: Callable[[Line], None] = lambda line: None

    def start_attempt(self, serial: str, attempt: int, seconds_expected: float) -> None:
        """Nothing."""

    def start_action(self, action: Action, seconds_left: float) -> None:
        """Keep it."""
        self.actions.append(action)

    def show_line(self, line: Line) -> None:
        """Keep it."""
        self.lines.append(line)
        self.on_line(line)


@dataclass
class Stand:
    """A station with its simulated bench in sight."""

    running: RunningBench
    station: Station
    procedure: Procedure
    reports: Path
    watcher: Watcher = field(default_factory=Watcher)
    waivers: tuple[Waiver, ...] = ()

    def test(self, *serials: str, batch: str = "try") -> list[Attempt]:
        """Test boards, one after another; what ends the batch is raised."""
        return list(self.attempts(serials, batch))

    def attempts(self, serials: Sequence[str], batch: str = "try") -> Iterator[Attempt]:
        """The attempts as they are closed."""
        return run_batch(self.station, self.job(batch), serials, self.place, self.watcher)

    def job(self, batch: str = "try") -> Job:
        """What is the same for all boards of a batch."""
        return Job(batch, "tester", self.reports, "batchtest under test", self.waivers)

    def place(self, serial: str) -> None:
        """Have the handler put a board into the nest."""
        assert self.station.bench.handler is not None
        self.station.bench.handler.place(serial)

    @property
    def outputs_on(self) -> list[str]:
        """Which outputs are truly on at the simulated instruments."""
        found = ["supply"] if self.running.instruments.supply.output_on else []
        return found + [f"load {channel}" for channel in self.running.instruments.load.inputs_on]

    @property
    def was_powered(self) -> bool:
        """Whether any output was ever on, by the simulated bench's own log."""
        return self.running.log.was_on("supply") or self.running.log.was_on("load")


@contextmanager
def stand(
    reports: Path,
    setup: Setup | None = None,
    clock: Clock | None = None,
    *,
    true: Setup | None = None,
    guarded: bool = False,
) -> Iterator[Stand]:
    """Start a simulated bench in this process, and a station on it; `true` is what is simulated where that differs."""
    setup, clock = setup or demo_setup(), clock or VirtualClock()
    procedure = derive_once(setup)
    reports.mkdir(parents=True, exist_ok=True)
    with (
        start_bench(true or setup, clock) as running,
        Bench.open(running.bench_file, "try", clock, reports, guarded=guarded) as bench,
    ):
        reader = Reader(bench, running.bench_file, setup.fixture, 23.0)
        station = Station(bench, reader, replace(setup, bench=running.bench_file), procedure, 23.0)
        yield Stand(running, station, procedure, reports)


def folder_with_addresses(folder: Path, running: RunningBench) -> Path:
    """A project folder whose bench "wired" is a running simulated bench, written as for real instruments."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, folder / name, dirs_exist_ok=True)
    text = (ROOT / "fixtures" / "benches" / "simulated.toml").read_text()
    text = re.sub(r"(?ms)^\[simulation\].*?(?=^\[meter\])", "", text)
    text = re.sub(r"(?m)^challenge_every.*\n", "", text)  # in real time it would take a minute
    text = re.sub(r"(?m)^(warm_up|on_for) = .*\n", "", text)
    text = re.sub(r"(?m)^calibration_age = .*$", "calibrated = 2026-03-02\ndue = 2036-03-02", text)
    for role, address in running.addresses.items():
        lines = f'[{role}]\naddress = "{address}"\nread_ending = "LF"\nwrite_ending = "LF"'
        text = re.sub(rf"(?m)^\[{role}\].*$", lines, text)
    (folder / "fixtures" / "benches" / "wired.toml").write_text(text)
    return folder
