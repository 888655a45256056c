"""What stands on the table: `fixtures/benches/<name>.toml` as frozen values, accuracy tables included."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Literal

from pydantic import Field, StrictInt, StrictStr

from batchtest.files.accuracy import (
    Accuracy,
    AmperesAccuracy,
    DiodeAccuracy,
    LoadAccuracy,
    MeterAccuracy,
    OhmsAccuracy,
    SupplyAccuracy,
    Temperature,
    VoltsAccuracy,
)
from batchtest.files.address import address_fault, address_kind, address_warning
from batchtest.files.bounds import OhmBounds
from batchtest.files.fields import (
    Celsius,
    Channel,
    Day,
    Name,
    PositiveAmperes,
    PositiveAmperesPerSecond,
    PositiveHertz,
    PositiveNumber,
    PositiveSeconds,
    PositiveVolts,
    PositiveWatts,
    Ratio,
    Seconds,
    Table,
    Text,
    Volts,
    Wrong,
)
from batchtest.files.simulation import SimulatedOutlet, Simulation, Transport
from batchtest.quantities import write

__all__ = [
    "Accuracy",
    "AmperesAccuracy",
    "BenchFile",
    "DiodeAccuracy",
    "Ending",
    "Guardian",
    "Handler",
    "Identity",
    "Instrument",
    "Interlock",
    "Load",
    "LoadAccuracy",
    "LoadProtection",
    "Meter",
    "MeterAccuracy",
    "OhmsAccuracy",
    "Reference",
    "Scanner",
    "SimulatedOutlet",
    "Simulation",
    "Supply",
    "SupplyAccuracy",
    "SupplyProtection",
    "Temperature",
    "Transport",
    "VoltsAccuracy",
    "instruments",
    "warnings",
]

Ending = Literal["LF", "CR", "CRLF", "none"]
Sense = Literal["local", "remote"]


class Identity(Table):
    """What `*IDN?` must answer. A serial of "0" means that the instrument does not tell, and is no match."""

    maker: StrictStr
    model: StrictStr
    serial: StrictStr

    def own_faults(self) -> Iterator[Wrong]:
        """A serial that identifies nothing."""
        if self.serial.strip() in ("", "0"):
            yield ("serial",), f"is {self.serial!r}, which is no serial; write what the instrument's label says"


class Instrument(Table):
    """One instrument: where it is, how it is spoken to, who it must be, when it was calibrated.

    `address` is a VISA resource name, and is missing where `[simulation]` fills it in. Endings are required for SOCKET
    and ASRL addresses, "none" where messages end by their length. `gap` is the time to leave between two messages,
    `reply` the longest wait for an answer beyond what the measurement itself takes. `connections` is how many it takes
    at a time, where that is known: with 1 the guardian connects only once the station's own link is closed. `warm_up`
    is how long it must have been on before its readings count; a simulated one says by `on_for` how long it has been.
    `certificate` is the number of its calibration certificate.
    """

    dialect: Name
    identity: Identity
    address: StrictStr | None = None
    read_ending: Ending | None = None
    write_ending: Ending | None = None
    baud: Channel | None = None
    gap: Seconds = Decimal(0)
    reply: Seconds = Decimal(2)
    open: Seconds = Decimal(3)
    calibrated: Day | None = None
    due: Day | None = None
    certificate: StrictStr = ""
    calibration_age: Seconds | None = None
    connections: Channel | None = None
    warm_up: Seconds = Decimal(0)
    on_for: Seconds | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """A resource name or its endings, or dates that contradict each other."""
        if self.address is not None:
            yield from _address_faults(self, self.address)
        if self.calibrated is not None and self.due is not None and self.calibrated > self.due:
            yield ("calibrated",), f"{self.calibrated} is after due {self.due}; swap them"
        if self.calibrated is not None and self.calibration_age is not None:
            yield ("calibration_age",), "stands beside calibrated; keep one of the two"


class Meter(Instrument):
    """The multimeter. `integration` in power-line cycles; `readings` raw values make one reading."""

    accuracy: MeterAccuracy
    integration: PositiveNumber = Decimal(1)
    readings: StrictInt = Field(default=3, ge=2)
    calibrated_at: Celsius = Decimal(23)


class LoadProtection(Table):
    """Limits set in the load itself before anything is powered.

    Below `under_voltage` it draws nothing (0.5 V where it is not written), and after `on_timer` an input switches
    itself off (10 min): both where the load can do it, and an error where it cannot and they are written.
    """

    current: PositiveAmperes
    power: PositiveWatts
    under_voltage: PositiveVolts | None = None
    on_timer: PositiveSeconds | None = None


class Load(Instrument):
    """The electronic load, one or more channels.

    `slew` is how fast its current may change, `sense` where it measures its voltage; both are left as they are where
    they are not written.
    """

    slew: PositiveAmperesPerSecond | None = None
    sense: Sense | None = None
    channels: Channel = 1
    protection: LoadProtection
    accuracy: LoadAccuracy


class SupplyProtection(Table):
    """Limits set in the supply itself before anything is powered: beyond them it switches off.

    It does so too once nobody has spoken to it for as long as `watchdog` (60 s where that is not written): the last two
    where the supply can do it, and an error where it cannot and they are written.
    """

    voltage: PositiveVolts
    current: PositiveAmperes | None = None
    watchdog: PositiveSeconds | None = None


class Supply(Instrument):
    """The bench supply that stands in for the host's; `sense` is where it measures its voltage, left if not written."""

    sense: Sense | None = None
    protection: SupplyProtection
    accuracy: SupplyAccuracy


