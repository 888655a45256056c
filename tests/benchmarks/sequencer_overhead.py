"""What the sequencer costs: against a bare script that replays its messages, and against the bound of the procedure.

    python tests/benchmarks/sequencer_overhead.py [--json] [--boards N]

wall_ratio          wall time of the station / of a bare pyvisa script that replays the same messages and waits to the
                    same simulated bench, in a process of its own, on the real clock, both with TCP_NODELAY
own_us_per_message  the station's own time for each message: (station - bare script) / messages, against instruments
                    that answer at once with the recorded replies; waits cost nothing in either. Journalling and syncing
                    are in it
bound_ratio         test time of a board / the least that its procedure allows: relays, integration, the waits that
                    safety asks for, and the time constants of the circuit; computed from files, without the sequencer
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from batchtest.bench import Bench
from batchtest.bench.dialect import MeterDialect, load_dialect
from batchtest.bench.sessions import install
from batchtest.clock import Clock, ScaledClock, VirtualClock
from batchtest.commands.served import served
from batchtest.files.bench import BenchFile
from batchtest.files.library import Setup, load_setup
from batchtest.judging.accuracy import Row, half_width, row_for
from batchtest.measuring import Reader
from batchtest.nouns import Attempt, Measurand, Measurement
from batchtest.procedure import Procedure, derive
from batchtest.procedure.actions import ApplyLoads, CheckCold, Discharge, ProveContact, ReadResidual, SoftStart
from batchtest.sequencer import Job, Station, run_batch

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True)
class Event:
    """Something the station did: a message, or a wait ("sleep", with its seconds as the message)."""

    instrument: str
    kind: str
    message: str
    reply: str


class RecordingClock:
    """A clock that writes down what was waited."""

    def __init__(self, clock: Clock, events: list[Event]) -> None:
        self._clock, self._events = clock, events

    def now(self) -> float:
        return self._clock.now()

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            self._events.append(Event("", "sleep", repr(seconds), ""))
            self._clock.sleep(seconds)

    def wait_until(self, moment: float) -> None:
        self.sleep(moment - self.now())


class Quiet:
    """An observer that does nothing."""

    def start_attempt(self, *_: Any) -> None: ...
    def start_action(self, *_: Any) -> None: ...
    def show_line(self, *_: Any) -> None: ...


def real_time_setup(folder: Path) -> Setup:
    """The demo in a folder of its own, its simulated bench in real time and its boards all good."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, folder / name)
    bench = folder / "fixtures" / "benches" / "simulated.toml"
    text = bench.read_text().replace("scale = 20", "scale = 1").replace('defect_rate = "15 %"', 'defect_rate = "0 %"')
    bench.write_text(text)
    setup = load_setup(folder, "vent-nest", "simulated")
    assert setup.bench.simulation is not None
    assert setup.bench.simulation.scale == 1
    return setup


def good_serials(count: int) -> list[str]:
    """Serials that the demo bench does not list with a fault."""
    return [f"VN-{number:04}" for number in range(101, 101 + count)]


def run_station(
    setup: Setup, procedure: Procedure, bench_file: BenchFile, clock: Clock, serials: list[str], events: list[Event]
) -> tuple[float, list[Attempt]]:
    """Run a batch; the wall time of the boards alone, without opening and closing, and their attempts."""

    def trace(name: str, kind: str, message: str, reply: str, _expected_s: float) -> None:
        events.append(Event(name, kind, message, reply))

    with (
        tempfile.TemporaryDirectory() as reports,
        Bench.open(bench_file, "benchmark", clock, Path(reports), trace=trace) as bench,
    ):
        reader = Reader(bench, bench_file, setup.fixture, 23.0)
        station = Station(bench, reader, replace(setup, bench=bench_file), procedure, 23.0)
        job = Job("benchmark", "nobody", Path(reports), "batchtest")
        events.append(Event("", "begin", "", ""))
        start = time.perf_counter()
        assert bench.handler is not None
        attempts = list(run_batch(station, job, serials, bench.handler.place, Quiet()))
        spent_s = time.perf_counter() - start
        events.append(Event("", "end", "", ""))
    assert all(attempt.outcome == "pass" for attempt in attempts), [attempt.first_cause for attempt in attempts]
    return spent_s, attempts


