"""A station ready to work: the bench opened (and started, where it is simulated), its reader, the procedure."""

from __future__ import annotations

import getpass
import signal
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.errors import SetupError
from batchtest.formulas import formula_fault

if TYPE_CHECKING:
    from batchtest.bench import Bench
    from batchtest.files.hosts import HostSetup
    from batchtest.files.library import Setup
    from batchtest.files.outlets import OutletSetup
    from batchtest.records.matings import Wear
    from batchtest.sequencer import Job, Station, Told


@contextmanager
def open_station(setup: Setup, reports: Path, ambient_C: float) -> Iterator[Station]:
    """Derive the procedure and open the bench; its lock lies in the reports folder.

    Raises
    ------
    SetupError, BenchError : a file needs mending, or the bench cannot be opened.
    """
    from batchtest.bench import Bench
    from batchtest.clock import ScaledClock
    from batchtest.commands.served import served
    from batchtest.measuring import Reader
    from batchtest.procedure import derive
    from batchtest.sequencer import Station

    procedure = derive(setup)
    simulation = setup.bench.simulation
    clock = ScaledClock(float(simulation.scale) if simulation else 1.0)
    reports.mkdir(parents=True, exist_ok=True)
    with served(setup) as bench_file, Bench.open(bench_file, setup.bench_name, clock, reports, guarded=True) as bench:
        reader = Reader(bench, bench_file, setup.fixture, ambient_C)
        yield Station(bench, reader, replace(setup, bench=bench_file), procedure, ambient_C)


def catch_signals() -> None:
    """Have SIGTERM and a closed terminal end the program as Ctrl-C does: outputs off, what was read recorded.

    A program that was started to outlive its terminal does.
    """
    for number in (signal.SIGTERM, signal.SIGHUP):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, signal.default_int_handler)


def tell_guard(bench: Bench, reports: Path, tell: Callable[[str], None]) -> None:
    """Tell a person what the guardian cannot reach, and what the one before it had to do."""
    from batchtest.bench.aftermath import told

    for note in bench.guard.notes:
        tell(note)
    told(bench.name, reports)


def job_of(batch: str, operator: str, reports: Path) -> Job:
    """The job of a batch, with its waivers."""
    from datetime import datetime
    from importlib.metadata import version

    from batchtest.records.excuse import latest_time
    from batchtest.records.waiver import read_waivers
    from batchtest.sequencer import Job

    waivers = read_waivers(reports, batch)
    since = latest_time(reports / batch, waivers, datetime.now().astimezone())
    return Job(batch, operator, reports, f"batchtest {version('batchtest')}", waivers, since)


def operator_of(given: str | None) -> str:
    """Who is at the bench: as given, or the login name; refused where a spreadsheet would run it as a formula."""
    if given is None or not given.strip():
        return getpass.getuser()
    if fault := formula_fault(given):
        raise SetupError(f"--operator {fault}")
    return given


def told_of(setup: Setup, firmware: str | None, option: str | None, humidity: str | None) -> Told:
    """What the person said of the boards and of the air.

    Raises
    ------
    SetupError : it contradicts the limits file, or is no share with its unit.
    """
    from batchtest.quantities import parse
    from batchtest.sequencer import Told

    for name, said in (("firmware", firmware), ("option", option)):
        known = getattr(setup.limits, name)
        if fault := formula_fault(said or ""):
            raise SetupError(f"--{name} {fault}")
        if said and known and said != known:
            raise SetupError(
                f"--{name} {said!r} is not {known!r}, which the limits of {setup.board} are for; mend one of them"
            )
    try:
        share = None if humidity is None else parse(humidity, "%")
    except ValueError as error:
        raise SetupError(f"--humidity {error}") from error
    if share is not None and not 0 <= share <= 1:
        raise SetupError(f"--humidity {humidity!r} is none; write a share of 0 to 100 %, such as '45 %'")
    return Told(firmware or "", option or "", share)


def wear_warnings(wear: Iterable[Wear]) -> Iterator[str]:
    """A line for each cable and fixture that was mated more often than it is rated for."""
    for each in wear:
        if each.over:
            yield (
                f"worn: {each.kind} {each.name} was mated {each.count} times and is rated for {each.rated}; "
                "replace its contacts, then write used = 0 into its file"
            )


def ambient_of(setup: Setup | HostSetup | OutletSetup, given: str | None) -> float:
    """Temperature at the bench, C: given, or from the bench file; the uncertainty needs one."""
    from batchtest.quantities import parse

    known = setup.bench.ambient
    if given is not None:
        try:
            return float(parse(given, "C"))
        except ValueError as error:
            raise SetupError(f"--ambient {error}") from error
    if known is None:
        raise SetupError(f"bench {setup.bench_name} has no ambient temperature; say --ambient '23 C'")
    return float(known)
