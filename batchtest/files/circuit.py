"""A circuit as frozen values: the cards of `<name>.cir`, and what `<name>.parts.toml` says of parts and test points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import StrictStr

from batchtest.files.fields import Amperes, Metres, Name, Ratio, Seconds, Table, Volts, Watts


@dataclass(frozen=True, slots=True)
class Card:
    """One element of a netlist: kind (R V I D Q E), nodes, value or model, and the line where it stands.

    `value` is in the base unit (R ohm, V volt, I ampere, E gain) and 0 for D and Q; `model` names a `.model` there.
    """

    name: str
    kind: str
    nodes: tuple[str, ...]
    value: float
    model: str | None
    line: int


@dataclass(frozen=True, slots=True)
class Model:
    """A `.model` card: its kind (D, NPN, PNP) and parameters in upper case, SPICE units."""

    name: str
    kind: str
    parameters: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Netlist:
    """One `.subckt`: its ports in pin order (port k is pin k of the connector), its cards and the models they use."""

    name: str
    ports: tuple[str, ...]
    cards: tuple[Card, ...]
    models: Mapping[str, Model]


class Rating(Table):
    """What a part stands; a bound that is missing is not checked."""

    voltage: Volts | None = None
    current: Amperes | None = None
    power: Watts | None = None
    reverse_base_emitter: Volts | None = None


class Tolerance(Table):
    """How far parts spread, +- of the value: resistance or gain, breakdown voltage, saturation current, beta."""

    value: Ratio | None = None
    breakdown: Ratio | None = None
    saturation_current: Ratio | None = None
    beta: Ratio | None = None


class Bridge(Table):
    """A neighbour that solder could join: the net on this part, the other net, and the other part."""

    net: StrictStr
    to: StrictStr
    part: StrictStr


class Part(Table):
    """One part: what it does, where it sits (x, y on the board), what it stands, how it spreads, how it fails."""

    role: StrictStr
    place: tuple[Metres, Metres] | None = None
    rating: Rating = Rating()
    tolerance: Tolerance = Tolerance()
    modes: tuple[StrictStr, ...] = ()
    bridges: tuple[Bridge, ...] = ()


class Probe(Table):
    """A test point: its node, and how fast that node settles when powered and bleeds when not (time constants)."""

    node: StrictStr
    settle: Seconds
    bleed: Seconds
    reach: StrictStr = "testpoint"


class Connector(Table):
    """The connector whose pins are the ports of the netlist, pin 1 first."""

    kind: StrictStr
    pins: tuple[StrictStr, ...]
    pin_current: Amperes | None = None


class PartsFile(Table):
    """`<name>.parts.toml`. `probe` keys are the names printed on the board, such as "TP3"."""

    circuit: Name
    connector: Connector
    part: dict[StrictStr, Part] = {}
    probe: dict[StrictStr, Probe] = {}


@dataclass(frozen=True, slots=True)
class CircuitFile:
    """A netlist and its parts file, checked against each other."""

    name: str
    netlist: Netlist
    parts: PartsFile
