"""Can a fault of the bench become a wrong reading, a wrong verdict, or an output that stays on? 200 of each kind.

Run as `python tests/benchmarks/wire_faults.py`; `--json` prints one object, `--times N` takes fewer of each kind,
`--kind NAME` one kind, `--transport pty` another wire. Every fault befalls a random message to a random instrument in
an attempt at a random board, good or bad; everything goes over the real wire, on a clock on which only long waits are
real. Told by what the simulated bench truly was and did:

- `wrong_readings`: readings in records, of stopped attempts too, further from the truth than twice their uncertainty;
  those at points that were not regulated are kept and excluded, and so they are here.
- `wrong_verdicts`: boards that passed and must not, or failed and must pass.
- `outputs_left_on`: attempts after which an output was truly on; `said_live` are those of them in which the station
  said so, and told the person to treat the board as live.
- `hangs`: waits for a reply that lasted longer than their deadline; `longest_over_s` is the worst, in seconds. What a
  thread beside it was late by is taken off: so long the machine gave this process no time.
- `trips`: good boards that were failed on the word of one reading beyond an abort bound, which is obeyed before it is
  doubted: they are among the wrong verdicts. `struck` is how many faults came to strike.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
import threading
import time
from collections import Counter, deque
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import cache, lru_cache
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from batchtest.bench.port import Port
from batchtest.clock import VirtualClock
from batchtest.errors import BenchError, OutputsNotOff, StationError
from batchtest.files.bench_faults import KINDS, OVER_RANGE, BenchFault
from batchtest.files.library import Setup
from batchtest.nouns import Attempt, Line, Measurand, Outcome, Phase
from batchtest.simulated import BoardTruth, truth
from batchtest.simulated.boards import GOLDEN
from batchtest.simulated.doubts import Doubts
from tests.stations import Stand, demo_setup, derive_once, stand

TIMES = 200
#: Numbers of the boards that are drawn from; what is true of each is worked out once.
BOARDS = (1000, 1060)
#: A fault after the end of a bad board's attempt does not strike: so many attempts are made at most for each that does.
TRIES = 4
#: Real seconds that a second of the slow clock takes, and the deadline of a reply, real seconds.
SLOWNESS, REPLY_S = 0.01, "0.3 s"
#: Kinds that need the slow clock: what is late must be late for the deadline too.
SLOW = ("late reply", "slow drip", "restart", "silent restart")
#: Longer than its deadline by this is a hang, s: the machine may be busy.
HANG_S = 0.5
#: How often the thread beside the waits wants to run, s.
BEAT_S = 0.02
ROLES = ("meter", "meter", "meter", "load", "supply", "scanner", "handler")
KEYS = {
    "supply": ("VOLT 3", "VOLT 25.5", "CURR 0.001", "OUTP OFF", "OUTP ON", "*RST"),
    "load": ("CURR 0.05,(@1)", "CURR 0.001,(@2)", "INP OFF,(@1)", "INP ON,(@2)", "*RST"),
    "meter": ("CONF:RES 100", "CONF:VOLT:DC 100", "SENS:VOLT:DC:NPLC 0.02", "SENS:RES:NPLC 0.02", "CONF:DIOD", "*RST"),
    "scanner": ("ROUT:OPEN:ALL", "*RST"),
}


class SlowClock(VirtualClock):
    """A virtual clock on which waits take a hundredth of their time, so that what is late is late on the wire too."""

    def sleep(self, seconds: float) -> None:
        """Wait a little, and move on."""
        time.sleep(max(0.0, seconds) * SLOWNESS)
        super().sleep(seconds)

    def wait_until(self, moment: float) -> None:
        """Wait a little, and move on."""
        time.sleep(max(0.0, moment - self.now()) * SLOWNESS)
        super().wait_until(moment)


@dataclass
class Tally:
    """What came of the faults of one kind."""

    tries: int = 0
    struck: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    counts: Counter[str] = field(default_factory=Counter)
    longest_over_s: float = -math.inf
    told: list[str] = field(default_factory=list)

    def note(self, what: str, text: str) -> None:
        """Count something that must not be, and keep the first few."""
        self.counts[what] += 1
        if len(self.told) < 5:
            self.told.append(f"{what}: {text}")

    def as_json(self) -> dict[str, object]:
        """As a plain dictionary."""
        names = ("wrong_readings", "wrong_verdicts", "outputs_left_on", "said_live", "hangs", "trips")
        return {
            "struck": self.struck,
            **{name: self.counts[name] for name in names},
            "longest_over_s": None if math.isinf(self.longest_over_s) else round(self.longest_over_s, 3),
            "outcomes": dict(self.outcomes),
            "told": self.told,
        }


def main() -> None:
    """Measure every kind and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--times", type=int, default=TIMES)
    parser.add_argument("--kind", choices=KINDS, action="append")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--transport", default="tcp", choices=("tcp", "pty", "hislip", "vxi11"))
    wanted = parser.parse_args()
    kinds = wanted.kind or KINDS
    with ProcessPoolExecutor(wanted.jobs) as pool:
        tasks = {pool.submit(befall, kind, wanted.times, wanted.transport): kind for kind in kinds}
        told = {tasks[task]: _told(tasks[task], task.result()) for task in as_completed(tasks)}
    found = {kind: told[kind] for kind in kinds}
    total = {
        name: sum(int(str(each[name])) for each in found.values())
        for name in ("struck", "wrong_readings", "wrong_verdicts", "outputs_left_on", "said_live", "hangs", "trips")
    }
    if wanted.json:
        print(json.dumps({"transport": wanted.transport, **total, "kinds": found}))
        return
    for kind, each in {**found, "all": total}.items():
        print(f"{kind:<22} " + "  ".join(f"{name} {value}" for name, value in each.items() if name != "told"))
        for text in each.get("told", ()):  # type: ignore[union-attr]
            print(f"    {text}")


