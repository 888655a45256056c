"""Opening a bench: instruments one by one, each proven who it is and how long it has been on; and all of them again."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING

from batchtest.bench.dialect import Dialect, DialectT, load_dialect
from batchtest.bench.identity import prove_identity
from batchtest.bench.link import Link, Trace
from batchtest.bench.warmth import Warmth
from batchtest.files.bench import Instrument
from batchtest.nouns import InstrumentIdentity, Role

if TYPE_CHECKING:
    import pyvisa


@dataclass(slots=True)
class Opener:
    """Opens instruments one by one; what it opened is closed by the stack.

    Attributes
    ----------
    met : who the instruments said they are, in the order in which they were opened.
    """

    manager: pyvisa.ResourceManager
    trace: Trace | None
    stack: ExitStack
    warmth: Warmth
    met: list[InstrumentIdentity] = field(default_factory=list)
    _opened: list[tuple[Role, Instrument, Link, Dialect]] = field(default_factory=list)

    def open(self, role: Role, instrument: Instrument, kind: type[DialectT]) -> tuple[Link, DialectT]:
        """Open an instrument, prove who it is, and send what its dialect wants sent first."""
        from batchtest.bench.adapters import port_for
        from batchtest.bench.port import Wiring

        dialect = load_dialect(instrument.dialect, kind)
        port = port_for(dialect)(self.manager, role.value, Wiring.of(instrument, role.value))
        self.stack.callback(port.close)
        port.open()
        link = Link(port, dialect, reply_s=float(instrument.reply), gap_s=float(instrument.gap), trace=self.trace)
        self._opened.append((role, instrument, link, dialect))
        self._meet(role, instrument, link, dialect)
        return link, dialect

    def meet_again(self) -> None:
        """Prove all instruments anew, on links that are trusted no more, and begin with each as after opening.

        Raises
        ------
        BenchError : one does not answer, or is another one.
        """
        self.met.clear()
        for role, instrument, link, dialect in self._opened:
            link.distrust()
            self._meet(role, instrument, link, dialect)

    def _meet(self, role: Role, instrument: Instrument, link: Link, dialect: Dialect) -> None:
        """Prove who an instrument is and for how long it has been on, and send what its dialect wants sent first."""
        link.enter_remote()
        known = prove_identity(link, role, instrument, dialect)
        self.met.append(self._warm(known, link, instrument, dialect))
        link.set(*dialect.init)

    def _warm(
        self, known: InstrumentIdentity, link: Link, instrument: Instrument, dialect: Dialect
    ) -> InstrumentIdentity:
        """With how long it has been on and should have been; as it is, where its warm-up is not asked for."""
        warm_up_s, on_for = float(instrument.warm_up), instrument.on_for
        if not warm_up_s:
            return known
        now, serial = datetime.now().astimezone(), instrument.identity.serial
        on_for_s = (
            self.warmth.on_for_s(link, serial, warm_up_s, dialect.events, now) if on_for is None else float(on_for)
        )
        return replace(known, on_for_s=on_for_s, warm_up_s=warm_up_s)
