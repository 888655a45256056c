"""Closed batches folded into Parquet, beside the time that DuckDB alone needs to read the same CSV files.

`ratio` is gather's wall time over DuckDB's: every column of every file, typed as the records' description says, on all
cores, in one statement, and nothing done with it. Gather also checks every hash, reads every description and writes.
Both are the best of some rounds, turn by turn; `cpu_ratio` is of the processor's time, whatever else the machine does.
`again_s` is a run with nothing new, `grown_s` one with one more batch, `find_s` a search through all descriptions. The
records are copies of kept ones with other values and right hashes.

    python tests/benchmarks/gather.py [--records 10000] [--batches 100] [--rounds 2] [--folder /dev/shm] [--json]
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import json
import os
import random
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from batchtest.records.chain import BEGINNING
from batchtest.records.columns import COLUMNS, NAMES
from batchtest.records.gather import State, gather
from batchtest.records.metadata import Closing, describe
from batchtest.records.record import read_raw

OLD = Path(__file__).resolve().parent.parent / "test_records" / "old" / "2" / "reports" / "spring"
#: Kept records that are copied, and how many of twenty are of each: one in ten fails cold.
PATTERNS = {"VN-0003.1.csv": 18, "VN-0004.1.csv": 1, "VN-0009.1.csv": 1}
TYPES = {
    "string": "VARCHAR",
    "integer": "BIGINT",
    "double": "DOUBLE",
    "boolean": "BOOLEAN",
    "dateTimeStamp": "TIMESTAMPTZ",
}


class Pattern:
    """A kept record, of which any number of others can be made."""

    def __init__(self, path: Path) -> None:
        raw = read_raw(path)
        self.closing: Closing = raw.sealed.closing
        place = NAMES.index("value")
        rows = list(csv.reader(io.StringIO(raw.data.decode(), newline="")))
        self._rows = [(_text(row[:place]), row[place], _text(row[place + 1 :])) for row in rows]

    def bytes(self, chance: random.Random) -> bytes:
        """The record with other values."""
        (first, name, rest), *rows = self._rows
        lines = [f"{first},{name},{rest}"]
        for before, value, after in rows:
            lines.append(f"{before},{repr(float(value) * (1 + chance.gauss(0, 1e-3))) if value else ''},{after}")
        return ("\r\n".join(lines) + "\r\n").encode()


def make(reports: Path, records: int, batches: int, first: int = 0) -> int:
    """Write records into batches, linked into one chain; gives the bytes of the CSV files."""
    chance = random.Random(first)
    patterns = [pattern for name, share in PATTERNS.items() for pattern in [Pattern(OLD / name)] * share]
    previous, written = BEGINNING, 0
    for number in range(first, first + records):
        batch = reports / f"batch-{number * batches // records:03}"
        batch.mkdir(parents=True, exist_ok=True)
        pattern = patterns[number % len(patterns)]
        data, name = pattern.bytes(chance), f"VN-{number:05}"
        closing = replace(
            pattern.closing,
            context=replace(pattern.closing.context, batch=batch.name, serial=name, attempt=1),
            csv_sha256=hashlib.sha256(data).hexdigest(),
            previous_sha256=previous,
        )
        text, previous = describe(f"{name}.1.csv", closing, data)
        (batch / f"{name}.1.csv").write_bytes(data)
        (batch / f"{name}.1.csv-metadata.json").write_text(text)
        written += len(data)
    return written


def read_alone(reports: Path) -> int:
    """DuckDB reads every column of every CSV file; gives the count of lines."""
    import duckdb

    files = [str(path) for path in sorted(reports.glob("*/*.csv"))]
    columns = ", ".join(f"'{column.name}': '{TYPES[column.datatype]}'" for column in COLUMNS)
    reading = (
        f"read_csv($files, header = true, auto_detect = false, columns = {{{columns}}}, quote = '\"', escape = '\"')"
    )
    with duckdb.connect() as database:
        counts = database.execute(f"SELECT count(*), count(COLUMNS(*)) FROM {reading}", {"files": files}).fetchone()
    assert counts is not None
    return int(counts[0])


def gather_anew(reports: Path) -> int:
    """Gather with nothing there yet; gives the count of lines."""
    for path in reports.glob("*/readings.parquet"):
        path.unlink()
    return sum(batch.lines for batch in gather([reports]))


def timed(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Wall time and time of the processor, s, and what came of it."""
    wall, own = time.perf_counter(), time.process_time()
    found = work()
    return time.perf_counter() - wall, time.process_time() - own, found


def measure(reports: Path, records: int, batches: int, rounds: int) -> dict[str, Any]:
    """All figures of one folder."""
    from batchtest.records.search import Wanted, search

    size = make(reports, records, batches)
    alone, gathered = [], []
    for _ in range(rounds):
        alone.append(timed(lambda: read_alone(reports)))
        gathered.append(timed(lambda: gather_anew(reports)))
    assert {lines for *_, lines in alone} == {lines for *_, lines in gathered}
    again_s, _, batch_states = timed(lambda: {batch.state for batch in gather([reports])})
    assert batch_states == {State.UNCHANGED}
    make(reports, records // batches, 1, first=records)
    grown_s, _, grown = timed(lambda: [batch for batch in gather([reports]) if batch.state is State.GATHERED])
    find_s, _, found = timed(lambda: search(reports, Wanted(values={"meter serial": "SM-1"})))
    assert len(found.attempts) == records + records // batches
    (best_alone, best), (own_alone, own) = (
        [min(one[place] for one in runs) for runs in (alone, gathered)] for place in (0, 1)
    )
    return {
        "records": records,
        "batches": batches,
        "lines": gathered[0][2],
        "csv_MB": round(size / 1e6),
        "parquet_MB": round(sum(path.stat().st_size for path in reports.glob("*/*.parquet")) / 1e6, 1),
        "cores": os.cpu_count(),
        "duckdb_reads_s": round(best_alone, 2),
        "gather_s": round(best, 2),
        "ratio": round(best / best_alone, 2),
        "cpu_ratio": round(own / own_alone, 2),
        "reach": 1.5,
        "reached": best <= 1.5 * best_alone,
        "again_s": round(again_s, 2),
        "grown_batches": len(grown),
        "grown_s": round(grown_s, 2),
        "find_s": round(find_s, 2),
    }


def _text(cells: list[str]) -> str:
    """Cells as they stand in a record."""
    text = io.StringIO()
    csv.writer(text).writerow(cells)
    return text.getvalue().removesuffix("\r\n")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=10_000)
    parser.add_argument("--batches", type=int, default=100)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--folder", type=Path, default=Path("/dev/shm") if Path("/dev/shm").is_dir() else None)
    parser.add_argument("--json", action="store_true", dest="as_json")
    asked = parser.parse_args()
    with TemporaryDirectory(prefix="batchtest-gather-", dir=asked.folder) as folder:
        found = measure(Path(folder), asked.records, asked.batches, asked.rounds)
    if asked.as_json:
        print(json.dumps(found))
    else:
        for name, value in found.items():
            print(f"{name:>16}  {value}")


if __name__ == "__main__":
    main()