class Scanner(Instrument):
    """The relay scanner between meter and fixture. `settle` is what its relays need beyond its own answer."""

    settle: Seconds = Decimal(0)


class Handler(Instrument):
    """A machine that puts the named board into the nest; without one a person is asked."""


class Reference(Table):
    """A known voltage on a scanner channel: reading it right proves meter and path, before and after a zero."""

    scanner: Channel
    voltage: Volts
    within: PositiveVolts

    def own_faults(self) -> Iterator[Wrong]:
        """A known voltage that a zero would come near."""
        if abs(self.voltage) <= self.within:
            volts, within = write(self.voltage, "V"), write(self.within, "V")
            yield ("voltage",), f"{volts} cannot be told from zero within {within}; take a higher one"


class Interlock(Table):
    """A loop through lid and covers with a resistor at its far end, on a scanner channel of its own.

    Both bounds are wanted: an opened loop reads over range, and a bridged one too low.
    """

    scanner: Channel
    resistance: OhmBounds

    def own_faults(self) -> Iterator[Wrong]:
        """A bound that is missing, or a lower one that a bridge would pass."""
        if self.resistance.upper is None:
            yield ("resistance",), "has no upper bound, so that an opened loop would pass; add one"
        if not self.resistance.lower:
            yield ("resistance",), "has no lower bound, so that a bridged loop would pass; add one"


class Guardian(Table):
    """Who switches the outputs off when the station cannot: after so much silence with outputs on.

    `without` is the reason why none is started, such as that load and supply have watchdogs of their own.
    """

    heartbeat: PositiveSeconds = Decimal(1)
    without: StrictStr | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """A silence too short to tell a hang from a busy computer, or no reason for doing without."""
        if self.heartbeat < Decimal("0.2"):
            yield (
                ("heartbeat",),
                f"{write(self.heartbeat, 's')} is no longer than a busy computer may pause; take 200 ms or more",
            )
        if self.without is not None and not self.without.strip():
            yield ("without",), "gives no reason; write why no guardian is needed, or leave it out"


