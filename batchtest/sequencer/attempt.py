"""One attempt at one board: gate, proof, power, loads, off, record. Outputs are off on every way out."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Protocol, TypeVar

from batchtest.bench import Bench
from batchtest.errors import BenchError, NotProven, RecordError, SafetyTrip, SetupError, StationError
from batchtest.files.library import Setup
from batchtest.judging.rule import first_cause, outcome_of
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurement, Outcome, Phase, Reading
from batchtest.procedure import Action, Procedure
from batchtest.procedure.actions import ApplyLoads, Derive, PowerDown, SoftStart
from batchtest.proof import Memory, Proof, prove
from batchtest.records.excuse import counted
from batchtest.sequencer.load_points import apply_loads, derive_values
from batchtest.sequencer.logbook import Logbook, Observer
from batchtest.sequencer.power import Hands, hold_interlock, power_down, power_up
from batchtest.sequencer.shield import uninterrupted


@dataclass(frozen=True, slots=True)
class Ending:
    """How an attempt ended: the outcome, what decided it, and the error to pass on once the record is closed.

    `aborted` says in a word what ended it before its procedure was worked through; empty where nothing did.
    """

    outcome: Outcome
    first_cause: str | None
    error: BaseException | None = None
    aborted: str = ""


@dataclass(frozen=True, slots=True)
class Station:
    """What stays from board to board: bench, reader, setup and procedure, and what is known of the cable."""

    bench: Bench
    reader: Reader
    setup: Setup
    procedure: Procedure
    ambient_C: float
    memory: Memory = field(default_factory=Memory)


class OnBench(Protocol):
    """What has a bench: a station for boards, or for hosts."""

    @property
    def bench(self) -> Bench:
        """The bench."""
        ...


StationT = TypeVar("StationT", bound=OnBench)
StationT_contra = TypeVar("StationT_contra", bound=OnBench, contravariant=True)


class Work(Protocol[StationT_contra]):
    """What is done with a board once it lies in the nest, or with a host once the plug is in."""

    def __call__(self, station: StationT_contra, serial: str, logbook: Logbook, observer: Observer) -> None:
        """Do it; raises as `run_attempt` knows it."""
        ...


def run_attempt(
    station: StationT,
    serial: str,
    logbook: Logbook,
    observer: Observer,
    place: Callable[[str], None],
    work: Work[StationT],
) -> Ending:
    """Have the board placed, with the outputs off, and do the work: `test`, or what `try_gate` or `map_host` do.

    Never raises: a refusal, a stop and whatever else went wrong come back in the `Ending`, to be raised once recorded.
    """
    try:
        station.bench.off()
        place(serial)
        logbook.begin()
        work(station, serial, logbook, observer)
    except SafetyTrip as trip:
        ending = Ending(Outcome.FAIL, str(trip), aborted="safety trip")
    except NotProven as refusal:
        ending = Ending(Outcome.REFUSED, str(refusal), refusal, "not proven")
    except BaseException as error:  # a bench error, Ctrl-C, a bug: stopped; raised once its record is closed
        ending = Ending(Outcome.STOPPED, _cause(error), error, _kind(error))
    else:
        lines = counted(logbook.lines, logbook.waivers)
        outcome = outcome_of(line.judgement for line in lines)
        cold = outcome is not Outcome.PASS and all(line.measurement.phase is Phase.GATE for line in logbook.lines)
        ending = Ending(outcome, first_cause(lines), aborted="cold checks" if cold else "")
    return _switched_off(station.bench, ending)


def _kind(error: BaseException) -> str:
    """What stopped an attempt, in a word: the bench, the record, a person or signal, or a fault of this program."""
    if isinstance(error, KeyboardInterrupt):
        return "interrupted"
    name = type(error).__name__
    kinds = {BenchError: f"bench: {name}", RecordError: "record", SetupError: "setup"}
    return next((word for kind, word in kinds.items() if isinstance(error, kind)), f"program: {name}")


def _cause(error: BaseException) -> str:
    if isinstance(error, KeyboardInterrupt):
        return "interrupted: a person or a signal ended the batch"
    return str(error) or type(error).__name__


def _switched_off(bench: Bench, ending: Ending) -> Ending:
    try:
        with uninterrupted():
            bench.off()
        bench.guard.check()  # what was read after the guardian has switched off is not of a powered board
    except KeyboardInterrupt as stop:  # held back until the outputs were off: the attempt stands, the batch ends
        return replace(ending, error=ending.error or stop)
    except Exception as error:  # whatever keeps an output on outweighs every other ending
        return Ending(Outcome.STOPPED, str(error), error, _kind(error))
    return ending


def test(station: Station, serial: str, logbook: Logbook, observer: Observer) -> None:
    """Work through the whole procedure: the gate, and with its proof everything that needs power."""
    procedure = station.procedure
    hands = _hands(station, logbook, observer)
    proof = _prove(station, serial, hands)
    if proof is None:
        return
    last = next(action for action in procedure.powered if isinstance(action, PowerDown))
    before = station.bench.switched_on
    try:
        power_up(proof, serial, procedure, hands)
        _load(station, logbook, hands)
    except SafetyTrip as trip:
        if trip.measurement is not None and trip.reading is not None:
            logbook.enter(trip.measurement, trip.reading)
        power_down(last, hands)
        raise
    except BaseException:
        if station.bench.switched_on != before:
            _leave(last, hands)
        raise
    hands.announce(last)
    power_down(last, hands)


def _leave(last: PowerDown, hands: Hands) -> None:
    """Off, and measured as far as the bench still can; what it cannot show, the record does not have, and is live.

    Whatever goes wrong here, what ended the attempt is told, and not this. A second Ctrl-C ends the measuring, and not
    the switching off.
    """
    with suppress(StationError, KeyboardInterrupt):
        with uninterrupted():
            hands.bench.off()
        power_down(last, hands)


def try_gate(station: Station, serial: str, logbook: Logbook, observer: Observer) -> None:
    """Work through the gate alone; its proof is thrown away, nothing is powered."""
    _prove(station, serial, _hands(station, logbook, observer))


def _hands(station: Station, logbook: Logbook, observer: Observer) -> Hands:
    announce = _Announcer(station.procedure, observer)

    def enter(measurement: Measurement, reading: Reading) -> Line:
        if measurement.phase in (Phase.SOFT_START, Phase.LOAD):
            station.bench.guard.check()  # nobody has switched off before this was read
        return logbook.enter(measurement, reading)

    return Hands(station.bench, station.reader, enter, announce, logbook.waivers)


def _prove(station: Station, serial: str, hands: Hands) -> Proof | None:
    return prove(
        hands.bench,
        hands.reader,
        station.procedure,
        serial,
        memory=station.memory,
        waivers=hands.waivers,
        enter=hands.enter,
        announce=hands.announce,
    )


def _load(station: Station, logbook: Logbook, hands: Hands) -> None:
    """Everything between the soft start and the power-down, in the order of the procedure."""
    volts = max(action.volts for action in station.procedure.powered if isinstance(action, SoftStart))
    for action in station.procedure.powered:
        if isinstance(action, SoftStart | PowerDown):
            continue
        hands.announce(action)
        match action:
            case ApplyLoads():
                hold_interlock(station.procedure, hands)
                apply_loads(action, volts, hands)
            case Derive():
                derive_values(action, logbook.lines, station.setup, station.ambient_C, hands.enter)
            case _:
                raise AssertionError(f"{action.title!r} does not belong after the gate")


class _Announcer:
    """Tells the observer of each action, and how long the rest should take."""

    def __init__(self, procedure: Procedure, observer: Observer) -> None:
        self._left_s, self._observer = procedure.seconds, observer

    def __call__(self, action: Action) -> None:
        self._observer.start_action(action, self._left_s)
        self._left_s -= action.seconds
