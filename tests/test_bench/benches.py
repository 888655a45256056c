"""A whole scripted bench: five instruments with just enough state, and the bench file that leads to them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import date
from typing import Any

from batchtest.files.bench import BenchFile
from test_bench.scripted import ScriptedInstrument, ScriptedServer

FILE: dict[str, Any] = {
    "station": "bench-1",
    "mains": "50 Hz",
    "reference": {"scanner": 140, "voltage": "5 V", "within": "10 mV"},
    "meter": {
        "dialect": "meter-confread",
        "calibrated": date(2026, 3, 2),
        "due": date(2027, 3, 2),
        "accuracy": {
            "volts_dc": [
                {"range": "10 V", "reading": "0.0035 %", "of_range": "0.0005 %", "noise": "6 uV"},
                {"range": "100 V", "reading": "0.005 %", "of_range": "0.0007 %", "noise": "100 uV"},
            ],
            "ohms": [
                {"range": "100 ohm", "reading": "0.012 %", "of_range": "0.005 %", "current": "1 mA"},
                {"range": "1 kohm", "reading": "0.012 %", "of_range": "0.0012 %", "current": "1 mA"},
            ],
            "diode": [{"range": "5 V", "reading": "0.012 %", "of_range": "0.0015 %", "current": "1 mA"}],
        },
    },
    "load": {
        "dialect": "load-chanlist",
        "channels": 3,
        "protection": {"current": "100 mA", "power": "1 W"},
        "accuracy": {"current": [{"range": "500 mA", "reading": "0.05 %", "of_range": "0.1 %"}]},
    },
    "supply": {
        "dialect": "supply-outp",
        "protection": {"voltage": "26 V"},
        "accuracy": {
            "voltage": [{"range": "30 V", "reading": "0.05 %", "of_range": "0.02 %"}],
            "current": [{"range": "1 A", "reading": "0.05 %", "of_range": "0.3 %"}],
        },
    },
    "scanner": {"dialect": "scanner-routclos", "settle": "5 ms"},
    "handler": {"dialect": "handler-nest"},
}


class Settings:
    """Remembers what was set, per header and channel, and gives it back when asked."""

    def __init__(self) -> None:
        self.held: dict[str, str] = {}
        self.stuck: dict[str, str] = {}

    def __call__(self, unit: str) -> str | None:
        match = re.fullmatch(r"([A-Z:]+)(\?)? ?([^(]*?),? ?(\(@[0-9,]*\))?", unit)
        assert match, unit
        header, asked, value, channels = match.groups()
        keys = [f"{header}{channel}" for channel in (channels or "").strip("(@)").split(",")]
        if asked:
            return self.stuck.get(keys[0], self.held.get(keys[0], self.held.get(header, "0")))
        self.held.update(dict.fromkeys(keys, value))
        return None


class Relays:
    """A scanner's relays."""

    def __init__(self) -> None:
        self.closed: list[int] = []
        self.stuck: list[int] = []

    def __call__(self, unit: str) -> str | None:
        if unit == "ROUT:OPEN:ALL":
            self.closed = []
        elif unit == "ROUT:CLOS:STAT?":
            return f"(@{','.join(str(channel) for channel in sorted({*self.closed, *self.stuck}))})"
        else:
            self.closed += [int(channel) for channel in unit.partition("(@")[2].rstrip(")").split(",")]
        return None


class MeterValues:
    """A meter: gives `values` for what its function and range and the closed relays are, by `read`."""

    def __init__(self) -> None:
        self.function = ""
        self.count = 1
        self.cycles = 10.0
        self.mains = "50"
        self.read = lambda function: "+1.00000000E+00"

    def __call__(self, unit: str) -> str | None:
        header, _, value = unit.partition(" ")
        if header.startswith("CONF"):
            self.function, self.count, self.cycles = unit, 1, 10.0
        elif unit == "SYST:LFR?":
            return self.mains
        elif unit == "FUNC?":
            return f'"{self.function.removeprefix("CONF:").split(" ")[0]}"'
        elif header.endswith("RANG?"):
            return self.function.partition(" ")[2]
        elif header.endswith("NPLC?"):
            return str(self.cycles)
        elif header == "SAMP:COUN":
            self.count = int(value)
        elif header.endswith("NPLC"):
            self.cycles = float(value)
        elif header == "READ?":
            return ",".join(self.read(self.function) for _ in range(self.count))
        return None


class Nest:
    """A handler with a nest, a lid, and a drawer of cables."""

    def __init__(self) -> None:
        self.board = ""
        self.cable = "vent-lead"

    def __call__(self, unit: str) -> str | None:
        if unit.startswith("NEST:PLAC"):
            self.board = unit.split('"')[1]
        elif unit == "NEST:EJEC":
            self.board = ""
        elif unit.startswith("NEST:CABL "):
            self.cable = unit.split('"')[1]
        return {"NEST:BOAR?": f'"{self.board}"', "NEST:CABL?": f'"{self.cable}"', "NEST:LID?": "1"}.get(unit)


class ScriptedBench:
    """The five instruments, their servers, and the bench file."""

    def __init__(self, stack: ExitStack, reply: str = "500 ms") -> None:
        self.values, self.relays, self.nest = MeterValues(), Relays(), Nest()
        self.loads, self.power = Settings(), Settings()
        answers = {
            "meter": self.values,
            "load": self.loads,
            "supply": self.power,
            "scanner": self.relays,
            "handler": self.nest,
        }
        self.instruments = {
            role: ScriptedInstrument(f"S-{role}", answer, model=role) for role, answer in answers.items()
        }
        self.servers: dict[str, ScriptedServer] = {}
        table: dict[str, Any] = dict(FILE)
        for role, instrument in self.instruments.items():
            self.servers[role] = server = ScriptedServer(instrument)
            stack.callback(server.stop)
            table[role] = {
                **FILE[role],
                "identity": {"maker": "Glasshouse Bench Works", "model": role, "serial": f"S-{role}"},
                "address": server.address,
                "read_ending": "LF",
                "write_ending": "LF",
                "reply": reply,
                "open": "1 s",
            }
        self.table = table

    @property
    def file(self) -> BenchFile:
        """The bench file."""
        return BenchFile.model_validate(self.table)


@contextmanager
def scripted_bench(reply: str = "500 ms") -> Iterator[ScriptedBench]:
    """Serve a scripted bench while the block runs."""
    with ExitStack() as stack:
        yield ScriptedBench(stack, reply)