def boards_only(events: list[Event]) -> list[Event]:
    """What was said and waited between the first board and the last."""
    kinds = [event.kind for event in events]
    return events[kinds.index("begin") + 1 : kinds.index("end")]


@contextmanager
def bare_sessions(bench_file: BenchFile) -> Iterator[dict[str, Any]]:
    """Plain pyvisa resources by role, with the session class that sets TCP_NODELAY."""
    import pyvisa

    install()
    manager = pyvisa.ResourceManager("bare@py")
    roles = ("load", "supply", "meter", "scanner", "handler")
    try:
        yield {
            role: manager.open_resource(
                getattr(bench_file, role).address, read_termination="\n", write_termination="\n", timeout=5000
            )
            for role in roles
        }
    finally:
        manager.close()


def replay(bench_file: BenchFile, events: list[Event], *, waits: bool) -> float:
    """Send the same messages with nothing around them; wall time in s."""
    with bare_sessions(bench_file) as sessions:
        start = time.perf_counter()
        for event in events:
            if event.kind == "sleep":
                if waits:
                    time.sleep(float(event.message))
            elif event.kind == "query":
                sessions[event.instrument].query(event.message)
            else:
                sessions[event.instrument].write(event.message)
        return time.perf_counter() - start


def serve_recorded(replies: dict[str, list[str]], ports: Connection) -> None:
    """Instruments that answer at once: each query gets the next recorded reply, for any number of rounds."""

    def one(listener: socket.socket, answers: list[str]) -> None:
        while True:
            connection, _ = listener.accept()
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with connection, connection.makefile("rb") as lines:
                turn = iter(answers)
                for line in lines:
                    if b"?" in line:
                        connection.sendall(next(turn).encode() + b"\n")

    found = {}
    for role, answers in replies.items():
        listener = socket.create_server(("127.0.0.1", 0))
        found[role] = listener.getsockname()[1]
        threading.Thread(target=one, args=(listener, answers), daemon=True).start()
    ports.send(found)
    ports.recv()


@contextmanager
def recorded_instruments(bench_file: BenchFile, events: list[Event]) -> Iterator[BenchFile]:
    """A bench file whose instruments answer the recorded conversation from its start, at once."""
    replies: dict[str, list[str]] = {role: [] for role in ("load", "supply", "meter", "scanner", "handler")}
    for event in events:
        if event.kind == "query":
            replies[event.instrument].append(event.reply)
    here, there = get_context("spawn").Pipe()
    server = get_context("spawn").Process(target=serve_recorded, args=(replies, there), daemon=True)
    server.start()
    ports = here.recv()
    changed = {
        role: getattr(bench_file, role).model_copy(update={"address": f"TCPIP0::127.0.0.1::{port}::SOCKET"})
        for role, port in ports.items()
    }
    try:
        yield bench_file.model_copy(update=changed)
    finally:
        here.send("end")
        server.join(5)


def bound_s(setup: Setup, procedure: Procedure) -> float:
    """The least time that the procedure allows for one good board, s."""
    relay_s = 0.015 + float(setup.bench.scanner.settle)
    total = 0.0
    since_discharge = math.inf
    levels: dict[str, float] = {}
    for action in (*procedure.gate, *procedure.powered):
        metered = [m for m in action.measurements if m.range and m.measurand is not Measurand.CURRENT]
        spent = sum(relay_s + reading_s(setup.bench, m) for m in metered)
        if isinstance(action, Discharge):
            total += relay_s + action.on_s
            since_discharge = 0.0
        elif isinstance(action, ReadResidual) and math.isfinite(since_discharge):
            spent += max(0.0, action.rest_s - since_discharge)
        elif isinstance(action, SoftStart):
            spent += action.inrush_s
            levels.update({m.point: m.expected or 0.0 for m in metered})
        elif isinstance(action, CheckCold):
            spent += sum(settling_s(setup, m, 0.0) for m in metered)
        elif isinstance(action, ApplyLoads):
            spent += max(settling_s(setup, m, levels[m.point]) for m in metered)
            levels.update({m.point: m.expected or 0.0 for m in metered})
        elif hasattr(action, "on_s"):  # power-down: its discharge
            spent += relay_s + action.on_s
        since_discharge += spent if isinstance(action, Discharge | ProveContact) else 0.0
        total += spent
    return total


