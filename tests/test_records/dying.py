"""Kills a station at every call on the disk of a whole attempt; a process of its own, since it forks and is killed.

Each child makes an attempt and says through a pipe what a person would have been told. It is killed by SIGKILL, at a
call (a write that is struck has written its first half) or by its parent at a line. What is left is then checked, found
unfinished, closed, and tested anew.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import traceback
from collections.abc import Callable
from pathlib import Path

from batchtest.records.record import read_record
from batchtest.records.unfinished import CAUSE, close_unfinished
from batchtest.records.verify import verify
from test_records.attempting import Told, losses, whole_attempt
from test_records.contexts import CONTEXT, closed
from test_records.failpoints import Failpoint, die, failpoint, power_cut


def child(point: Failpoint, lines: int, pages: bool, word: int = 0) -> tuple[int, int]:
    """Begin an attempt in a process of its own; its id, and the pipe on which it says what it told.

    Parameters
    ----------
    point : the call on the disk at which it dies.
    word : the thing that it says after which it waits to be killed, counted from 1; 0 for none.
    """
    reading, writing = os.pipe()
    process = os.fork()
    if process:
        os.close(writing)
        return process, reading
    os.close(reading)
    gate, said = os.pipe()[0], 0

    def say(text: str) -> None:
        nonlocal said
        os.write(writing, f"{text}\n".encode())
        said += 1
        if said == word:
            os.read(gate, 1)

    try:
        with failpoint(point):
            whole_attempt(point.folder, Told(), lines, say, pages=pages)
        say("done")
    except BaseException:
        traceback.print_exc()
        raise
    finally:
        os._exit(0)


def told_by(text: str) -> Told:
    """What a person was told, from what a child said."""
    said = text.split("\n")
    told = Told([int(each.removeprefix("line ")) for each in said if each.startswith("line ")])
    told.attempt = True if "closed" in said else None  # type: ignore[assignment]
    return told


def examine(reports: Path, told: Told, found: dict[str, int]) -> None:
    """Count what is lost or torn right after a death, and again once it is closed and another attempt was made."""
    lost, torn = losses(reports, told)
    closed_again = list(close_unfinished(reports, CONTEXT.station))
    assert all(each.attempt is not None for each in closed_again), closed_again
    record = reports / CONTEXT.batch / "VN-0001.1.csv"
    if record.exists():
        again_lost, again_torn = losses(reports, told)
        lost, torn = max(lost, again_lost), max(torn, again_torn)
        read = read_record(record)
        cut = (read.closing.first_cause or "").startswith(CAUSE)
        found["stopped"] += cut
        found["half_passes"] += read.closing.outcome == "pass" and bool(closed_again)
        found["half_passes"] += told.attempt is not None and cut
    else:
        lost = max(lost, len(told.lines))
    closed(reports, serial="VN-0002")
    left = [path.name for path in reports.glob("*/*.part")]
    whole = verify(reports)
    assert not whole.damage, (whole.damage, told)
    assert not left, left
    found["lost"], found["torn"], found["kills"] = found["lost"] + lost, found["torn"] + torn, found["kills"] + 1


def walk(folder: Path, kill: Callable[[Path, int], Told | None]) -> dict[str, int]:
    """Kill at the first point, the second, and so on until an attempt comes through."""
    found = {"kills": 0, "lost": 0, "torn": 0, "half_passes": 0, "stopped": 0}
    at = 0
    while True:
        at += 1
        reports = folder / "reports"
        told = kill(reports, at)
        if told is None:
            return found
        examine(reports, told, found)
        shutil.rmtree(reports)


def at_calls(lines: int, pages: bool, strike: Callable[[Path, int], Failpoint]) -> Callable[[Path, int], Told | None]:
    """Killed at the n-th call on the disk."""

    def kill(reports: Path, at: int) -> Told | None:
        reports.mkdir()
        process, pipe = child(strike(reports, at), lines, pages)
        with os.fdopen(pipe) as said:
            text = said.read()
        _, status = os.waitpid(process, 0)
        assert text.endswith("done\n") or os.WTERMSIG(status) == signal.SIGKILL, text
        return None if text.endswith("done\n") else told_by(text)

    return kill


def at_lines(lines: int, pages: bool) -> Callable[[Path, int], Told | None]:
    """Killed by the parent once it was told the n-th thing: claimed, line 1, line 2 ... closed."""

    def kill(reports: Path, at: int) -> Told | None:
        if at > lines + 2:
            return None
        reports.mkdir()
        process, pipe = child(Failpoint(reports, 0, die), lines, pages, at)
        with os.fdopen(pipe) as said:
            text = "".join(said.readline() for _ in range(at))
            os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)
        return told_by(text)

    return kill


def main(folder: Path, how: str, lines: int, pages: bool) -> None:
    """Walk, and print what was found as one JSON object."""
    ways = {
        "lines": at_lines(lines, pages),
        "calls": at_calls(lines, pages, lambda reports, at: Failpoint(reports, at, die)),
        "power": at_calls(lines, pages, power_cut),
    }
    print(json.dumps(walk(folder, ways[how])))


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), "pages" in sys.argv)
