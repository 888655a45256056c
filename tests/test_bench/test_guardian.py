"""The guardian: outputs go off when the station dies or hangs, by the log of the instruments; no power without one."""

from __future__ import annotations

import os
import pickle
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from stations import ROOT, demo_setup

from batchtest.bench import Bench
from batchtest.bench.aftermath import keep, on_guard, told, untold
from batchtest.bench.guard import PATIENCE_S, ProcessGuard
from batchtest.bench.guarded import AllOff
from batchtest.clock import ScaledClock
from batchtest.errors import BenchError
from batchtest.files.bench import Guardian
from batchtest.simulated import RunningBench, start_bench
from test_bench.benches import ScriptedBench, scripted_bench
from test_bench.guarding import charged, wait_until

HEARTBEAT_S = 0.5


@contextmanager
def simulated(connections: int | None = None, **guardian: Any) -> Iterator[RunningBench]:
    """A simulated bench in real time, whose file asks for a quick guardian."""
    with start_bench(demo_setup(transport="tcp"), ScaledClock(), connections) as running:
        table = Guardian.model_construct(heartbeat=Decimal(str(HEARTBEAT_S)), without=None, **guardian)
        running.bench_file = running.bench_file.model_copy(update={"guardian": table})
        yield running


@contextmanager
def powered(running: RunningBench, folder: Path) -> Iterator[subprocess.Popen[str]]:
    """A station in a process of its own with the outputs on; it and its guardian are gone after."""
    file = folder / "bench"
    file.write_bytes(pickle.dumps(running.bench_file))
    arguments = [sys.executable, "-m", "test_bench.powered", str(file), str(folder)]
    path = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    with subprocess.Popen(
        arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": path}
    ) as station:
        try:
            assert station.stdout is not None
            assert station.stdout.readline() == "on\n", station.stderr and station.stderr.read()
            assert running.instruments.supply.output_on
            yield station
        finally:
            station.kill()
            wait_until(lambda: station.poll() is not None)
            with wait_for_guard(folder):
                pass


@contextmanager
def wait_for_guard(folder: Path) -> Iterator[None]:
    """Wait until the guardian has ended."""
    deadline = time.monotonic() + 20
    while True:
        try:
            with on_guard("try", folder):
                yield
            return
        except BenchError:
            assert time.monotonic() < deadline
            time.sleep(0.01)


def all_off(running: RunningBench) -> bool:
    """Whether supply and load are off, in truth."""
    return not running.instruments.supply.output_on and running.instruments.load.inputs_on == ()


@pytest.mark.parametrize("connections", [pytest.param(None, id="many"), pytest.param(1, id="one-connection")])
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP], ids=["killed", "stopped"])
def test_a_station_that_dies_or_hangs_under_power_leaves_the_outputs_off(
    tmp_path: Path, number: signal.Signals, connections: int | None
):
    """Load and supply, by the instruments' own log; what was done is kept for the next station to tell."""
    with simulated(connections) as running, powered(running, tmp_path) as station:
        os.kill(station.pid, number)
        wait_until(lambda: all_off(running))
        wait_until(lambda: bool(untold("try", tmp_path)))
        (said, *_) = untold("try", tmp_path)
        why = "has ended without switching off" if number == signal.SIGKILL else "has not moved for 0.5 s"
        assert f"the station (process {station.pid}) {why}" in said
        assert "load off, supply off, read back after " in said


def test_a_station_that_was_only_stopped_notices_and_ends(tmp_path: Path):
    """Going on after the guardian has acted it powers nothing again: its bench is at fault."""
    with simulated() as running, powered(running, tmp_path) as station:
        os.kill(station.pid, signal.SIGSTOP)
        wait_until(lambda: all_off(running))
        wait_until(lambda: bool(untold("try", tmp_path)))
        os.kill(station.pid, signal.SIGCONT)
        said, _ = station.communicate(timeout=20)
        assert "stopped: the guardian switched the outputs off: the station" in said
        assert "Start the batch again" in said
        assert all_off(running)
        on = [number for number, entry in enumerate(running.log.states("supply")) if entry.text.endswith(" on")]
        assert len(on) == 1


