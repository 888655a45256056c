"""The map of a live host with nothing mated to it, as a list of actions: dead, on, every pin, off, dead again.

The bench's own outputs stay off throughout. A zero on an unused pin counts as it does anywhere: the needles on that pin
were shown to touch before the host went on and after it went off, the known voltage is read right on both sides, and
the meter's input (`METER_OHM`) holds a pin that floats at zero.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from batchtest.files.hosts import HostSetup
from batchtest.nouns import Measurand, Measurement, Phase
from batchtest.procedure.actions import Action, MakeSafe
from batchtest.procedure.dead import DEAD, Unpowered
from batchtest.procedure.host_model import HostModel
from batchtest.procedure.pin_map import check_interlock
from batchtest.procedure.pin_windows import PinWindows, pin_windows
from batchtest.procedure.times import SETTING_S, Times

#: How long switching a host takes: a person reaches for its switch (own choice).
SWITCH_S = 5.0
#: How long a host that was switched off should take to fall dead, s (own choice).
FALL_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOn(Action):
    """The host's mains on, by a person or the handler, once everything before has shown it to be dead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadPins(Action):
    """Every pin of the live host, settled, voltage and polarity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOff(Action):
    """The host's mains off, and every point measured until it is dead: safe to disconnect."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HostProcedure:
    """The derived list for one host, plug and bench. It starts and ends with everything off.

    `windows` knows what each pin must read, and what swapped pins would.
    """

    host: str
    fixture: str
    bench: str
    windows: PinWindows
    actions: tuple[Action, ...]

    @property
    def seconds(self) -> float:
        """Time that one host should take, s."""
        return sum(action.seconds for action in self.actions)

    @property
    def pins(self) -> tuple[Measurement, ...]:
        """The readings of the live host."""
        return next(action.measurements for action in self.actions if isinstance(action, ReadPins))


def derive_host(setup: HostSetup) -> HostProcedure:
    """Work out the ordered actions with which a live host is mapped.

    Raises
    ------
    NoOperatingPoint : the host's circuit has no solution by itself.
    """
    model = HostModel.of(setup.circuit)
    windows = pin_windows(setup, model)
    return HostProcedure(
        host=setup.host,
        fixture=setup.fixture_name,
        bench=setup.bench_name,
        windows=windows,
        actions=_actions(setup, model, windows),
    )


def _actions(setup: HostSetup, model: HostModel, windows: PinWindows) -> tuple[Action, ...]:
    times = Times.of(setup.bench)
    cold = Unpowered(setup.bench, setup.fixture, windows.range, times)
    interlock = tuple(check_interlock(setup.bench, times))
    pins = tuple(_pin(windows, model, point) for point in windows.points)
    known = [cold.reference("known voltage", when).measurements for when in ("before the last look", "after it")]
    fallen = (*known[0], *cold.residuals("after switching off", limit=DEAD), *known[1])
    left = tuple(replace(each, phase=Phase.POWER_DOWN) for each in fallen)
    return (
        MakeSafe(title="outputs off, read back, protections set", seconds=20 * SETTING_S),
        *interlock,
        *cold.shown_dead(_drained(setup)),
        *interlock,
        SwitchOn(title="host on, nothing mated to it", seconds=SWITCH_S),
        ReadPins(
            title="every pin of the live host",
            seconds=times.of_readings(pins) + times.of_settling(pins),
            measurements=pins,
        ),
        cold.reference("known voltage read right after the pins", "after the pins"),
        SwitchOff(
            title="host off, safe to disconnect",
            seconds=SWITCH_S + FALL_S + times.of_readings(left),
            measurements=left,
        ),
        cold.contact("once more"),
    )


def _pin(windows: PinWindows, model: HostModel, point: str) -> Measurement:
    pair, limit = windows.points[point], windows.limits[point]
    unused = bool(set(pair) & set(windows.unused))
    return Measurement(
        name=f"host {point}",
        phase=Phase.HOST,
        point=point,
        measurand=Measurand.VOLTAGE,
        unit="V",
        range=windows.range,
        limit=limit,
        expected=0.0 if unused else windows.window(pair).nominal,
        settle_s=model.settle_s(pair),
    )


def _drained(setup: HostSetup) -> str:
    """The point that the discharge resistor lies across; the first one where there is none."""
    discharge, points = setup.fixture.discharge, setup.fixture.points
    across = None if discharge is None else discharge.across
    return next((name for name, one in points.items() if f"{one.plus}-{one.minus}" == across), next(iter(points)))
