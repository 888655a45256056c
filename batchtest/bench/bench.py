"""The bench: all instruments, opened and proven who they are, switched off on every way out, closed in order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from batchtest.bench.aftermath import untold
from batchtest.bench.charge import Charged
from batchtest.bench.dialect import HandlerDialect, LoadDialect, MeterDialect, ScannerDialect, SupplyDialect
from batchtest.bench.guard import Guard, guardian
from batchtest.bench.handler import Handler
from batchtest.bench.link import Trace
from batchtest.bench.load import Load
from batchtest.bench.meter import Meter
from batchtest.bench.occupancy import occupied
from batchtest.bench.opening import Opener
from batchtest.bench.registers import Status
from batchtest.bench.scanner import Scanner
from batchtest.bench.supply import Supply
from batchtest.bench.switching import switch_off
from batchtest.bench.visa import visa_manager
from batchtest.bench.warmth import Warmth
from batchtest.clock import Clock
from batchtest.errors import SetupError
from batchtest.files.bench import BenchFile
from batchtest.nouns import Role

#: How far the mains that a meter has measured may be from their nominal frequency, Hz.
_MAINS_WITHIN_HZ = 1.0


@contextmanager
def _guard(bench_file: BenchFile, name: str, folder: Path) -> Iterator[Guard]:
    """A guardian that has nothing to watch yet, or nobody where the bench file says so; with what the last one did."""
    notes, table = untold(name, folder), bench_file.guardian
    if table.without is not None:
        yield Guard((*notes, f"no guardian watches over the outputs: {table.without}"))
        return
    with guardian(float(table.heartbeat), notes) as guard:
        yield guard


class Bench:
    """The instruments of one bench file. Made by `Bench.open`, a context manager; everything is off when it is left.

    Attributes
    ----------
    meter, load, supply, scanner, handler : the instruments; a bench may have no handler.
    clock : time as this bench lives it.
    identities : who the instruments said they are.
    guard : who sees to it that outputs go off when this process cannot.
    switched_on : how often an output was asked to go on; what has not changed this has powered nothing.
    meter_mains_Hz : mains frequency that the meter goes by; `None` where its dialect cannot ask.
    """

    def __init__(self, name: str, file: BenchFile, clock: Clock, opener: Opener, guard: Guard) -> None:
        self.name, self.file, self.guard = name, file, guard
        self.clock = clock = guard.watched(clock)
        self.switched_on = 0
        self._opener = opener
        # outputs first: opening resets them, and they are off whatever comes next
        load, supply = (
            opener.open(Role.LOAD, file.load, LoadDialect),
            opener.open(Role.SUPPLY, file.supply, SupplyDialect),
        )
        self.load = Load(*load, file.load, clock)
        self.supply = Supply(*supply, file.supply, clock)
        self.meter = Meter(*opener.open(Role.METER, file.meter, MeterDialect), float(file.mains))
        self.scanner = Scanner(
            *opener.open(Role.SCANNER, file.scanner, ScannerDialect), clock, float(file.scanner.settle)
        )
        self.handler = Handler(*opener.open(Role.HANDLER, file.handler, HandlerDialect)) if file.handler else None
        self.identities = tuple(opener.met)
        self.meter_mains_Hz = self._checked_mains()
        self.load.permit = self.supply.permit = self._permit
        for instrument in self._instruments:
            instrument.link.promise = guard.promise

    @classmethod
    @contextmanager
    def open(
        cls,
        bench_file: BenchFile,
        name: str,
        clock: Clock,
        lock_folder: Path,
        trace: Trace | None = None,
        *,
        guarded: bool = False,
    ) -> Iterator[Bench]:
        """Take the bench, open its instruments and prove who they are; off, closed and given back at the end.

        Parameters
        ----------
        bench_file : with an address for every instrument.
        name : of the bench, for the lock.
        lock_folder : where the lock of that name lies.
        trace : told of every message.
        guarded : start a guardian, which switches the outputs off when this process dies or hangs; else nobody does.

        Raises
        ------
        BenchError : the bench is in use, or an instrument does not answer, or is another one; or no guardian starts.
        SetupError : an address or a dialect needs mending.
        OutputsNotOff : at the end, an output could not be read back as off.
        """
        with ExitStack() as stack:
            stack.enter_context(occupied(name, lock_folder))
            guard = stack.enter_context(_guard(bench_file, name, lock_folder)) if guarded else Guard()
            manager = stack.enter_context(visa_manager(name, bench_file.visa))
            opener = Opener(manager, trace, stack, Warmth.of(lock_folder, bench_file.station))
            bench = cls(name, bench_file, clock, opener, guard)
            stack.callback(bench.off)
            guard.take_charge(name, lock_folder, bench._charged(), bench_file.visa)
            yield bench

    @property
    def contact(self) -> int:
        """How often a link had to be brought back into step; a proof dies when this changes.

        A link that is out of step counts already.
        """
        return self.guard.trips + sum(each.link.recoveries + each.link.dirty for each in self._instruments)

    @property
    def _instruments(self) -> Sequence[Load | Supply | Meter | Scanner | Handler]:
        found = (self.load, self.supply, self.meter, self.scanner, self.handler)
        return [each for each in found if each is not None]

    def _charged(self) -> tuple[Charged, ...]:
        """The outputs as a guardian must know them, in the order in which they go off."""
        pairs = ((Role.LOAD, self.load, self.file.load), (Role.SUPPLY, self.supply, self.file.supply))
        return tuple(
            Charged(role=role, instrument=table, dialect=output.dialect, identity=output.link.identity)
            for role, output, table in pairs
        )

    def _permit(self) -> None:
        self.switched_on += 1
        self.guard.permit()

    def off(self) -> None:
        """Load off, then supply off, then both read back. Each is tried although the other failed, on a dirty link too.

        Raises
        ------
        OutputsNotOff : names each output that could not be read back as off.
        """
        self.guard.unsure()
        switch_off((self.load, self.supply))
        self.guard.safe()

    def confirm(self, drawing: int | None = None) -> Status:
        """Read back that everything is as it was left: relays, meter, outputs and their settings; all status words.

        Asked with every reading, since a key may be pressed and an instrument restart at any time. What a dialect
        cannot ask is left out.

        Parameters
        ----------
        drawing : load channel at the point that was read, whose current is compared with what it is set to.

        Raises
        ------
        InstrumentRefused : something is not; what was read meanwhile does not count.
        """
        self.scanner.confirm()
        self.meter.confirm()
        supply, load = self.supply.confirm(), self.load.confirm(drawing)
        return Status(f"{supply.raw} {load.raw}", supply.conditions | load.conditions)

    def confirm_protection(self) -> None:
        """Read back the instruments' own limits, before anything is powered: a restart has forgotten them.

        Raises
        ------
        InstrumentRefused : one is not what it was set to.
        """
        self.load.confirm_protection()
        self.supply.confirm_protection()

    def bring_back(self) -> None:
        """Reach every instrument anew after the bench has failed, prove who each is, begin as after opening; all off.

        Raises
        ------
        BenchError : one does not answer, or is another one, or an output is not off; or the guardian had to act, after
            which nothing is powered in this session.
        """
        self._opener.meet_again()
        self.identities = tuple(self._opener.met)
        for instrument in (self.load, self.supply, self.meter, self.scanner):
            instrument.forget()
        self.off()
        self._checked_mains()
        self.guard.check()

    def _checked_mains(self) -> float | None:
        """Mains frequency that the meter goes by, Hz; SetupError where the bench file says another."""
        found, wanted = self.meter.line_frequency(), float(self.file.mains)
        if found is not None and abs(found - wanted) > _MAINS_WITHIN_HZ:
            raise SetupError(
                f"meter: integrates over cycles of {found:g} Hz, and the bench file says mains = '{wanted:g} Hz'; "
                "mend the file, or set the meter to the mains of the place"
            )
        return found

    def make_safe(self) -> None:
        """Outputs off and read back, relays open, protections set and read back, load at 0 A, supply at 0 V.

        Raises
        ------
        OutputsNotOff, InstrumentRefused : an output is not off, or a protection was not taken.
        """
        self.off()
        self.scanner.open_all()
        self.guard.permit()  # clearing a trip may switch an output on
        self.load.protect()
        self.supply.protect()
        self.guard.safe()
