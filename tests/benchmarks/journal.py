"""A reading journalled and synced, against a bare synced append of the same bytes to the same disk, side by side.

Reach: at most 1 ms more, median (design 9). Run `python tests/benchmarks/journal.py [--json] [--lines N] [--folder F]`.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from test_records.contexts import CONTEXT, a_line

from batchtest.records.journal import Journal
from batchtest.records.rows import row_of


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--lines", type=int, default=500, help="lines to write each way")
    parser.add_argument("--folder", type=Path, default=Path.cwd(), help="a folder on the disk to be measured")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=arguments.folder) as folder:
        result = measure(Path(folder), arguments.lines)
    print(json.dumps(result) if arguments.json else "\n".join(f"{name}: {value}" for name, value in result.items()))


def measure(folder: Path, lines: int) -> dict[str, float | int | bool]:
    """Write line by line in turn, so that both meet the same disk at the same time."""
    journalled, bare = [], []
    file = os.open(folder / "bare", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    with Journal.claim(folder, CONTEXT) as journal:
        for number in range(1, lines + 1):
            line = replace(a_line(number), elapsed_s=number / 7)
            row = row_of(line)
            journalled.append(milliseconds(lambda line=line: journal.write(line)))  # type: ignore[misc]
            bare.append(milliseconds(lambda row=row: append(file, row)))  # type: ignore[misc]
    os.close(file)
    more = statistics.median(journalled) - statistics.median(bare)
    return {
        "lines": lines,
        "journalled_ms": round(statistics.median(journalled), 4),
        "bare_ms": round(statistics.median(bare), 4),
        "ms_over_bare_append": round(more, 4),
        "reach_ms": 1.0,
        "reached": more <= 1.0,
    }


def append(file: int, row: bytes) -> None:
    """The bare thing."""
    os.write(file, row)
    os.fdatasync(file)


def milliseconds(work: Callable[[], object]) -> float:
    """How long a piece of work takes."""
    begin = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - begin)


if __name__ == "__main__":
    main()