@contextmanager
def opened(running: RunningBench, folder: Path) -> Iterator[tuple[Bench, ProcessGuard]]:
    """A guarded bench in this process."""
    with Bench.open(running.bench_file, "try", ScaledClock(), folder, guarded=True) as bench:
        assert isinstance(bench.guard, ProcessGuard)
        yield bench, bench.guard


def test_without_its_guardian_no_output_goes_on(tmp_path: Path):
    """The guardian is killed with everything off: neither supply nor load goes on after it."""
    with simulated() as running:
        with opened(running, tmp_path) as (bench, guard):
            os.kill(guard.process.pid, signal.SIGKILL)
            for switch_on in (bench.supply.on, lambda: bench.load.on(1)):
                with pytest.raises(BenchError, match=r"guardian .* has ended or does not answer; without one nothing"):
                    switch_on()
        assert not running.log.was_on("supply")
        assert not running.log.was_on("load")


def test_a_working_thread_that_hangs_is_no_living_station(tmp_path: Path):
    """The process lives, but nobody keeps the promise to move: the guardian acts, and nothing goes on after it."""
    with simulated() as running:
        with opened(running, tmp_path) as (bench, guard):
            contact = bench.contact
            bench.supply.on()
            guard.promise(-PATIENCE_S)
            wait_until(lambda: all_off(running))
            wait_until(lambda: bool(untold("try", tmp_path)))
            with pytest.raises(BenchError, match=r"switched the outputs off: the station .* has not moved"):
                bench.guard.check()
            assert bench.contact != contact
            with pytest.raises(BenchError, match="guardian switched the outputs off"):
                bench.supply.on()
        assert all_off(running)


def test_a_wait_or_a_computation_is_no_hang(tmp_path: Path):
    """Two heartbeats' time without a message, promised by the clock or within the patience, and nothing happens."""
    with simulated() as running, opened(running, tmp_path) as (bench, guard):
        bench.supply.on()
        bench.clock.sleep(HEARTBEAT_S * 2)
        time.sleep(HEARTBEAT_S)
        guard.check()
        assert running.instruments.supply.output_on


def test_every_message_promises_its_own_time(tmp_path: Path):
    """A long reading is no hang: what it takes is promised, with the time for the reply, before it is asked for."""
    with simulated() as running, Bench.open(running.bench_file, "try", ScaledClock(), tmp_path) as bench:
        for instrument in (bench.load, bench.supply, bench.meter, bench.scanner):
            promised: list[float] = []
            instrument.link.promise = promised.append
            instrument.link.query("*IDN?", expected_s=30.0)
            assert promised == [32.0]


def test_what_takes_one_connection_only_is_said_at_the_start(tmp_path: Path):
    """Found out by trying, for supply and load."""
    with simulated(1) as running, opened(running, tmp_path) as (_, guard):
        assert [note.split(":")[1][:45] for note in guard.notes] == [
            " load is reached only once the station's own ",
            " supply is reached only once the station's ow",
        ]


def test_what_is_known_to_take_one_connection_is_not_tried(tmp_path: Path):
    """The bench file says so of the load, and the guardian leaves it to the station."""
    with simulated() as running:
        load = running.bench_file.load.model_copy(update={"connections": 1})
        running.bench_file = running.bench_file.model_copy(update={"load": load})
        with opened(running, tmp_path) as (_, guard):
            assert guard.notes == (
                "guardian: load takes one connection, and is reached only once the station's own link is closed",
            )
            assert running.log.commands("load").count("*IDN?") == 1
            assert running.log.commands("supply").count("*IDN?") == 2


def test_a_bench_may_do_without_a_guardian_for_a_reason_that_is_shown(tmp_path: Path):
    """No process is started, and the reason is told."""
    with simulated() as running:
        table = Guardian(without="load and supply have watchdogs")
        file = running.bench_file.model_copy(update={"guardian": table})
        with Bench.open(file, "try", ScaledClock(), tmp_path, guarded=True) as bench:
            bench.supply.on()
            assert bench.guard.notes == ("no guardian watches over the outputs: load and supply have watchdogs",)


