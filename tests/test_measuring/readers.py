"""A reader on a scripted bench, whose meter shows what a test says at the moment of the bench's clock."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from test_bench.benches import ScriptedBench, scripted_bench

from batchtest.bench import Bench
from batchtest.clock import VirtualClock
from batchtest.files.fixture import FixtureFile
from batchtest.measuring import Reader
from batchtest.nouns import Measurand, Measurement, Phase

FIXTURE = FixtureFile.model_validate(
    {
        "takes": ["vent"],
        "cable": "vent-lead",
        "circuit": "vent-nest",
        "identify": "id",
        "discharge": {"scanner": 131, "resistor": "100 ohm"},
        "power": {"from": "supply", "into": "host.2-host.7", "soft_start": ["24 V"]},
        "points": {
            "feed": {"plus": "host.2", "minus": "host.7", "scanner": 101, "contact": [201, 301]},
            "logic": {"plus": "TP3", "minus": "TP1", "scanner": 103, "contact": [203, 302], "load": 2},
            "id": {"plus": "host.8", "minus": "host.7", "scanner": 106, "contact": [206, 301]},
        },
    }
)

VOLTS = Measurement(
    name="logic @ load point 1",
    phase=Phase.LOAD,
    point="logic",
    measurand=Measurand.VOLTAGE,
    unit="V",
    range=10.0,
    expected=5.0,
    settle_s=0.01,
)
OHMS = replace(
    VOLTS,
    name="logic-short",
    phase=Phase.GATE,
    measurand=Measurand.RESISTANCE,
    unit="ohm",
    range=1000.0,
    expected=300.0,
)
#: Integration of one raw value, s: one cycle of 50 Hz.
EACH_S = 0.02


@dataclass
class On:
    """A reader, its bench, and the scripted instruments behind it."""

    reader: Reader
    bench: Bench
    scripted: ScriptedBench
    clock: VirtualClock

    def shows(self, value: Callable[[float], float]) -> None:
        """The meter shows this value of the clock's time, whatever it is set to."""

        def read(_function: str) -> str:
            shown = value(self.clock.now())
            self.clock.sleep(EACH_S)
            return f"{shown:+.8E}".replace("INF", "9.90000000E+37")

        self.scripted.values.read = read

    def prove(self, point: str) -> None:
        """Prove the contacts of a point by a meter that shows 0.2 ohm."""
        self.shows(lambda _: 0.2)
        contact = replace(OHMS, name="contact", measurand=Measurand.CONTACT, range=100.0)
        for channel in FIXTURE.points[point].contact:
            self.reader.contact(contact, channel)


@contextmanager
def reading(tmp_path: Path, change: Callable[[dict[str, Any]], None] = lambda table: None) -> Iterator[On]:
    """A reader at 23 C; `change` may change the bench file."""
    clock = VirtualClock()
    with scripted_bench() as scripted:
        change(scripted.table)
        with Bench.open(scripted.file, "try", clock, tmp_path) as bench:
            yield On(Reader(bench, scripted.file, FIXTURE, 23.0), bench, scripted, clock)
