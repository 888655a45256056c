"""What every simulated instrument has: an identity from the bench file, the rack, and its place in the log."""

from __future__ import annotations

from batchtest.files.bench import Instrument
from batchtest.simulated.faults import Faults
from batchtest.simulated.log import Kind
from batchtest.simulated.scpi import Framer, ScpiInstrument, identity_line
from batchtest.simulated.wired import Wired

#: Firmware that simulated instruments answer with.
FIRMWARE = "1.0"
#: Time that an output takes to set, s (common practice, no source).
OUTPUT_S = 0.002
#: Time that any other setting takes, s (common practice, no source).
SETTING_S = 0.001
#: Time that a read-back of voltage, current or status takes, s (common practice, no source).
READBACK_S = 0.001


class BenchInstrument(ScpiInstrument):
    """A SCPI instrument wired to the rack. Every message and every reply goes into the bench's log.

    `ending` is what its messages and replies end with on the wire, `restarts` how often it has lost its power.
    """

    ending = b"\n"

    def __init__(self, role: str, instrument: Instrument, rack: Wired) -> None:
        identity = instrument.identity
        simulation = rack.bench.simulation
        self.faults = Faults.of(simulation.mishaps, role, simulation.seed) if simulation else Faults.of((), role, 0)
        super().__init__(identity_line(identity.maker, identity.model, identity.serial, FIRMWARE))
        self.role = role
        self.restarts = 0
        self.rack = rack

    def framer(self) -> Framer:
        """What cuts the messages of one connection."""
        return Framer()

    def execute_at(self, message: bytes, now: float) -> tuple[bytes, float]:
        """As for any instrument; one message of the whole bench at a time, since all share the rack."""
        with self.rack.lock:
            self.rack.expire(now)
            if self.role == "supply":
                self.rack.supply.spoken_s = now
            self.rack.log.add(now, self.role, Kind.COMMAND, message.decode("latin-1").rstrip("\r"))
            reply, ready_at = self.faults.carry_out(self, message, now, super().execute_at)
            if reply:
                self.rack.log.add(ready_at, self.role, Kind.REPLY, reply.decode("ascii"))
            return reply, ready_at

    def fail(self, number: int, detail: str = "") -> None:
        """Put an error into the queue, and into the bench's log."""
        super().fail(number, detail)
        self.rack.log.add(self.moment, self.role, Kind.STATE, f"error {number} {detail}".rstrip())

    def restart(self) -> None:
        """As after power-on: settings forgotten, outputs off, the error queue empty, the power-on bit set."""
        self.restarts += 1
        self.reset()
        self.errors.clear()
        self.status.power_on()

    def change(self, seconds: float) -> None:
        """The rack was changed by the command being carried out, which takes `seconds`."""
        self.rack.apply(self.moment)
        self.spend(seconds)
