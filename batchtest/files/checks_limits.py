"""What limits say against the fixture and the bench they are used with."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from batchtest.errors import Fault, nearest
from batchtest.files.bench import BenchFile
from batchtest.files.fixture import FixtureFile
from batchtest.files.limits import LimitsFile
from batchtest.files.positions import Key
from batchtest.files.read import Document
from batchtest.quantities import write


def limits_against_fixture(limits: Document[LimitsFile], fixture: Document[FixtureFile]) -> Iterator[Fault]:
    """Rails and cold checks at points that the fixture does not have, and loads at points that have no load channel."""
    points = fixture.model.points
    for name, check in limits.model.cold.items():
        if check.point not in points:
            yield limits.fault(("cold", name, "point"), _no_point(check.point, fixture))
    for name, rail in limits.model.rails.items():
        if name not in points:
            yield limits.fault(("rails", name), _no_point(name, fixture))
        elif points[name].load is None:
            for index, entry in enumerate(rail.at):
                if entry.load:
                    wrong = f"point {name!r} has no load in {fixture.file}; write '0 A', or give the point a load"
                    yield limits.fault(("rails", name, "at", index, "load"), wrong)


def limits_against_bench(limits: Document[LimitsFile], bench: Document[BenchFile]) -> Iterator[Fault]:
    """Loads beyond what the load may draw, and bounds beyond the meter's ranges."""
    yield from _loads_too_large(limits, bench)
    yield from _bounds_out_of_range(limits, bench)


def _no_point(name: str, fixture: Document[FixtureFile]) -> str:
    return f"there is no point {name!r} in {fixture.file}; {nearest(name, list(fixture.model.points))}"


def _loads_too_large(limits: Document[LimitsFile], bench: Document[BenchFile]) -> Iterator[Fault]:
    load = bench.model.load
    largest = min(load.protection.current, load.accuracy.current[-1].range)
    for name, rail in limits.model.rails.items():
        for index, entry in enumerate(rail.at):
            key: Key = ("rails", name, "at", index, "load")
            current = entry.load or Decimal(0)
            power = current * abs(rail.nominal)
            if current > largest:
                wrong = f"{write(current, 'A')} is beyond the load's protection or range in {bench.file}"
                yield limits.fault(key, f"{wrong}; stay at or below {write(largest, 'A')}")
            elif power > load.protection.power:
                allowed = write(load.protection.power, "W")
                wrong = f"{write(current, 'A')} at nominal takes {write(power, 'W')}, beyond the load's protection"
                yield limits.fault(key, f"{wrong} of {allowed} in {bench.file}; draw less")


def _bounds_out_of_range(limits: Document[LimitsFile], bench: Document[BenchFile]) -> Iterator[Fault]:
    tables = bench.model.meter.accuracy
    largest = {
        "V": ("volts", tables.volts_dc[-1].range, "V"),
        "ohm": ("ohms", tables.ohms[-1].range, "ohm"),
        "diode": ("diode", tables.diode[-1].range if tables.diode else None, "V"),
    }
    for key, kind, value in _bounds(limits.model):
        function, range_, unit = largest[kind]
        if range_ is None:
            yield limits.fault(key[:-1], f"needs the diode function, which the meter in {bench.file} has no row for")
        elif abs(value) > range_:
            wrong = f"{write(value, unit)} is beyond the meter's largest {function} range, {write(range_, unit)}"
            yield limits.fault(key, f"{wrong}; no reading could decide it")


def _bounds(limits: LimitsFile) -> Iterator[tuple[Key, str, Decimal]]:
    """Every bound that is written: its key, what it bounds (V, ohm, diode), its value."""
    for name, check in limits.cold.items():
        yield from _pair(("cold", name, "resistance"), "ohm", check.resistance, "lower", "upper")
        yield from _pair(("cold", name, "diode"), "diode", check.diode, "lower", "upper")
    for name, rail in limits.rails.items():
        yield ("rails", name, "nominal"), "V", rail.nominal
        for index, entry in enumerate(rail.at):
            yield from _pair(("rails", name, "at", index), "V", entry, "lower", "upper")
        yield from _pair(("rails", name, "abort"), "V", rail.abort, "above", "below")


def _pair(key: Key, kind: str, bounds: object, *names: str) -> Iterator[tuple[Key, str, Decimal]]:
    for name in names:
        value = getattr(bounds, name, None)
        if value is not None:
            yield (*key, name), kind, value
