"""`batchtest waive`: two people answer for readings of the gate that cannot pass, until a day; on record for good."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import RecordError, SetupError, nearest

if TYPE_CHECKING:
    from batchtest.files.library import Setup
    from batchtest.nouns import Waiver
    from batchtest.procedure import Action, Procedure

#: RFC 3339, 5.6: full-date, or date-time with its offset.
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_DATE_TIME = re.compile(
    rf"{_DATE.pattern}[Tt ][0-9]{{2}}:[0-9]{{2}}:[0-9]{{2}}(\.[0-9]+)?([Zz]|[+-][0-9]{{2}}:[0-9]{{2}})"
)
_LAST_OF_DAY = time(23, 59, 59)


@click.command("waive")
@click.argument("fixture")
@click.option("--bench", required=True, help="Bench file, by name without ending; it holds on this bench alone.")
@click.option("--batch", required=True, help="Batch that it is for; it is written to reports/BATCH/.")
@click.option(
    "--reading", "readings", required=True, multiple=True, help="What need not pass; more than once for several."
)
@click.option("--by", "first", required=True, help="Who answers for it.")
@click.option("--and", "second", required=True, help="Who else answers for it: two different people.")
@click.option("--reason", required=True, help="What is wrong, and what was checked instead.")
@click.option(
    "--until", required=True, help="Its last day, such as 2026-12-01, or a time with offset; 30 days at most."
)
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--json", "as_json", is_flag=True, help="The waiver as one JSON object.")
def command(
    fixture: str,
    bench: str,
    batch: str,
    readings: tuple[str, ...],
    first: str,
    second: str,
    reason: str,
    until: str,
    board: str | None,
    reports: Path,
    as_json: bool,
) -> None:
    """Excuse readings that prove cable and FIXTURE in one batch, on one bench. It shows on every screen and page.

    Example: batchtest waive vent-nest --bench simulated --batch spring --reading "id resistor of vent-lead"
    --by "A. Ito" --and "M. Roy" --reason "resistor broke off; continuity checked by hand" --until 2026-12-01
    """
    from batchtest.files.library import load_setup
    from batchtest.nouns import Waiver
    from batchtest.procedure import derive
    from batchtest.records.excuse import in_force, latest_time
    from batchtest.records.names import checked_name
    from batchtest.records.waiver import read_waivers, write_waiver

    folder, expires = reports / checked_name(batch, "batch"), expiry(until)
    setup = load_setup(Path.cwd(), fixture, bench, board)
    procedure = derive(setup)
    check_readings(readings, setup, procedure)
    before = read_waivers(reports, batch)
    now = latest_time(folder, before, datetime.now().astimezone())
    excused = [*readings, *(name for waiver in in_force(before, setup, now) for name in waiver.readings)]
    check_rest(excused, procedure)
    wanted = Waiver(
        number=0,
        batch=batch,
        station=setup.bench.station,
        bench=setup.bench_name,
        board=setup.board,
        fixture=setup.fixture_name,
        cable=setup.fixture.cable,
        readings=tuple(dict.fromkeys(readings)),
        people=(first, second),
        reason=reason,
        written=now.replace(microsecond=0),
        expires=expires,
    )
    waiver = write_waiver(reports, wanted)
    _print(waiver, folder / f"waiver.{waiver.number}.json", untold(excused, procedure), as_json=as_json)


def waivable(setup: Setup, procedure: Procedure) -> list[str]:
    """Names of what may be waived: the readings that prove needles and cable, the age of the challenge, and what keeps
    an instrument from being believed: its calibration, its warm-up.
    """
    from batchtest.commands.readiness import excusable
    from batchtest.procedure.actions import Identify, ProveContact, ProvePinMap
    from batchtest.records.excuse import CHALLENGE

    names = [*_names(procedure, ProveContact, Identify, ProvePinMap), *excusable(setup.bench)]
    return names if setup.bench.challenge_every is None else [*names, CHALLENGE]


def check_readings(readings: Sequence[str], setup: Setup, procedure: Procedure) -> None:
    """Let pass what may be waived.

    Raises
    ------
    SetupError : another reading, or none of this procedure; lists what may be waived.
    """
    allowed, guards = waivable(setup, procedure), guarding(procedure)
    faults = []
    for name in dict.fromkeys(readings):
        if name in guards:
            faults.append(f"--reading {name!r} cannot be waived by anyone: it guards people, host and board")
        elif name not in allowed:
            faults.append(f"--reading {name!r} is none of {setup.fixture_name}; {_near(name, allowed)}")
    if faults:
        raise SetupError(
            "\n  ".join(
                [
                    *faults,
                    "what can be waived, proofs of needles and cable, and what keeps instruments from being believed:",
                    *allowed,
                ]
            )
        )


def check_waivers(waivers: Iterable[Waiver], procedure: Procedure) -> None:
    """See that no waiver on the disk excuses what nobody may waive; the command writes none that does.

    Raises
    ------
    RecordError : names the waiver and the reading.
    """
    guards = guarding(procedure)
    for waiver in waivers:
        for name in waiver.readings:
            if name in guards:
                raise RecordError(f"waiver {waiver.number} excuses {name!r}, which nobody may; go on in a new batch")


def guarding(procedure: Procedure) -> set[str]:
    """Names of the readings that guard people, host and board: all but the proofs of needles and cable."""
    from batchtest.procedure.actions import Identify, ProveContact, ProvePinMap

    actions = (*procedure.gate, *procedure.powered)
    known = {measurement.name for action in actions for measurement in action.measurements}
    return known - set(_names(procedure, ProveContact, Identify, ProvePinMap))


def check_rest(excused: Sequence[str], procedure: Procedure) -> None:
    """See that something still has to prove the cable.

    Raises
    ------
    SetupError : nothing would, with what other waivers excuse: that skips the proof, and nobody may.
    """
    from batchtest.procedure.actions import Identify, ProvePinMap

    if set(_names(procedure, Identify, ProvePinMap)) <= set(excused):
        raise SetupError(
            f"no reading of {procedure.fixture} would have to prove the cable any more; leave one --reading out"
        )


def untold(excused: Sequence[str], procedure: Procedure) -> list[str]:
    """The cables of the library that no reading tells from the fixture's while these are excused."""
    from batchtest.cables import APART
    from batchtest.cables.apart import distance

    signature, cold = procedure.suspects.signature, procedure.suspects.harness.cold
    left = [pin for pin in signature.readings if pin.name not in excused]
    return [
        other
        for other in signature.distances
        if all(distance(cold, pin.reading, pin.expected[signature.cable], pin.expected[other]) < APART for pin in left)
    ]