def _told(kind: str, found: dict[str, object]) -> dict[str, object]:
    """Say on stderr what came of a kind: all of them take a while."""
    print(f"{kind}: {json.dumps(found)}", file=sys.stderr, flush=True)
    return found


def befall(kind: str, times: int, transport: str) -> dict[str, object]:
    """So many faults of one kind, each in an attempt of its own."""
    random, tally = Random(f"wire faults/{kind}"), Tally()
    with stopwatch(tally), tempfile.TemporaryDirectory(dir=memory(), prefix="wire-faults-") as folder:
        while tally.struck < times and tally.tries < TRIES * times:
            _on_one_stand(kind, times, random, tally, Path(folder), transport)
    return tally.as_json()


def _on_one_stand(kind: str, times: int, random: Random, tally: Tally, folder: Path, transport: str) -> None:
    """Go on until enough have struck, or the bench is beyond bringing back."""
    clock = SlowClock() if kind in SLOW else VirtualClock()
    with suppress(BenchError), served(folder, clock, transport) as station:
        lengths = _lengths(station)
        while tally.struck < times and tally.tries < TRIES * times:
            tally.tries += 1
            faults = list(_faults(kind, random, lengths))
            one_attempt(station, faults, f"VN-{random.randrange(*BOARDS)}", tally)


def _lengths(station: Stand) -> Counter[str]:
    """How many messages each instrument gets in an attempt at a good board."""
    station.test(GOLDEN)
    before = {role: len(station.running.log.commands(role)) for role in set(ROLES)}
    station.test(GOLDEN)
    return Counter({role: len(station.running.log.commands(role)) - before[role] for role in set(ROLES)})