class BenchFile(Table):
    """A bench: its instruments by role, mains frequency, ambient temperature (asked for where it is missing).

    `humidity` is relative; where it is missing it was not measured.

    `like` names another bench file: each table that is not written here is taken from there, whole; plain keys are not.
    `challenge_every` is how old the last challenge may be, with which the bench showed that it refuses a wrong cable.
    `visa` is how instruments are reached: "@py" by pyvisa-py, "@ivi" by the VISA that is installed on the machine.
    `workshop` is the name that heads certificates.
    """

    like: Name | None = None
    station: Name
    workshop: Text | None = None
    mains: PositiveHertz
    ambient: Celsius | None = None
    humidity: Ratio | None = None
    challenge_every: PositiveSeconds | None = None
    visa: Literal["@py", "@ivi"] = "@py"
    reference: Reference
    interlock: Interlock | None = None
    guardian: Guardian = Guardian()
    meter: Meter
    load: Load
    supply: Supply
    scanner: Scanner
    handler: Handler | None = None
    simulation: Simulation | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """Addresses with or without a simulation, its calibration ages, the range for the reference."""
        for role, instrument in instruments(self).items():
            yield from _simulation_faults(role, instrument, self.simulation)
        for index, mishap in enumerate(self.simulation.mishaps if self.simulation else ()):
            if getattr(self, mishap.role) is None:
                yield (
                    ("simulation", "mishaps", index, "role"),
                    f"{mishap.role!r} is not on this bench; name one that is",
                )
        if self.interlock is not None and self.interlock.scanner == self.reference.scanner:
            yield ("interlock", "scanner"), f"channel {self.interlock.scanner} is the reference's; take another"
        largest = self.meter.accuracy.volts_dc[-1].range
        if abs(self.reference.voltage) > largest:
            wrong = f"{write(self.reference.voltage, 'V')} is beyond the meter's largest range, {write(largest, 'V')}"
            yield ("reference", "voltage"), f"{wrong}; take a lower one"


def instruments(bench: BenchFile) -> dict[str, Instrument]:
    """The instruments of a bench by role, in the order meter, load, supply, scanner, handler."""
    found: dict[str, Instrument | None] = {
        "meter": bench.meter,
        "load": bench.load,
        "supply": bench.supply,
        "scanner": bench.scanner,
        "handler": bench.handler,
    }
    return {role: instrument for role, instrument in found.items() if instrument is not None}


def warnings(bench: BenchFile) -> tuple[str, ...]:
    """What may go wrong with a right bench file, one sentence each: addresses that may come to mean another port."""
    found = {role: address_warning(one.address) for role, one in instruments(bench).items() if one.address}
    return tuple(f"{role}: {warning}" for role, warning in found.items() if warning)


def _address_faults(instrument: Instrument, address: str) -> Iterator[Wrong]:
    fault = address_fault(address)
    if fault is not None:
        yield ("address",), fault
    kind = address_kind(address)
    for name in ("read_ending", "write_ending"):
        if kind in ("SOCKET", "ASRL") and getattr(instrument, name) is None:
            yield (name,), f'is missing, and a {kind} address needs it; add it, such as {name} = "LF"'
    if kind is not None and kind != "ASRL" and instrument.baud is not None:
        yield ("baud",), f"stands beside a {kind} address; it is for ASRL addresses, leave it out"


def _simulation_faults(role: str, instrument: Instrument, simulation: Simulation | None) -> Iterator[Wrong]:
    if simulation is None and instrument.address is None:
        yield (role, "address"), 'is missing; add it, such as address = "TCPIP0::192.168.0.5::5025::SOCKET"'
    if simulation is not None and instrument.address is not None:
        yield (role, "address"), "stands beside [simulation], which fills it in; leave one of them out"
    if simulation is None and instrument.on_for is not None:
        yield (role, "on_for"), "is for [simulation] only; leave it out, the station notes since when it answers"
    if simulation is None and instrument.calibration_age is not None:
        yield (role, "calibration_age"), "is for [simulation] only; write calibrated and due, such as 2026-03-02"
