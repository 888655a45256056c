"""How long a certificate takes: set as PDF/A, and printed with its number and record; how large it is.

Run: python tests/benchmarks/certificate.py [--prints N] [--json]
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from stations import stand  # noqa: E402

from batchtest.commands.certificate import print_record  # noqa: E402
from batchtest.pages.certificate import Sheet, certificate, values  # noqa: E402
from batchtest.records.record import read_record  # noqa: E402


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--prints", type=int, default=50)
    parser.add_argument("--json", action="store_true")
    wanted = parser.parse_args()
    shared = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(dir=shared if shared.is_dir() else None))
    try:
        figures = measured(folder, wanted.prints)
    finally:
        shutil.rmtree(folder)
    if wanted.json:
        print(json.dumps(figures))
        return
    for name, figure in figures.items():
        print(f"{name:32} {figure:10.1f}")


def measured(folder: Path, prints: int) -> dict[str, float]:
    """A whole attempt of the demo's nest, set and printed so many times; medians in ms."""
    with stand(folder) as known:
        (attempt,) = known.test("VN-0001")
    record = read_record(folder / attempt.record)
    sheet = Sheet(workshop="Glasshouse Controls", number=1, printed=datetime(2026, 4, 1, tzinfo=UTC), head="ab" * 32)
    first_ms = timed(lambda: certificate(record, sheet))
    size = len(certificate(record, sheet))
    return {
        "readings": float(len(record.lines)),
        "first_set_ms": first_ms,
        "values_ms": median(prints, lambda: values(record, sheet)),
        "set_ms": median(prints, lambda: certificate(record, sheet)),
        "printed_ms": median(prints, lambda: print_record(record, folder, None, "Glasshouse Controls", "K. Ahn")),
        "kB": size / 1000,
    }


def median(times: int, work: Callable[[], object]) -> float:
    """Median of so many runs, ms."""
    return statistics.median(timed(work) for _ in range(times))


def timed(work: Callable[[], object]) -> float:
    """One run, ms."""
    begin = time.perf_counter()
    work()
    return (time.perf_counter() - begin) * 1000


if __name__ == "__main__":
    main()
