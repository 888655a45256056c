"""Readings as gathered files hold them, made from plain values, for the tests of the engines.

The scenario holds what a review has to keep apart: board types, batches, fixtures and stations; boards that fail, are
doubtful, are stopped, come again with or without rework; a reference board, a host, a challenge; limits that change,
units that differ, measurements that are repeated, and values that do not count.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import duckdb

from batchtest.records.parquet import connection
from batchtest.review.engine import Sources

Line = dict[str, Any]

STARTED = datetime(2026, 10, 30, 22, 0, tzinfo=UTC)
TYPES = {
    "board": "VARCHAR", "revision": "VARCHAR", "kind": "VARCHAR", "batch": "VARCHAR", "serial": "VARCHAR",
    "attempt": "INTEGER", "outcome": "VARCHAR", "cause": "VARCHAR", "station": "VARCHAR", "operator": "VARCHAR",
    "fixture": "VARCHAR", "cable": "VARCHAR", "simulated": "BOOLEAN", "waived": "BOOLEAN", "started": "TIMESTAMPTZ",
    "sha256": "VARCHAR", "retest": "VARCHAR", "repeated": "BOOLEAN", "number": "INTEGER", "phase": "VARCHAR",
    "name": "VARCHAR", "point": "VARCHAR", "measurand": "VARCHAR", "load_point": "INTEGER", "value": "DOUBLE",
    "value_micro": "BIGINT", "unit": "VARCHAR", "beyond": "DOUBLE", "uncertainty": "DOUBLE", "lower": "DOUBLE",
    "upper": "DOUBLE", "middle_micro": "BIGINT", "verdict": "VARCHAR", "settled": "BOOLEAN", "regulated": "BOOLEAN",
}  # fmt: skip


def a_line(number: int, value: float | None, **known: Any) -> Line:
    """A reading of the logic rail at its first load point, judged by its limits and a guard band of 10 mV."""
    lower, upper = known.get("lower", 4.75), known.get("upper", 5.25)
    line = {
        "number": number, "phase": "load", "name": "logic @ load point 1", "point": "logic", "measurand": "voltage",
        "load_point": 0, "value": value, "value_micro": None if value is None else round(value * 1e6), "unit": "V",
        "beyond": None, "uncertainty": 0.01, "lower": lower, "upper": upper,
        "middle_micro": None if lower is None or upper is None else round((lower + upper) * 5e5),
        "verdict": _verdict(value, lower, upper), "settled": True, "regulated": True,
    }  # fmt: skip
    return line | known


def an_attempt(lines: Iterable[Line], **known: Any) -> list[Line]:
    """Lines with the context of their attempt; a name that came before in it is a repeated one."""
    context = {
        "board": "vent", "revision": "B", "kind": "board", "batch": "spring", "serial": "VN-0001", "attempt": 1,
        "outcome": "pass", "cause": None, "station": "bench-1", "operator": "one", "fixture": "nest-1",
        "cable": "vent-lead", "simulated": True, "waived": False, "started": STARTED, "retest": "",
    } | known  # fmt: skip
    text = "/".join(str(context[name]) for name in ("station", "batch", "serial", "attempt"))
    seen: set[str] = set()
    told = []
    for line in lines:
        told.append(context | {"sha256": sha256(text.encode()).hexdigest(), "repeated": line["name"] in seen} | line)
        seen.add(line["name"])
    return told


def write(path: Path, lines: Iterable[Line]) -> Path:
    """Write lines as one gathered file."""
    text = path.with_suffix(".json")
    text.write_text("\n".join(json.dumps(line, default=str) for line in lines))
    columns = "{" + ", ".join(f"{name}: '{kind}'" for name, kind in TYPES.items()) + "}"
    reading = f"read_json('{text}', format = 'newline_delimited', columns = {columns})"
    with duckdb.connect() as database:
        database.execute(f"COPY (SELECT * FROM {reading}) TO '{path}' (FORMAT parquet)")
    return path


def sources(*paths: Path) -> Sources:
    """Gathered files as a review finds them."""
    return Sources(files=tuple(map(str, paths)), notices=(), connect=connection)


def scenario(boards: int = 40) -> Iterator[list[Line]]:
    """Attempts of two board types in three batches each, and of what stands beside boards; the same every time."""
    chance = random.Random(6)
    for place in range(6 * boards):
        board, batch = ("vent", "mist")[place % 2], f"{('vent', 'mist')[place % 2]}-{place // 2 % 3}"
        where = {
            "board": board, "batch": batch, "serial": f"S-{place:04}", "station": f"bench-{place % 3}",
            "fixture": f"{board}-nest-{place // 7 % 2}", "operator": ("one", "two")[place // 5 % 2],
            "started": STARTED + timedelta(minutes=11 * place), "waived": place % 17 == 0,
        }  # fmt: skip
        yield from _tries(chance, place, where)
    golden = {"serial": "S-0000", "batch": "vent-0", "retest": "golden-check"}
    for attempt in (7, 8):
        yield an_attempt(_lines(chance, 0), **golden, attempt=attempt, started=STARTED + timedelta(days=attempt))
    yield an_attempt(_lines(chance, 0)[:3], batch="challenges", serial="golden")
    yield an_attempt(_lines(chance, 0)[:2], kind="host", board="cabinet", serial="CB-001", batch="hosts", cable="")


def _tries(chance: random.Random, place: int, where: dict[str, Any]) -> Iterator[list[Line]]:
    """What became of one board: most pass at once, of every twenty some fail, are doubtful, or are stopped."""
    fate = place % 20
    if fate in (3, 4):
        yield an_attempt(_lines(chance, place)[:2], **where, attempt=1, outcome="stopped", cause="interrupted")
        if fate == 4:
            return
    number = 2 if fate == 3 else 1
    lines = _lines(chance, place, off=0.4 if fate in (7, 11, 12) else 0.248 if fate == 15 else 0.0)
    bad = next((line for line in lines if line["verdict"] in ("fail", "doubtful")), None)
    outcome = {None: "pass"}.get(bad and bad["verdict"], bad and bad["verdict"])
    yield an_attempt(lines, **where, attempt=number, outcome=outcome, cause=bad and bad["name"])
    if fate in (7, 11):
        retest = "re-seated" if fate == 7 else "reworked"
        later = where | {"started": where["started"] + timedelta(hours=50)}
        yield an_attempt(_lines(chance, place), **later, attempt=number + 1, retest=retest)


def _lines(chance: random.Random, place: int, off: float = 0.0) -> list[Line]:
    """What is read of a board: a repeated measurement, one-sided and unlimited ones, two rails, one always the same."""
    interlock = {"phase": "gate", "name": "interlock", "point": "interlock", "measurand": "resistance", "unit": "ohm"}
    nowhere = {"load_point": None}
    late = {"upper": 5.3} if place > 150 else {}
    value = round(chance.gauss(5.0, 0.004), 6) + off + (0.15 if place in (60, 62) else 0.0)
    lines = [
        a_line(1, 1000.0 + chance.random(), lower=900.0, upper=1100.0, **interlock, **nowhere),
        a_line(2, chance.gauss(0, 1e-4), lower=None, upper=None, name="residual", point="feed", **nowhere),
        a_line(3, None, beyond=2e6, lower=1e6, upper=None, verdict="pass", name="spare", unit="ohm", **nowhere),
        a_line(4, 1000.0 + chance.random(), lower=900.0, upper=1100.0, **interlock, **nowhere),
        a_line(5, value, **late),
        a_line(
            6,
            4.98 + (off if place % 20 == 12 else 0.0),
            name="logic @ load point 2",
            load_point=1,
            settled=place % 13 != 0,
        ),
        a_line(7, 12.0 + chance.gauss(0, 0.01), lower=11.9, upper=None, name="analog @ load point 1", point="analog"),
        a_line(8, 0.02, lower=None, upper=0.05, name="logic regulation", phase="derived", unit="1", **nowhere),
    ]
    if place % 10 == 9:
        lines.append(a_line(9, None, name="bias @ load point 1", point="bias", verdict="unread"))
    return lines


def _verdict(value: float | None, lower: float | None, upper: float | None) -> str:
    if lower is None and upper is None:
        return ""
    if value is None:
        return "unread"
    room = min(
        value - lower if lower is not None else float("inf"), upper - value if upper is not None else float("inf")
    )
    return "fail" if room < 0 else "doubtful" if room < 0.01 else "pass"