def reading_s(bench: BenchFile, measurement: Measurement) -> float:
    """Time that the values of one reading take to integrate; a diode function is as long as its dialect leaves it."""
    functions, cycles = load_dialect(bench.meter.dialect, MeterDialect).functions, float(bench.meter.integration)
    if measurement.measurand is Measurand.DIODE and functions.diode is not None:
        cycles = float(functions.diode.integration(cycles).cycles)
    return bench.meter.readings * cycles / float(bench.mains)


def settling_s(setup: Setup, measurement: Measurement, start: float) -> float:
    """Time from `start` to the expected value, to within a tenth of the guard band, by the point's time constant."""
    expected = measurement.expected or 0.0
    accuracy = setup.bench.meter.accuracy
    tables = {Measurand.RESISTANCE: accuracy.ohms, Measurand.DIODE: accuracy.diode}
    rows: Sequence[Row] = tables.get(measurement.measurand, accuracy.volts_dc)
    value = min(abs(expected), measurement.range)
    guard = 2 / math.sqrt(3) * half_width(row_for(rows, measurement.range), value, 23.0, 23.0)
    step = abs(expected - start)
    return measurement.settle_s * max(0.0, math.log(step / (guard / 10))) if step else 0.0


def measure(boards: int) -> dict[str, float]:
    """All figures."""
    with tempfile.TemporaryDirectory() as folder:
        setup = real_time_setup(Path(folder))
        procedure = derive(setup)
        serials = good_serials(boards)
        events: list[Event] = []
        with served(setup) as bench_file:
            clock = RecordingClock(ScaledClock(1.0), events)
            station_s, attempts = run_station(setup, procedure, bench_file, clock, serials, events)
            said = boards_only(events)
            bare_s = replay(bench_file, said, waits=True)
        messages = sum(event.kind != "sleep" for event in said)
        own_us = own_time_us(setup, procedure, bench_file, serials, events, messages)
    board_s = statistics.mean(attempt.duration_s for attempt in attempts)
    bound = bound_s(setup, procedure)
    return {
        "boards": boards,
        "messages": messages,
        "station_s": station_s,
        "bare_s": bare_s,
        "wall_ratio": station_s / bare_s,
        "own_us_per_message": own_us,
        "board_s": board_s,
        "bound_s": bound,
        "bound_ratio": board_s / bound,
    }


def own_time_us(
    setup: Setup,
    procedure: Procedure,
    bench_file: BenchFile,
    serials: list[str],
    events: list[Event],
    messages: int,
    rounds: int = 5,
) -> float:
    """Median over rounds of (station - bare) / messages, us, against instruments that answer at once."""
    said = boards_only(events)
    own = []
    for _ in range(rounds):
        with recorded_instruments(bench_file, events) as instant:
            station_s, _ = run_station(setup, procedure, instant, VirtualClock(), serials, [])
        with recorded_instruments(bench_file, said) as instant:
            bare_s = replay(instant, said, waits=False)
        own.append((station_s - bare_s) / messages * 1e6)
    return statistics.median(own)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="one object of figures")
    parser.add_argument("--boards", type=int, default=3, help="boards tested in real time")
    arguments = parser.parse_args()
    figures = measure(arguments.boards)
    if arguments.json:
        json.dump(figures, sys.stdout)
        print()
        return
    for name, value in figures.items():
        print(f"{name:<20} {value:>10.4g}")


if __name__ == "__main__":
    main()