def _faults(kind: str, random: Random, lengths: Counter[str]) -> Iterator[BenchFault]:
    """A fault of a kind somewhere in an attempt; a clear that brings an output back on needs a trip first."""
    role, message, text = random.choice(ROLES), "*", None
    if kind in ("protection trip", "back on after a clear", "input dropped"):
        role = random.choice(("load", "supply"))
    elif kind == "front-panel key":
        role = random.choice(tuple(KEYS))
        text = random.choice(KEYS[role])
    elif kind == "over-range":
        role, message, text = "meter", "READ?", random.choice(OVER_RANGE)
    elif kind == "clipped set-point":
        role, message = random.choice(("load", "supply", "meter")), "*[A-Z] [0-9]*"
    share = {"READ?": 0.15, "*": 1.0}.get(message, 0.1)
    at = random.randint(1, max(1, round(share * lengths[role])))
    if kind == "back on after a clear":
        yield BenchFault(role=role, kind="protection trip", at=at)
        at, message = 1, "*PROT:CLE*"
    yield BenchFault(role=role, kind=kind, message=message, at=at, **({} if text is None else {"text": text}))


def one_attempt(station: Stand, faults: list[BenchFault], serial: str, tally: Tally) -> None:
    """Test a board while faults strike; judge what came of it, mend the bench."""
    instruments = station.running.instruments.by_role()
    for fault in faults:
        instruments[fault.role].faults.add(fault)
    judge = Judge(
        station, serial, tally, f"{faults[-1].role} {faults[-1].message} at {faults[-1].at} {faults[-1].text}"
    )
    station.watcher.on_line = judge.line
    station.watcher.lines.clear()
    for _ in faults:
        judge.attempt(*_tested(station, serial))
    struck = [fault for each in instruments.values() for fault in each.faults.struck]
    tally.struck += bool(struck)
    for each in instruments.values():
        each.faults.clear()
        each.faults.struck.clear()
    _mend(station)


def _tested(station: Stand, serial: str) -> tuple[Attempt, BaseException | None]:
    """One attempt, and what ended the batch with it."""
    attempts = station.attempts([serial])
    attempt = next(attempts)
    try:
        next(attempts, None)
    except StationError as error:
        return attempt, error
    return attempt, None


def _mend(station: Stand) -> None:
    for left in reversed(range(4)):
        try:
            station.station.bench.bring_back()
            break
        except BenchError:
            if not left:
                raise


@dataclass
class Judge:
    """Judges one attempt by the truth."""

    station: Stand
    serial: str
    tally: Tally
    about: str

    @property
    def board(self) -> BoardTruth:
        """What is true of the board."""
        return _truths(self.serial)

    def line(self, line: Line) -> None:
        """Hold a reading against the truth at the moment when it was entered."""
        allowed = self._wrong(line)
        if allowed:
            self.tally.note("wrong_readings", f"{self.serial} {line.measurement.name}: {allowed} ({self.about})")

    def attempt(self, attempt: Attempt, error: BaseException | None) -> None:
        """Hold an outcome against what it must be, and the outputs against off."""
        outcome, must = attempt.outcome, self.board.must
        self.tally.outcomes[outcome.value] += 1
        wrong_pass = outcome is Outcome.PASS and must == "not-pass"
        if wrong_pass or (outcome is Outcome.FAIL and must == "pass"):
            self.tally.note("wrong_verdicts", f"{self.serial} {outcome}: {attempt.first_cause} ({self.about})")
            self.tally.counts["trips"] += "abort bound" in (attempt.first_cause or "")
        if self.station.outputs_on:
            said = isinstance(error, OutputsNotOff)
            self.tally.note("outputs_left_on", f"{self.station.outputs_on} {attempt.first_cause} ({self.about})")
            self.tally.counts["said_live"] += said

    def _wrong(self, line: Line) -> str:
        """What is wrong with a reading, in words; "" where nothing is."""
        measurement, reading = line.measurement, line.reading
        known = measurement.name in self.board.readings and measurement.phase is not Phase.POWER_DOWN
        if not known and (measurement.measurand is not Measurand.VOLTAGE or reading.value is None):
            return ""
        true = self.board.readings.get(measurement.name) if known else self._volts(line)
        if reading.beyond is not None:
            return "" if true is None or true >= reading.beyond else f"more than {reading.beyond}, truly {true}"
        if reading.value is None or not reading.regulated:
            return ""
        if true is None:
            return f"{reading.value}, truly over range"
        load = _doubts().about(measurement, self.board.readings).load if known else 0.02
        allowed = 2 * (reading.uncertainty or 0.0) + load
        return "" if abs(reading.value - true) <= allowed else f"{reading.value}, truly {true}, {allowed} allowed"

    def _volts(self, line: Line) -> float | None:
        """True voltage of a point while the meter last read, or of the known voltage."""
        if line.measurement.point == "reference":
            return float(self.station.station.setup.bench.reference.voltage)
        running = self.station.running
        last = running.log.last_command("meter", "READ?")
        assert last is not None, "a line was read by the meter"
        began_s = last.time_s
        return running.rack.mean_volts(line.measurement.point, began_s, began_s + self._reading_s)

    @property
    def _reading_s(self) -> float:
        """How long the values of one reading take, s."""
        bench = self.station.station.setup.bench
        return bench.meter.readings * float(bench.meter.integration) / float(bench.mains)


