"""Dialects: the data files that say how one kind of instrument is spoken to. Every field is used by code here."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import Field, StrictBool, StrictInt, StrictStr

from batchtest.bench.templates import (
    AmperesCommand,
    CableCommand,
    ChannelCommand,
    ChannelQuery,
    ChannelsCommand,
    Command,
    CountCommand,
    CyclesCommand,
    Pattern,
    Query,
    RangeCommand,
    SerialCommand,
    VoltsCommand,
    WattsCommand,
)
from batchtest.errors import SetupError, nearest
from batchtest.files.fields import Amperes, Seconds, Table, Volts, Watts, Wrong
from batchtest.files.read import Document, names_beside, read_document

#: The dialects that are shipped, `<name>.toml`.
FOLDER = Path(__file__).parent / "dialects"

Condition = Literal[
    "constant voltage",
    "constant current",
    "voltage fault",
    "over-voltage",
    "over-current",
    "over-power",
    "over-temperature",
    "reverse voltage",
    "unregulated",
    "protection shutdown",
    "mains failed",
    "summary",
]


class Errors(Table):
    """The error queue: how it is read, what an empty one answers, how many entries are read at most."""

    query: Query = "SYST:ERR?"
    none: Pattern = r"[+-]?0+(,.*)?"
    drain: StrictInt = Field(default=20, ge=1)


class Replies(Table):
    """Peculiarities of replies: units that follow numbers, texts for over range, a word that answers each command."""

    units: tuple[StrictStr, ...] = ()
    over_range: tuple[StrictStr, ...] = ()
    acknowledge: StrictStr = ""


class Dialect(Table):
    """What all instruments share.

    `identity` must match the whole `*IDN?` reply, firmware included. `init` is sent once after opening. `complete` is
    asked after each group of settings; empty where the instrument does not know it, or answers before it is done.
    """

    role: Literal["meter", "load", "supply", "scanner", "handler"]
    identity: Pattern = ".*"
    init: tuple[Command, ...] = ("*RST", "*CLS")
    complete: Query | Literal[""] = "*OPC?"
    errors: Errors = Errors()
    replies: Replies = Replies()


class Switch(Table):
    """An output or input: on, off, and what its state query answers."""

    on: ChannelCommand
    off: ChannelCommand
    query: ChannelQuery
    on_words: tuple[StrictStr, ...] = ("1", "+1", "ON")
    off_words: tuple[StrictStr, ...] = ("0", "+0", "OFF")


class VoltsSetting(Table):
    """A voltage that is set and read back; `resolution` is how far the two may differ."""

    set: VoltsCommand
    query: ChannelQuery
    resolution: Volts


class AmperesSetting(Table):
    """A current that is set and read back; `resolution` is how far the two may differ."""

    set: AmperesCommand
    query: ChannelQuery
    resolution: Amperes


class WattsSetting(Table):
    """A power limit that is set and read back; `resolution` is how far the two may differ."""

    set: WattsCommand
    query: ChannelQuery
    resolution: Watts


class Register(Table):
    """A status register: its name in records, its query, whether it shows now or since last read, its known bits."""

    name: StrictStr
    query: ChannelQuery
    kind: Literal["condition", "event"] = "condition"
    bits: dict[Annotated[StrictStr, Field(pattern="^[0-9]+$")], Condition]


class Function(Table):
    """A function of the multimeter: how it is selected with its range, and how its integration is set.

    `cycles` is the integration that selecting leaves, in power-line cycles, where it cannot be set.
    """

    select: tuple[RangeCommand, ...]
    integrate: CyclesCommand | None = None
    cycles: Decimal = Field(default=Decimal(10), gt=0)


class Functions(Table):
    """The functions that the station measures with."""

    volts_dc: Function
    ohms: Function
    diode: Function | None = None


class MeterDialect(Dialect):
    """A multimeter. After each selection integration and count are sent again, since selecting resets them on many."""

    role: Literal["meter"]
    functions: Functions
    trigger: Command
    count: CountCommand
    read: Query


class LoadDialect(Dialect):
    """An electronic load. `select` goes before channel commands where they do not name the channel themselves.

    `channel_lists`: several channels may stand in one command, joined by commas.
    """

    role: Literal["load"]
    select: ChannelCommand | Literal[""] = ""
    channel_lists: StrictBool = False
    mode: ChannelCommand
    level: AmperesSetting
    enable: Switch
    current_limit: AmperesSetting
    power_limit: WattsSetting
    clear_trip: ChannelCommand | Literal[""] = ""
    volts: ChannelQuery
    amperes: ChannelQuery
    status: tuple[Register, ...]


class SupplyDialect(Dialect):
    """A bench supply, one channel."""

    role: Literal["supply"]
    voltage: VoltsSetting
    current: AmperesSetting
    enable: Switch
    voltage_limit: VoltsSetting
    clear_trip: Command | Literal[""] = ""
    volts: Query
    amperes: Query
    status: tuple[Register, ...]


class ScannerDialect(Dialect):
    """A relay scanner."""

    role: Literal["scanner"]
    close: ChannelsCommand
    open_all: Command
    query: Query


class HandlerDialect(Dialect):
    """A machine that puts boards into the nest; `takes` is the longest that one move lasts.

    `fit` changes the cable and `cable` asks which is fitted; both are left out where only a person changes cables.
    `host_on` and `host_off` switch the mains of a host and `host` asks whether they are on; all three, or none.
    """

    role: Literal["handler"]
    place: SerialCommand
    eject: Command
    board: Query
    lid: Query
    fit: CableCommand | None = None
    cable: Query | None = None
    host_on: Command | None = None
    host_off: Command | None = None
    host: Query | None = None
    takes: Seconds = Decimal(30)
    closed_words: tuple[StrictStr, ...] = ("1", "+1", "ON")
    open_words: tuple[StrictStr, ...] = ("0", "+0", "OFF")

    def own_faults(self) -> Iterator[Wrong]:
        """Cables that are changed without being asked for, or the reverse."""
        if self.fit is not None and self.cable is None:
            yield ("cable",), "is missing beside fit, so that nothing tells which cable is fitted; add its query"
        if self.cable is not None and self.fit is None:
            yield ("fit",), "is missing beside cable; add the command that fits one, or leave both out"
        given = {name: getattr(self, name) for name in ("host_on", "host_off", "host")}
        for name, message in given.items():
            if message is None and any(given.values()):
                yield (name,), "is missing beside the others that switch a host; add it, or leave all three out"


DialectT = TypeVar("DialectT", bound=Dialect)


def load_dialect(name: str, kind: type[DialectT], folder: Path = FOLDER) -> DialectT:
    """Read a dialect.

    Parameters
    ----------
    name : file name without ending.
    kind : what role it must have, such as `MeterDialect`.
    folder : where it is; the shipped ones by default.

    Raises
    ------
    SetupError : there is none of that name; the message has the nearest.
    FileFaults : it holds what a dialect of this role does not take, with line and cure.
    """
    dialect: DialectT = _load(name, kind, folder)
    return dialect


@cache
def _load(name: str, kind: type[DialectT], folder: Path) -> DialectT:
    path = folder / f"{name}.toml"
    known = names_beside(path)
    if name not in known:
        raise SetupError(f"no dialect {name!r}; {nearest(name, known)}")
    document: Document[DialectT] = read_document(path, folder, kind)
    return document.model