def expiry(text: str) -> datetime:
    """When a waiver is over: the end of a day at this computer, or a moment with its offset.

    Raises
    ------
    SetupError : it is neither of the two, or no day of the calendar.
    """
    try:
        if _DATE.fullmatch(text):
            return datetime.combine(date.fromisoformat(text), _LAST_OF_DAY).astimezone()
        if _DATE_TIME.fullmatch(text):
            return datetime.fromisoformat(text.upper())
    except (ValueError, OverflowError, OSError) as error:
        raise SetupError(f"--until {text!r}: {error}; write a day such as 2026-12-01") from error
    raise SetupError(f"--until {text!r} is no time; write a day such as 2026-12-01, or 2026-12-01T17:00:00+01:00")


def _near(name: str, allowed: Sequence[str]) -> str:
    said = nearest(name, allowed)
    return said if said.startswith("did") else "no name is near it"


def _names(procedure: Procedure, *kinds: type[Action]) -> list[str]:
    return [each.name for action in procedure.gate if isinstance(action, kinds) for each in action.measurements]


def _print(waiver: Waiver, path: Path, alike: Sequence[str], *, as_json: bool) -> None:
    from batchtest.commands.screen import clean, taped
    from batchtest.records.waiver import as_table

    if as_json:
        click.echo(json.dumps({"file": str(path), **as_table(waiver), "untold": alike}))
        return
    click.echo(clean(taped(waiver)))
    if alike:
        click.echo(
            f"no reading tells {waiver.cable} from {' or '.join(alike)} now: look at the cable before every board"
        )
    click.echo(
        f"written to {path}: it shows on every screen and page of batch {waiver.batch}, and cannot be taken back"
    )
