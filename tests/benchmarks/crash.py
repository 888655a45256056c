"""A station killed at every line and at every call on the disk, and a disk that is really full: what is lost or torn.

A power cut takes, besides, every byte and every name that was not synced. Reach: `lost`, `torn` and `half_passes`
nought. Run `python tests/benchmarks/crash.py [--json] [--lines N] [--folder F]`. The full disks are tmpfs of 16 to 196
KiB, which takes root; where they cannot be mounted that is said.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from test_records.contexts import CONTEXT, a_line, close

from batchtest.errors import RecordError
from batchtest.pages import write_attempt_page
from batchtest.records.journal import Journal
from batchtest.records.record import read_part, read_record
from batchtest.records.unfinished import close_unfinished
from batchtest.records.verify import verify

TESTS = Path(__file__).resolve().parents[1]
#: Sizes of the disks that are filled, and lines of each attempt on them.
SIZES_KIB = range(16, 200, 4)
LINES = 60


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--lines", type=int, default=60, help="lines of the attempt that is killed")
    parser.add_argument("--folder", type=Path, default=Path.cwd(), help="a folder on the disk to be tried")
    arguments = parser.parse_args()
    result: dict[str, Any] = {"lines": arguments.lines}
    with tempfile.TemporaryDirectory(dir=arguments.folder) as folder:
        ways = (("killed_at_lines", "lines"), ("killed_at_calls", "calls"), ("power_cut_at_calls", "power"))
        for name, how in ways:
            result[name] = killed(Path(folder) / name, how, arguments.lines)
        result["full_disk"] = full_disk(Path(folder) / "full")
    found = [part for part in result.values() if isinstance(part, dict)]
    for key in ("lost", "torn", "half_passes"):
        result[key] = sum(part.get(key, 0) for part in found)
    result["reached"] = not any(result[key] for key in ("lost", "torn", "half_passes"))
    print(json.dumps(result) if arguments.json else "\n".join(f"{name}: {value}" for name, value in result.items()))


def killed(folder: Path, how: str, lines: int) -> dict[str, int]:
    """Kill real processes at every point of an attempt with its pages."""
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "test_records.dying", str(folder), how, str(lines), "pages"],
        cwd=TESTS,
        env={**os.environ, "PYTHONPATH": os.pathsep.join((str(TESTS), str(TESTS.parent)))},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    found: dict[str, int] = json.loads(done.stdout)
    return found


def full_disk(folder: Path) -> dict[str, Any]:
    """Attempts on small disks of many sizes until they are full, each again once room was made."""
    folder.mkdir()
    result: dict[str, Any] = {
        "disks": 0,
        "attempts": 0,
        "lines": 0,
        "lost": 0,
        "torn": 0,
        "half_passes": 0,
        "unsaid": 0,
    }
    for size_KiB in SIZES_KIB:
        with small_disk(folder, size_KiB) as why:
            if why:
                return {"not_tried": why}
            for key, count in filled(folder).items():
                result[key] += count
    return result


def filled(folder: Path) -> dict[str, int]:
    """Fill one disk, see what is left of what was told, make room, and see that the station goes on."""
    ballast = folder / "ballast"
    ballast.write_bytes(bytes(8 * 1024))
    told, said, passed = fill(folder)
    lost = sum(lines - kept(folder, number) for number, lines in told.items())
    torn = sum(not read_record(record).unaltered for record in folder.glob("*/*.csv"))
    ballast.unlink()
    again = {
        each.attempt.number: each.attempt.outcome for each in close_unfinished(folder, CONTEXT.station) if each.attempt
    }
    after = folder / CONTEXT.batch
    passes = sum(read_record(record).closing.outcome == "pass" for record in after.glob("*.csv"))
    damage = verify(folder).damage if told else ()
    return {
        "disks": 1,
        "attempts": len(told),
        "lines": sum(told.values()),
        "lost": lost,
        "torn": torn + len(damage),
        "half_passes": passes - passed + sum(outcome != "stopped" for outcome in again.values()),
        "unsaid": "No space left on device" not in said,
    }


def kept(folder: Path, number: int) -> int:
    """How many whole lines of an attempt are on the disk, closed or not."""
    record = folder / CONTEXT.batch / f"VN-0001.{number}.csv"
    part = record.with_name(f"{record.name}.part")
    return len(read_part(part).lines if part.exists() else read_record(record).lines)


def fill(folder: Path) -> tuple[dict[int, int], str, int]:
    """Test until the disk is full; how many lines of each attempt were told, what was said, how many passes."""
    told: dict[int, int] = {}
    passed = 0
    try:
        while True:
            with Journal.claim(folder, CONTEXT) as journal:
                told[journal.attempt] = 0
                for number in range(1, LINES + 1):
                    journal.write(a_line(number))
                    told[journal.attempt] += 1
                attempt = close(journal)
                passed += 1
            write_attempt_page(folder / attempt.record)
    except RecordError as error:
        return told, str(error), passed


@contextmanager
def small_disk(folder: Path, size_KiB: int) -> Iterator[str]:
    """Mount a small disk there; gives why it could not be."""
    command = ["mount", "-t", "tmpfs", "-o", f"size={size_KiB}k", "tmpfs", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        yield done.stderr.strip() or f"mount ended with {done.returncode}"
        return
    try:
        yield ""
    finally:
        subprocess.run(["umount", str(folder)], check=True)


if __name__ == "__main__":
    main()