@lru_cache
def _setup(transport: str = "tcp") -> Setup:
    setup = demo_setup(defect_rate=Decimal("0.4"), transport=transport)
    roles = ("meter", "load", "supply", "scanner", "handler")
    quick = {role: getattr(setup.bench, role).model_copy(update={"reply": Decimal(REPLY_S[:-2])}) for role in roles}
    return replace(setup, bench=setup.bench.model_copy(update=quick))


@cache
def _truths(serial: str) -> BoardTruth:
    return truth(_setup(), derive_once(_setup()), [serial])[0]


@lru_cache
def _doubts() -> Doubts:
    return Doubts(_setup(), derive_once(_setup()))


@contextmanager
def served(folder: Path, clock: VirtualClock, transport: str) -> Iterator[Stand]:
    """A station on the simulated bench, over the transport that was asked for."""
    with stand(folder, _setup(transport), clock) as station:
        yield station


class Beat:
    """A thread that wants to run every few milliseconds, and keeps when it could not."""

    def __init__(self) -> None:
        self._late: deque[tuple[float, float]] = deque(maxlen=1000)
        self._ran_at = time.monotonic()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._go, daemon=True)
        self._thread.start()

    def late_s(self, since: float) -> float:
        """By how much it was late since a moment, s; what it has not woken from yet counts too."""
        now = time.monotonic()
        late = (*tuple(self._late), (now, now - self._ran_at - BEAT_S))
        return sum(min(late_s, moment - since) for moment, late_s in late if moment > since and late_s > BEAT_S)

    def stop(self) -> None:
        """End the thread."""
        self._stopping.set()
        self._thread.join()

    def _go(self) -> None:
        while not self._stopping.wait(BEAT_S):
            now = time.monotonic()
            self._late.append((now, now - self._ran_at - BEAT_S))
            self._ran_at = now


@contextmanager
def stopwatch(tally: Tally) -> Iterator[None]:
    """Hold every wait for a reply against its deadline."""
    read, beat = Port.read, Beat()

    def timed(port: Port, sent: str, within_s: float) -> str:
        began = time.monotonic()
        try:
            return read(port, sent, within_s)
        finally:
            over_s = time.monotonic() - began - max(within_s, 0.001) - beat.late_s(began)
            tally.longest_over_s = max(tally.longest_over_s, over_s)
            if over_s > HANG_S:
                tally.note("hangs", f"{sent!r} took {over_s:.2f} s more than its {within_s:.2f} s")

    Port.read = timed  # type: ignore[method-assign]
    try:
        yield
    finally:
        Port.read = read  # type: ignore[method-assign]
        beat.stop()


def memory() -> str | None:
    """A folder in memory where there is one: records are synced, and a disk would be all that is measured."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


if __name__ == "__main__":
    main()
