"""How long after its end, or its silence, the outputs of a station are off, by the instruments' own log.

    python tests/benchmarks/time_to_off.py [--json] [--times N] [--station small|boards] [--transport tcp|pty]

The simulated bench is served by a process of its own, in real time; its log says when load and supply went off. A
station with its outputs on is started in another, and gets a signal. "small" is a station that powers up and reads the
supply over and over, with everything imported that `batchtest boards` imports; "boards" is that program itself, at its
first load point, with instruments five times as quick.

killed, hung, ctrl_c    ms from SIGKILL, SIGSTOP, SIGINT to the last output's off: median and most. "hung" is beyond the
                        heartbeat that the guardian waits for, which counts from the last beat and so may be below zero
..._one_connection      the same where load and supply take one connection only, which the dead station still holds;
                        a serial line takes no more anyway
limit                   ms from the last raw value that crosses an abort bound to the last output's off
round_trip              ms of one `*IDN?` to the supply, to compare it with
left_on                 how often an output was not off 30 s later: 0, or nothing here counts
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from itertools import pairwise
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from stations import demo_setup, folder_with_addresses  # noqa: E402

from batchtest.bench import Bench  # noqa: E402
from batchtest.clock import ScaledClock  # noqa: E402
from batchtest.errors import InstrumentReplyError, SafetyTrip  # noqa: E402
from batchtest.measuring import Reader  # noqa: E402
from batchtest.nouns import Limit, Role  # noqa: E402
from batchtest.procedure.dead import Unpowered  # noqa: E402
from batchtest.procedure.times import Times  # noqa: E402
from batchtest.simulated import start_bench  # noqa: E402
from batchtest.simulated.log import Kind  # noqa: E402

SIGNALS = {"killed": signal.SIGKILL, "hung": signal.SIGSTOP, "ctrl_c": signal.SIGINT}
#: How much quicker than in truth the instruments are for the program itself.
QUICK = 5.0
#: An output that is not off after this is left on, s.
LEFT_S = 30.0
#: The silence that the guardian waits for, by the bench files, s.
HEARTBEAT_S = 1.0


def serve(asked: Connection, scale: float, connections: int | None, transport: str) -> None:
    """Serve a simulated bench; answer "on" and "since T" until told to end."""
    with start_bench(demo_setup(transport=transport), ScaledClock(scale), connections) as running:
        folder = Path(tempfile.mkdtemp(dir=tempfile.gettempdir()))
        asked.send((running.bench_file, str(folder_with_addresses(folder, running))))
        while (message := asked.recv()) != "end":
            if message == "on":
                outputs = running.instruments
                asked.send((outputs.supply.output_on, outputs.load.inputs_on))
            else:
                asked.send([entry for entry in running.log if entry.time_s / scale >= message])
        shutil.rmtree(folder)


class Served:
    """The simulated bench in its own process."""

    def __init__(self, pipe: Connection, scale: float) -> None:
        self._pipe, self._scale = pipe, scale
        self.bench_file, self.folder = pipe.recv()

    def ask(self, message: object) -> Any:
        self._pipe.send(message)
        return self._pipe.recv()

    def is_on(self) -> bool:
        supply, loads = self.ask("on")
        return bool(supply or loads)

    def off_after(self, moment: float) -> float | None:
        """Seconds from a moment until the last output was off; `None` where one is not off in the end."""
        while self.is_on():
            if time.monotonic() > moment + LEFT_S:
                return None
            time.sleep(0.01)
        on: dict[str, float] = {}
        for entry in self.ask(moment):
            if entry.kind is Kind.STATE and entry.text == "off":
                on.setdefault(entry.role, entry.time_s / self._scale)
        return max(seconds for role, seconds in on.items() if role in ("supply", "load 1")) - moment


@contextmanager
def served(scale: float, connections: int | None, transport: str) -> Iterator[Served]:
    """Start the simulated bench in a process of its own."""
    here, there = get_context("spawn").Pipe()
    process = get_context("spawn").Process(target=serve, args=(there, scale, connections, transport))
    process.start()
    try:
        yield Served(here, scale)
    finally:
        here.send("end")
        process.join(20)


@contextmanager
def small(bench: Served, reports: Path) -> Iterator[subprocess.Popen[str]]:
    """A small station with its outputs on."""
    file = reports / "bench"
    file.write_bytes(pickle.dumps(bench.bench_file))
    code = "import batchtest.sequencer, batchtest.pages, batchtest.procedure, batchtest.commands.boards, rich.live\n"
    code += "import runpy\n"
    code += "runpy.run_module('test_bench.powered', run_name='__main__')"
    with station([sys.executable, "-c", code, str(file), str(reports)], ROOT) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "on\n"
        yield process


@contextmanager
def boards(bench: Served, reports: Path) -> Iterator[subprocess.Popen[str]]:
    """The program itself at its first load point."""
    arguments = ["boards", "vent-nest", "--bench", "wired", "--batch", "try", "--serials", "VN-0101", "--no-causes"]
    with station([sys.executable, "-m", "batchtest", *arguments, "--reports", str(reports)], bench.folder) as process:
        part = reports / "try" / "VN-0101.1.csv.part"
        while not (part.exists() and ",load," in part.read_text()):
            assert process.poll() is None, process.communicate()
            time.sleep(0.01)
        yield process


@contextmanager
def station(arguments: list[str], folder: Path | str) -> Iterator[subprocess.Popen[str]]:
    """A process in a session of its own, whose guardian has ended too when the block is left."""
    path = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    with subprocess.Popen(
        arguments,
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": path},
    ) as process:
        try:
            yield process
        finally:
            process.kill()
            process.communicate()  # the guardian has it open too, and closes it last


def after_signal(bench: Served, number: signal.Signals, start: Callable[..., Any]) -> float | None:
    """Seconds from a signal to the whole foreground of a terminal until all is off."""
    with tempfile.TemporaryDirectory() as reports, start(bench, Path(reports)) as process:
        time.sleep(0.05 + 0.1 * (time.monotonic() % 1))  # anywhere in what it does
        moment = time.monotonic()
        with suppress(ProcessLookupError):
            os.killpg(process.pid, number)
        return bench.off_after(moment)


def after_limit(bench: Served, times: int) -> tuple[list[float], list[float]]:
    """Seconds from a reading beyond its bound until all is off; and of round trips."""
    setup = replace(demo_setup(), bench=bench.bench_file)
    known = Unpowered(setup.bench, setup.fixture, 24.0, Times.of(setup.bench)).reference("", "").measurements[0]
    beyond = replace(known, abort=Limit(upper=1.0))
    spent, trips = [], []
    with (
        tempfile.TemporaryDirectory() as folder,
        Bench.open(bench.bench_file, "try", ScaledClock(), Path(folder), guarded=True) as opened,
    ):
        reader = Reader(opened, bench.bench_file, setup.fixture, 23.0)
        for _ in range(times):
            opened.supply.on()
            opened.load.on(1)
            moment = time.monotonic()
            with suppress(SafetyTrip, InstrumentReplyError):  # the second: a value that came twice; off all the same
                reader.read(beyond)
            entries = bench.ask(moment)
            said = [e for e in entries if e.role == Role.METER]
            read = max(reply.time_s for asked, reply in pairwise(said) if asked.text == "READ?")
            off = [e.time_s for e in entries if e.kind is Kind.STATE and e.text == "off" and e.time_s > read]
            spent.append(max(off[:1] + [e.time_s for e in entries if e.role == "supply" and e.text == "off"]) - read)
            began = time.perf_counter()
            opened.supply.link.query("*IDN?")
            trips.append(time.perf_counter() - began)
    return spent, trips


def figures(found: list[float | None], beyond_s: float = 0.0) -> dict[str, float]:
    """Median and most, ms."""
    took_ms = [1000 * (seconds - beyond_s) for seconds in found if seconds is not None]
    return {
        "n": len(found),
        "median_ms": statistics.median(took_ms),
        "most_ms": max(took_ms),
        "left_on": found.count(None),
    }


def measure(times: int, kind: str, transport: str) -> dict[str, dict[str, float]]:
    """All figures."""
    start, scale = (small, 1.0) if kind == "small" else (boards, QUICK)
    measured: dict[str, dict[str, float]] = {}
    ways: list[tuple[int | None, str]] = [(None, "")]
    if transport == "tcp":
        ways.append((1, "_one_connection"))
    for connections, tail in ways:
        with served(scale, connections, transport) as bench:
            for name, number in SIGNALS.items():
                found = [after_signal(bench, number, start) for _ in range(times)]
                measured[name + tail] = figures(found, HEARTBEAT_S if name == "hung" else 0.0)
    with served(1.0, None, transport) as bench:
        limits, trips = after_limit(bench, times)
    measured["limit"], measured["round_trip"] = figures([*limits]), figures([*trips])
    return measured


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="one object of figures")
    parser.add_argument("--times", type=int, default=30, help="how often each")
    parser.add_argument("--station", choices=["small", "boards"], default="small")
    parser.add_argument("--transport", choices=["tcp", "pty"], default="tcp", help="how the simulated bench is reached")
    arguments = parser.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a job in the background is born deaf to it
    measured = measure(arguments.times, arguments.station, arguments.transport)
    if arguments.json:
        json.dump({"station": arguments.station, "transport": arguments.transport, **measured}, sys.stdout)
        print()
        return
    for name, values in measured.items():
        shown = "  ".join(f"{key} {value:>8.4g}" for key, value in values.items())
        print(f"{name:<24} {shown}")


if __name__ == "__main__":
    main()
