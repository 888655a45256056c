"""The bench: all instruments, opened and proven who they are, switched off on every way out, closed in order."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.bench.dialect import (
    DialectT,
    HandlerDialect,
    LoadDialect,
    MeterDialect,
    ScannerDialect,
    SupplyDialect,
    load_dialect,
)
from batchtest.bench.handler import Handler
from batchtest.bench.identity import prove_identity
from batchtest.bench.link import Link, Trace
from batchtest.bench.load import Load
from batchtest.bench.meter import Meter
from batchtest.bench.occupancy import occupied
from batchtest.bench.scanner import Scanner
from batchtest.bench.supply import Supply
from batchtest.bench.switching import switch_off
from batchtest.clock import Clock
from batchtest.files.bench import BenchFile, Instrument
from batchtest.nouns import InstrumentIdentity, Role

if TYPE_CHECKING:
    import pyvisa


#: Gives each opened bench a manager of its own; pyvisa shares managers of one path, and closes them together.
_NUMBERS = count(1)


@contextmanager
def _manager(name: str) -> Iterator[pyvisa.ResourceManager]:
    """One manager for a bench, closed when the bench is left, after all instruments."""
    import pyvisa

    from batchtest.bench.sessions import install

    install()
    manager = pyvisa.ResourceManager(f"{name}-{next(_NUMBERS)}@py")
    try:
        yield manager
    finally:
        manager.close()


@dataclass(slots=True)
class _Opener:
    """Opens instruments one by one; what it opened is closed by the stack."""

    manager: pyvisa.ResourceManager
    trace: Trace | None
    stack: ExitStack
    met: list[InstrumentIdentity] = field(default_factory=list)

    def open(self, role: Role, instrument: Instrument, kind: type[DialectT]) -> tuple[Link, DialectT]:
        """Open an instrument, prove who it is, and send what its dialect wants sent first."""
        from batchtest.bench.port import Port, Wiring

        dialect = load_dialect(instrument.dialect, kind)
        port = Port(self.manager, role.value, Wiring.of(instrument, role.value))
        self.stack.callback(port.close)
        port.open()
        link = Link(port, dialect, reply_s=float(instrument.reply), gap_s=float(instrument.gap), trace=self.trace)
        self.met.append(prove_identity(link, role, instrument, dialect))
        link.set(*dialect.init)
        return link, dialect


class Bench:
    """The instruments of one bench file. Made by `Bench.open`, a context manager; everything is off when it is left.

    Attributes
    ----------
    meter, load, supply, scanner, handler : the instruments; a bench may have no handler.
    clock : time as this bench lives it.
    identities : who the instruments said they are.
    """

    def __init__(self, name: str, file: BenchFile, clock: Clock, opener: _Opener) -> None:
        self.name, self.file, self.clock = name, file, clock
        # outputs first: opening resets them, and they are off whatever comes next
        load, supply = (
            opener.open(Role.LOAD, file.load, LoadDialect),
            opener.open(Role.SUPPLY, file.supply, SupplyDialect),
        )
        self.load = Load(*load, file.load.channels, file.load.protection)
        self.supply = Supply(*supply, file.supply.protection)
        self.meter = Meter(*opener.open(Role.METER, file.meter, MeterDialect), float(file.mains))
        self.scanner = Scanner(
            *opener.open(Role.SCANNER, file.scanner, ScannerDialect), clock, float(file.scanner.settle)
        )
        self.handler = Handler(*opener.open(Role.HANDLER, file.handler, HandlerDialect)) if file.handler else None
        self.identities = tuple(opener.met)

    @classmethod
    @contextmanager
    def open(
        cls, bench_file: BenchFile, name: str, clock: Clock, lock_folder: Path, trace: Trace | None = None
    ) -> Iterator[Bench]:
        """Take the bench, open its instruments and prove who they are; off, closed and given back at the end.

        Parameters
        ----------
        bench_file : with an address for every instrument.
        name : of the bench, for the lock.
        lock_folder : where the lock of that name lies.
        trace : told of every message.

        Raises
        ------
        BenchError : the bench is in use, or an instrument does not answer, or is another one.
        SetupError : an address or a dialect needs mending.
        OutputsNotOff : at the end, an output could not be read back as off.
        """
        with ExitStack() as stack:
            stack.enter_context(occupied(name, lock_folder))
            opener = _Opener(stack.enter_context(_manager(name)), trace, stack)
            bench = cls(name, bench_file, clock, opener)
            stack.callback(bench.off)
            yield bench

    @property
    def contact(self) -> int:
        """How often a link had to be brought back into step; a proof dies when this changes.

        A link that is out of step counts already.
        """
        instruments = (self.load, self.supply, self.meter, self.scanner, self.handler)
        return sum(each.link.recoveries + each.link.dirty for each in instruments if each is not None)

    def off(self) -> None:
        """Load off, then supply off, then both read back. Each is tried although the other failed, on a dirty link too.

        Raises
        ------
        OutputsNotOff : names each output that could not be read back as off.
        """
        switch_off((self.load, self.supply))

    def make_safe(self) -> None:
        """Outputs off and read back, relays open, protections set and read back, load at 0 A, supply at 0 V.

        Raises
        ------
        OutputsNotOff, InstrumentRefused : an output is not off, or a protection was not taken.
        """
        self.off()
        self.scanner.open_all()
        self.load.protect()
        self.supply.protect()
