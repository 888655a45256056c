"""A batch in numbers, from what stands beside its records: outcomes, first-pass yield, first causes, open serials."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from batchtest.errors import RecordError
from batchtest.nouns import Attempt, Outcome
from batchtest.records.chain import canonical
from batchtest.records.damage import Damage
from batchtest.records.disk import on_disk, write_whole
from batchtest.records.metadata import laid_out
from batchtest.records.names import CSV, PART, AttemptName, attempt_files
from batchtest.records.record import attempt_of, read_sealed

#: Firms differ in what they call by this name, so it stands beside every number.
FIRST_PASS_YIELD = (
    "boards that passed at the first attempt that was worked through, of all boards with such an attempt; stopped and "
    "refused attempts are the station's and stay out; doubtful is not a pass; 95 % interval by Clopper and Pearson"
)
#: The file of a batch's summary.
SUMMARY = "batch.json"
#: The keys of a summary of the first version, which carried no hash of its own.
_UNSEALED = {"board", "batch", "attempts", "outcomes", "boards", "first_pass", "causes", "open", "damaged"}
#: Outcomes that tell of the board.
OF_THE_BOARD = (Outcome.PASS, Outcome.FAIL, Outcome.DOUBTFUL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Yield:
    """A share with its exact 95 % interval, all as ratios; `share` is `None` where nothing was counted."""

    passed: int
    boards: int
    share: float | None
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSummary:
    """A batch's folder in numbers.

    Parameters
    ----------
    board : board type; several are joined by ", ".
    attempts : every closed attempt without its lines, by serial and number.
    outcomes : attempts by outcome, all outcomes named.
    boards : last outcome of each serial.
    causes : boards by first cause of their first worked-through attempt, the most frequent first.
    open : attempts that were begun and not closed, as "VN-0001.1".
    damaged : records that cannot be read, and why.
    """

    board: str
    batch: str
    attempts: tuple[Attempt, ...]
    outcomes: dict[Outcome, int]
    boards: dict[str, Outcome]
    first_pass: Yield
    causes: dict[str, int]
    open: tuple[str, ...]
    damaged: dict[str, str]


def batch_summary(folder: Path) -> BatchSummary:
    """Read a batch's folder, `reports/<batch>`.

    Raises
    ------
    RecordError : the folder cannot be read. A damaged record is no error; it is listed.
    """
    with on_disk(f"{folder} cannot be read"):
        names = sorted(attempt_files(folder))
    attempts, damaged = _closed(folder, [name for name, ending in names if ending == CSV])
    firsts = _firsts(attempts)
    return BatchSummary(
        board=", ".join(sorted({attempt.board for attempt in attempts})),
        batch=folder.name,
        attempts=tuple(attempts),
        outcomes={outcome: sum(attempt.outcome is outcome for attempt in attempts) for outcome in Outcome},
        boards={attempt.serial: attempt.outcome for attempt in attempts},
        first_pass=exact_yield(sum(first.outcome is Outcome.PASS for first in firsts), len(firsts)),
        causes=_causes(firsts),
        open=tuple(f"{name.serial}.{name.number}" for name, ending in names if ending == PART),
        damaged=damaged,
    )


def write_batch_json(folder: Path) -> BatchSummary:
    """Write `batch.json` beside the records of a batch, whole or not at all, and give what it says.

    Raises
    ------
    RecordError : the folder cannot be read or written.
    """
    summary = batch_summary(folder)
    described: dict[str, Any] = TypeAdapter(BatchSummary).dump_python(summary, mode="json")
    for attempt in described["attempts"]:
        del attempt["lines"]
    described["first_pass"]["definition"] = FIRST_PASS_YIELD
    with on_disk(f"{folder / SUMMARY} cannot be written"):
        write_whole(folder / SUMMARY, laid_out({**described, "sha256": _seal(described)}))
    return summary


def summary_faults(path: Path, outcomes: Mapping[str, str]) -> Iterator[Damage]:
    """What is wrong with a batch's summary: changed since, or telling of other attempts than are there.

    Parameters
    ----------
    path : a `batch.json`. Attempts that were closed after it was written are no fault.
    outcomes : every record that is there, from the reports folder, and its outcome; empty where that is not known.

    Raises
    ------
    RecordError : it cannot be read from the disk.
    """
    record = f"{path.parent.name}/{path.name}"
    with on_disk(f"{path} cannot be read"):
        data = path.read_bytes()
    try:
        found = json.loads(data.decode())
        rest = {key: value for key, value in found.items() if key != "sha256"}
        sealed = found["sha256"] == _seal(rest) if "sha256" in found else rest.keys() == _UNSEALED
        listed = {str(each["record"]): str(each["outcome"]) for each in found["attempts"]}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        yield Damage(record=record, field="", what=f"cannot be read any more ({error!r})")
        return
    if not sealed or laid_out(found).encode() != data:
        yield Damage(record=record, field="", what="is not as it was written")
        return
    for name, outcome in listed.items():
        if name not in outcomes:
            yield Damage(record=name, field="", what=f"was taken out: {record} lists it")
        elif outcomes[name] not in ("", outcome):
            yield Damage(record=record, field=f"attempts, {name}", what=f"says {outcome}, the record {outcomes[name]}")


def _seal(described: Mapping[str, Any]) -> str:
    return hashlib.sha256(canonical(dict(described)).encode()).hexdigest()


def exact_yield(passed: int, boards: int) -> Yield:
    """A share with its 95 % interval by Clopper and Pearson (1934), Biometrika 26, 404-413.

    >>> found = exact_yield(18, 20)
    >>> round(found.lower, 3), round(found.upper, 3)
    (0.683, 0.988)
    """
    from scipy.special import betaincinv

    failed = boards - passed
    return Yield(
        passed=passed,
        boards=boards,
        share=passed / boards if boards else None,
        lower=float(betaincinv(passed, failed + 1, 0.025)) if passed else 0.0,
        upper=float(betaincinv(passed + 1, failed, 0.975)) if failed else 1.0,
    )


def cause_name(first_cause: str | None) -> str:
    """What of a first cause can be counted: the measurement's name, without the value that differs from board to board.

    >>> cause_name("logic @ load point 2: 4.7100 V is 40.00 mV below the lower bound 4.7500 V")
    'logic @ load point 2'
    """
    return (first_cause or "not named").partition(": ")[0]


def _closed(folder: Path, names: Iterable[AttemptName]) -> tuple[list[Attempt], dict[str, str]]:
    attempts, damaged = [], {}
    for name in names:
        path = name.path(folder, CSV)
        try:
            attempts.append(attempt_of(read_sealed(path).closing, path))
        except RecordError as error:
            damaged[path.name] = str(error)
    return attempts, damaged


def _firsts(attempts: Sequence[Attempt]) -> list[Attempt]:
    """The first attempt of each serial that tells of the board; attempts come by serial and number."""
    told = [attempt for attempt in attempts if attempt.outcome in OF_THE_BOARD]
    return list({attempt.serial: attempt for attempt in reversed(told)}.values())


def _causes(firsts: Iterable[Attempt]) -> dict[str, int]:
    counts = Counter(cause_name(first.first_cause) for first in firsts if first.outcome is not Outcome.PASS)
    return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))
