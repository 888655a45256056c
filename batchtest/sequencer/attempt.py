"""One attempt at one board: gate, proof, power, loads, off, record. Outputs are off on every way out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from batchtest.bench import Bench
from batchtest.errors import NotProven, SafetyTrip
from batchtest.files.library import Setup
from batchtest.judging.rule import first_cause, outcome_of
from batchtest.measuring import Reader
from batchtest.nouns import Outcome
from batchtest.procedure import Action, Procedure
from batchtest.procedure.actions import ApplyLoads, Derive, PowerDown, SoftStart
from batchtest.proof import prove
from batchtest.sequencer.load_points import apply_loads, derive_values
from batchtest.sequencer.logbook import Logbook, Observer
from batchtest.sequencer.power import Hands, power_down, power_up
from batchtest.sequencer.shield import uninterrupted


@dataclass(frozen=True, slots=True)
class Ending:
    """How an attempt ended: the outcome, what decided it, and the error to pass on once the record is closed."""

    outcome: Outcome
    first_cause: str | None
    error: BaseException | None = None


@dataclass(frozen=True, slots=True)
class Station:
    """What stays the same from board to board: bench and reader, the setup and the procedure that follows from it."""

    bench: Bench
    reader: Reader
    setup: Setup
    procedure: Procedure
    ambient_C: float


def run_attempt(
    station: Station, serial: str, logbook: Logbook, observer: Observer, place: Callable[[str], None]
) -> Ending:
    """Have the board placed, with the outputs off, and work through the procedure.

    Never raises: a refusal, a stop and whatever else went wrong come back in the `Ending`, to be raised once recorded.
    """
    try:
        station.bench.off()
        place(serial)
        logbook.begin()
        _work(station, serial, logbook, observer)
    except SafetyTrip as trip:
        ending = Ending(Outcome.FAIL, str(trip))
    except NotProven as refusal:
        ending = Ending(Outcome.REFUSED, str(refusal), refusal)
    except BaseException as error:  # a bench error, Ctrl-C, a bug: stopped; raised once its record is closed
        ending = Ending(Outcome.STOPPED, _cause(error), error)
    else:
        judgements = [line.judgement for line in logbook.lines]
        ending = Ending(outcome_of(judgements), first_cause(logbook.lines))
    return _switched_off(station.bench, ending)


def _cause(error: BaseException) -> str:
    if isinstance(error, KeyboardInterrupt):
        return "interrupted: a person or a signal ended the batch"
    return str(error) or type(error).__name__


def _switched_off(bench: Bench, ending: Ending) -> Ending:
    try:
        with uninterrupted():
            bench.off()
    except KeyboardInterrupt as stop:  # held back until the outputs were off: the attempt stands, the batch ends
        return replace(ending, error=ending.error or stop)
    except Exception as error:  # whatever keeps an output on outweighs every other ending
        return Ending(Outcome.STOPPED, str(error), error)
    return ending


def _work(station: Station, serial: str, logbook: Logbook, observer: Observer) -> None:
    procedure = station.procedure
    hands = Hands(station.bench, station.reader, logbook.enter, _Announcer(procedure, observer))
    proof = prove(hands.bench, hands.reader, procedure, serial, enter=hands.enter, announce=hands.announce)
    if proof is None:
        return
    try:
        power_up(proof, serial, procedure, hands)
        _load(station, logbook, hands)
    except SafetyTrip as trip:
        if trip.measurement is not None and trip.reading is not None:
            logbook.enter(trip.measurement, trip.reading)
        last = next(action for action in procedure.powered if isinstance(action, PowerDown))
        power_down(last, hands)
        raise


def _load(station: Station, logbook: Logbook, hands: Hands) -> None:
    """Everything after the soft start, in the order of the procedure."""
    volts = max(action.volts for action in station.procedure.powered if isinstance(action, SoftStart))
    for action in station.procedure.powered:
        if isinstance(action, SoftStart):
            continue
        hands.announce(action)
        match action:
            case ApplyLoads():
                apply_loads(action, volts, hands)
            case Derive():
                derive_values(action, logbook.lines, station.setup, station.ambient_C, hands.enter)
            case PowerDown():
                power_down(action, hands)
            case _:
                raise AssertionError(f"{action.title!r} does not belong after the gate")


class _Announcer:
    """Tells the observer of each action, and how long the rest should take."""

    def __init__(self, procedure: Procedure, observer: Observer) -> None:
        self._left_s, self._observer = procedure.seconds, observer

    def __call__(self, action: Action) -> None:
        self._observer.start_action(action, self._left_s)
        self._left_s -= action.seconds
