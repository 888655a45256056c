"""A simulated bench without sockets: its instruments on a table, and a hand on the time."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from batchtest.files.library import Setup, load_setup
from batchtest.nouns import Role
from batchtest.simulated.log import BenchLog
from batchtest.simulated.rack import Rack
from batchtest.simulated.serve import instruments_of

ROOT = Path(__file__).resolve().parents[2]


@cache
def demo() -> Setup:
    """The demo's setup as it stands in the files."""
    return load_setup(ROOT, "vent-nest", "simulated")


def changed(**simulation: Any) -> Setup:
    """The demo's setup with good boards only and no hum, and other keys of `[simulation]` on top."""
    setup = demo()
    assert setup.bench.simulation is not None
    keys = {"defect_rate": 0, "boards": {}, "hum": 0, **simulation}
    bench = setup.bench.model_copy(update={"simulation": setup.bench.simulation.model_copy(update=keys)})
    return replace(setup, bench=bench)


class Desk:
    """Instruments that are asked directly; every message is waited for."""

    def __init__(self, setup: Setup | None = None) -> None:
        self.log = BenchLog()
        self.rack = Rack(setup or changed(), self.log)
        self.instruments = instruments_of(self.rack.setup, self.rack)
        self.by_role = self.instruments.by_role()
        self.now = 1.0

    def ask(self, role: str, message: str) -> str:
        """Send a message and wait until the instrument is through with it; its reply, or "" for none."""
        reply, self.now = self.by_role[Role(role)].execute_at(message.encode("ascii"), self.now)
        return reply.decode("ascii")

    def numbers(self, role: str, message: str) -> list[float]:
        """The reply as numbers."""
        return [float(text) for text in self.ask(role, message).replace(";", ",").split(",")]

    def errors(self, role: str) -> list[str]:
        """Everything in an instrument's error queue."""
        found = []
        while not (entry := self.ask(role, "SYST:ERR?")).startswith("+0"):
            found.append(entry)
        return found

    def place(self, serial: str = "VN-0001", rest_s: float = 10.0) -> None:
        """Put a board into the nest, and let its charge bleed."""
        self.ask("handler", f'NEST:PLAC "{serial}"')
        self.now += rest_s

    def power(self, volts: float = 24.0, limit_A: float = 0.3, rest_s: float = 1.0) -> None:
        """Switch the supply on, and let everything settle."""
        self.ask("supply", f"VOLT {volts};CURR {limit_A};OUTP ON")
        self.now += rest_s

    def close(self, *channels: int) -> None:
        """These relays closed and no other."""
        self.ask("scanner", f":ROUT:OPEN:ALL;:ROUT:CLOS (@{','.join(map(str, channels))})")

    def volts(self, channel: int, range_V: float = 100, nplc: float = 1.0, count: int = 1) -> list[float]:
        """Readings in volts on a scanner channel."""
        self.close(channel)
        return self.numbers("meter", f"CONF:VOLT:DC {range_V};:VOLT:DC:NPLC {nplc};:SAMP:COUN {count};:READ?")

    def ohms(self, channel: int, range_ohm: float = 1000, nplc: float = 1.0, count: int = 1) -> list[float]:
        """Readings in ohms on a scanner channel, after a moment to settle."""
        self.close(channel)
        self.ask("meter", f"CONF:RES {range_ohm};:RES:NPLC {nplc};:SAMP:COUN {count}")
        self.now += 0.2
        return self.numbers("meter", "READ?")