def test_what_a_guardian_did_is_told_once_and_kept(tmp_path: Path):
    """The next station tells it; the log has it for ever."""
    keep("try", tmp_path, "load off, supply off")
    with simulated() as running, opened(running, tmp_path) as (_, guard):
        assert [note.partition(" ")[2] for note in guard.notes] == ["bench try: load off, supply off"]
    told("try", tmp_path)
    assert untold("try", tmp_path) == ()
    assert "load off, supply off" in (tmp_path / "try.guardian.log").read_text()


def test_a_bench_that_a_guardian_still_works_on_is_not_opened(tmp_path: Path):
    """A new station would power what the old guardian switches off."""
    with (
        simulated() as running,
        on_guard("try", tmp_path),
        pytest.raises(BenchError, match="a guardian of bench 'try' is still switching off"),
        Bench.open(running.bench_file, "try", ScaledClock(), tmp_path),
    ):
        pass


def stays_on(scripted: ScriptedBench) -> None:
    """The load takes "off", and its second channel stays on."""
    scripted.loads.stuck["INP2"] = "1"


def says_nothing(scripted: ScriptedBench) -> None:
    """The load is silent from now on."""
    for _ in range(100):
        scripted.instruments["load"].misbehave("")


def is_gone(scripted: ScriptedBench) -> None:
    """Nobody answers at the load's address."""
    scripted.servers["load"].stop()


@pytest.mark.parametrize(
    ("trouble", "said"),
    [
        pytest.param(stays_on, r"load NOT OFF \(load channel 2 is still on after", id="stays-on"),
        pytest.param(says_nothing, r"load NOT OFF \(load channel 1 cannot be read back as off", id="silent"),
        pytest.param(is_gone, r"load NOT OFF \(load channel 1 cannot be read back as off: load: lost", id="gone"),
    ],
)
def test_an_output_that_does_not_go_off_does_not_keep_the_other_on(trouble: Callable[[ScriptedBench], None], said: str):
    """The supply goes off all the same, and the load is tried until time is up, and said not to be off."""
    with scripted_bench("50 ms") as scripted, charged(scripted) as outputs:
        scripted.loads.held["INP2"] = scripted.power.held["OUTP"] = "ON"
        trouble(scripted)
        off_at = when_heard(scripted, "supply", "OUTP OFF")
        began = time.monotonic()
        off, told_of = AllOff(outputs, kick=lambda: None, give_up_s=0.5).run()
        assert not off
        assert re.match(said, told_of)
        assert told_of.endswith(", supply off")
        assert scripted.power.held["OUTP"] == "OFF"
        assert off_at[0] < began + 0.5  # beside the load, not after it


def when_heard(scripted: ScriptedBench, role: str, message: str) -> list[float]:
    """Grows by the moment of each time that an instrument hears a message."""
    moments: list[float] = []
    answer = scripted.instruments[role].answer

    def listen(unit: str) -> str | None:
        if unit == message:
            moments.append(time.monotonic())
        return answer(unit)

    scripted.instruments[role].answer = listen
    return moments


def test_an_output_is_tried_until_it_goes_off():
    """A load that does not answer at first is off in the end."""
    with scripted_bench("50 ms") as scripted, charged(scripted) as outputs:
        scripted.servers["load"].drop()
        for _ in range(3):
            scripted.instruments["load"].misbehave("INP")
        assert AllOff(outputs, kick=lambda: None, give_up_s=5.0).run() == (True, "load off, supply off")


def test_another_instrument_at_the_address_is_not_reached():
    """Whoever answers there must be the one that the station knows."""
    with scripted_bench("50 ms") as scripted, charged(scripted) as outputs:
        outputs[0].close()
        scripted.instruments["load"].identity = "Glasshouse Bench Works,load,S-9,1.0"
        assert "answers as 'Glasshouse Bench Works,load,S-9,1.0'" in outputs[0].look()


def test_the_guardian_needs_no_tables_of_numbers():
    """It starts quickly: what the station computes with is not loaded."""
    code = (
        "import sys, runpy\n"
        "runpy.run_module('batchtest.bench.guardian', run_name='__main__')\n"
        "print([name for name in ('numpy', 'scipy', 'pandas', 'rich', 'jinja2') if sys.modules.get(name)])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], stdin=subprocess.DEVNULL, capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert (done.stdout, done.stderr) == ("[]\n", "")
