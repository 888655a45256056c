"""Which waivers hold, and what they excuse.

Time is the wall clock, but never earlier than what the batch's own records say: a clock set back does not revive a
waiver under which, or after which, the batch went on. A clock set back before anything was recorded is believed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.errors import RecordError
from batchtest.nouns import Line, Phase, Verdict, Waiver
from batchtest.records.disk import on_disk
from batchtest.records.names import CSV, attempt_files
from batchtest.records.record import read_sealed

if TYPE_CHECKING:
    from batchtest.files.library import Setup

#: What a waiver names to excuse a challenge of the bench that is too old; it is no reading of a board.
CHALLENGE = "challenge"


def latest_time(folder: Path, waivers: Sequence[Waiver], wall: datetime) -> datetime:
    """The wall clock, or what a batch's waivers and closed records say where that is later.

    Parameters
    ----------
    folder : `reports/<batch>`; it need not be there. Damaged records are left out.
    waivers : those of the batch.
    wall : wall time with offset.

    Raises
    ------
    RecordError : the folder cannot be read.
    """
    return max([wall, *(waiver.written for waiver in waivers), *_ended(folder)])


def in_force(waivers: Iterable[Waiver], setup: Setup, now: datetime) -> tuple[Waiver, ...]:
    """Those that hold for this board type, bench, fixture and cable at this moment; ask anew for every board."""
    return tuple(waiver for waiver in waivers if _holds_for(waiver, setup) and now < waiver.expires)


def expired(waivers: Iterable[Waiver], setup: Setup, now: datetime) -> tuple[Waiver, ...]:
    """Those that held for this board type, bench, fixture and cable, and excuse nothing any more."""
    return tuple(waiver for waiver in waivers if _holds_for(waiver, setup) and now >= waiver.expires)


def excusing(waivers: Iterable[Waiver], measurement_name: str) -> Waiver | None:
    """The first of these waivers that names a measurement, or `CHALLENGE`."""
    return next((waiver for waiver in waivers if measurement_name in waiver.readings), None)


def excuse_of(line: Line, waivers: Iterable[Waiver]) -> Waiver | None:
    """The waiver that a line needs and has: a reading of the gate that was judged and did not pass."""
    if line.measurement.phase is not Phase.GATE or line.judgement is None or line.judgement.verdict is Verdict.PASS:
        return None
    return excusing(waivers, line.measurement.name)


def counted(lines: Iterable[Line], waivers: Sequence[Waiver]) -> list[Line]:
    """The lines that decide an outcome: all but those that are excused. Their own judgement is not touched."""
    return [line for line in lines if excuse_of(line, waivers) is None]


def _holds_for(waiver: Waiver, setup: Setup) -> bool:
    written_for = (waiver.station, waiver.bench, waiver.board, waiver.fixture, waiver.cable)
    here = (setup.bench.station, setup.bench_name, setup.board, setup.fixture_name, setup.fixture.cable)
    return written_for == here


def _ended(folder: Path) -> Iterator[datetime]:
    """When each closed attempt of a batch ended."""
    if not folder.is_dir():
        return
    with on_disk(f"{folder} cannot be read"):
        closed = [name.path(folder, CSV) for name, ending in attempt_files(folder) if ending == CSV]
    for path in closed:
        with suppress(RecordError):  # `batch_summary` lists it as damaged
            ended = read_sealed(path).closing.ended
            yield from [ended] if ended.tzinfo is not None else []
