"""One load test of one outlet: its host proven, loaded, switched off again and shown to be dead."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Protocol

from batchtest.bench import Bench
from batchtest.errors import BenchError, StationError
from batchtest.files.outlets import OutletSetup
from batchtest.measuring import Reader
from batchtest.nouns import Limit, Line, Measurement, Reading
from batchtest.outlet.derived import enter_derived
from batchtest.outlet.drawing import Drawing
from batchtest.outlet.fuse_tests import Followed, hold_fuse, supplied, trip_fuse
from batchtest.outlet.plan import HoldFuse, OutletProcedure, SweepCold, SweepHot, TripFuse
from batchtest.outlet.sweeps import sweep_cold, sweep_hot
from batchtest.procedure import Action
from batchtest.procedure.host_map import SwitchOff, SwitchOn
from batchtest.proof import Announce, Deadness, Enter, HostProof, HostSwitch, prove_host, show_dead

#: A load may have to turn so much more into heat than the highest voltage times the stop.
SPARE_W = 1.2


class FuseMover(Protocol):
    """Whoever takes the fuse out of a host that is off, into the holder on the bench, and puts it back."""

    def out(self, serial: str) -> None:
        """Take it out; it returns once the fuse is in the holder."""
        ...

    def back(self, serial: str) -> None:
        """Put it back."""
        ...


@dataclass(frozen=True, slots=True)
class OutletStation:
    """What a load test needs: bench, reader, setup, procedure, and who switches the host and moves its fuse."""

    bench: Bench
    reader: Reader
    setup: OutletSetup
    procedure: OutletProcedure
    switch: HostSwitch
    mover: FuseMover
    ambient_C: float


def load_test(
    station: OutletStation, serial: str, enter: Enter, announce: Announce, lines: Callable[[], Sequence[Line]]
) -> None:
    """Prove the host, load its outlet, switch it off again, and work out the answer.

    Parameters
    ----------
    lines : what was entered so far.

    Raises
    ------
    NotProven : the host does not have on its pins what its circuit says; nothing was drawn.
    SafetyTrip : the outlet gave what it must not, or a fuse does not trip; everything is off.
    BenchError : the bench is at fault, or the host is not shown to be dead at the end: treat it as live.
    """
    bench, guarded = station.bench, _guarded(station.bench, enter)
    proof = prove_host(
        bench,
        station.reader,
        station.procedure.host,
        serial,
        switch=station.switch,
        enter=enter,
        announce=announce,
    )
    work = _Work(station, serial, guarded, enter, announce)
    with work.live(proof):
        for action in work.in_host:
            announce(action)
            if not work.do(action):
                break
    if work.alone is not None and work.held:
        announce(work.alone)
        work.trip_alone(work.alone)
    known = station.procedure.known
    enter_derived(known, station.setup.limits, lines(), station.ambient_C, enter)


def _guarded(bench: Bench, enter: Enter) -> Enter:
    """Enter a reading of a loaded outlet only while nobody else has switched the outputs off."""

    def checked(measurement: Measurement, reading: Reading) -> Line:
        bench.guard.check()
        return enter(measurement, reading)

    return checked


@dataclass(slots=True)
class _Work:
    station: OutletStation
    serial: str
    enter: Enter
    unguarded: Enter
    announce: Announce
    held: bool = True

    @property
    def in_host(self) -> list[Action]:
        """What is done while the host is live."""
        return [action for action in self.station.procedure.actions if action is not self.alone]

    @property
    def alone(self) -> TripFuse | None:
        """The trip test where it is done outside the host."""
        trip = self.station.procedure.known.trip
        found = (action for action in self.station.procedure.actions if isinstance(action, TripFuse))
        return next(found, None) if trip is not None and trip.alone else None

    def do(self, action: Action) -> bool:
        """Do one action; whether the outlet held what was asked of it, so that the next may follow."""
        file = self.station.setup.outlet
        drawing = self.drawing(self.station.procedure.known.stop_A)
        match action:
            case SweepCold(currents=currents):
                self.held = sweep_cold(drawing, file.sweep, currents, self.open_limit)
            case SweepHot(currents=currents):
                self.held = sweep_hot(drawing, file.sweep, currents)
            case HoldFuse(current=amperes):
                assert file.hold is not None, "planned from the file"
                self.held = hold_fuse(drawing, file.hold, amperes, self.followed)
            case TripFuse(current=amperes):
                self.trip(self.allowed(amperes), amperes)
            case _:
                raise AssertionError(f"{action.title!r} is no part of a load test")
        return self.held

    def trip(self, drawing: Drawing, amperes: float) -> None:
        """Trip the fuse, wherever it is."""
        trip, fuse = self.station.setup.outlet.trip, self.station.setup.limits.fuse
        assert trip is not None, "planned from the file"
        longest = None if fuse is None or fuse.time_to_trip is None else float(fuse.time_to_trip)
        limit = None if longest is None else Limit(upper=longest, source=self.station.setup.limits.source)
        trip_fuse(drawing, trip, amperes, self.followed, limit)

    def trip_alone(self, action: TripFuse) -> None:
        """The fuse out of its host, into the holder, and tripped on the bench supply; then back again."""
        station, trip = self.station, self.station.setup.outlet.trip
        assert trip is not None, "planned from the file"
        station.mover.out(self.serial)
        drawing = self.allowed(action.current)
        with supplied(station.bench, float(trip.volts), action.current):
            drawing.since = station.bench.clock.now()
            self.trip(drawing, action.current)
        station.mover.back(self.serial)

    def drawing(self, stop_A: float) -> Drawing:
        """The load across the outlet, up to a stop."""
        station, template = self.station, self.station.procedure.template
        channel = station.setup.outlet.load
        return Drawing(station.bench, station.reader, self.enter, channel, stop_A, template, station.bench.clock.now())

    def allowed(self, amperes: float) -> Drawing:
        """The same up to the current of a trip test, which the load itself is told too."""
        station = self.station
        upper = station.procedure.template.abort
        assert upper is not None, "planned with bounds"
        assert upper.upper is not None, "an upper one"
        stop_A = amperes * SPARE_W
        station.bench.load.off()
        station.bench.guard.permit()  # clearing a trip may switch an input on
        station.bench.load.limit(stop_A, stop_A * upper.upper)
        return self.drawing(stop_A)

    @property
    def followed(self) -> Followed:
        """How a resistance is read: at half of what the sweep goes up to."""
        actions = self.station.procedure.actions
        currents = next(action.currents for action in actions if isinstance(action, SweepCold))
        file, middle = self.station.setup.outlet, len(currents) // 2
        cooling_s = float(file.sweep.longest if file.hold is None else file.hold.cooling)
        return Followed(file.sweep, currents[middle], (currents[middle], currents[-1]), cooling_s)

    @property
    def open_limit(self) -> Limit | None:
        """What the open circuit must read."""
        limits = self.station.setup.limits
        if limits.open is None:
            return None
        lower, upper = (None if each is None else float(each) for each in (limits.open.lower, limits.open.upper))
        return Limit(lower=lower, upper=upper, source=limits.source)

    @contextmanager
    def live(self, proof: HostProof) -> Iterator[None]:
        """The host on for as long as the context lasts; off after it, and shown to be dead, whatever happened.

        Raises
        ------
        NotProven : the proof is not for this host and moment; nothing was switched on.
        BenchError : the host is not shown to be off and dead: treat it as live.
        """
        station, actions = self.station, self.station.procedure.host.actions
        on = next(action for action in actions if isinstance(action, SwitchOn))
        off = next(action for action in actions if isinstance(action, SwitchOff))
        proof.spend(serial=self.serial, contact=station.bench.contact)
        station.bench.confirm_protection()
        station.bench.scanner.open_all()
        self.announce(replace(on, title="host on, the load at its outlet off"))
        try:
            station.switch.on(self.serial)
            yield
        except BaseException as error:
            self._switch_off(error)
            self._show_dead(off, error)
            raise
        self.announce(off)
        self._switch_off(None)
        self._show_dead(off, None)

    def _switch_off(self, before: BaseException | None) -> None:
        """Load off, then the host; that it cannot be outweighs whatever ended the test."""
        try:
            try:
                self.station.bench.off()
            finally:
                self.station.switch.off(self.serial)
        except StationError as worse:
            said = f" Before that: {before or type(before).__name__}" if before is not None else ""
            raise BenchError(
                f"host {self.serial} is not shown to be off ({worse}); treat it as live, and isolate it at its "
                f"mains.{said}"
            ) from worse

    def _show_dead(self, off: SwitchOff, before: BaseException | None) -> None:
        station = self.station
        dead = Deadness(station.bench, station.reader, self.unguarded, f"host {self.serial}")
        measurements = tuple(replace(each, name=f"{each.name}, after the load test") for each in off.measurements)
        try:
            show_dead(dead, self.serial, measurements)
        except StationError as worse:
            if before is None:
                raise
            raise BenchError(f"{worse} Before that: {before or type(before).__name__}") from worse
