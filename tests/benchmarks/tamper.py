"""Hundreds of tamperings of each kind with a folder of real records: how many are found, and the right record named.

The records are of boards tested on the simulated bench, in two batches, with pages, summaries, waivers, a note and
prints. Each tampering is undone before the next. Reach: `found` = `tried`; what `--head` is for (a tail cut off with
its traces mended) is tried with the printed head.
Run `python tests/benchmarks/tamper.py [--json] [--tries N] [--records N]`.

- `named`: the damage names the record that was tampered with (of a deleted one: by its page or summary).
- `field`: of edited CSV cells and context keys, the line and column, or the key, is named.
- `verify_s`, `verify_cpu_s`: time on the wall and of the processor for `--records` records of 60 lines each, without
  their pages; `page_cpu_ms`: rendering one again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from stations import demo_setup, stand
from test_records.contexts import CONTEXT, STARTED, a_line
from test_records.notes import a_note
from test_records.waivers import a_waiver

from batchtest.nouns import Outcome
from batchtest.pages import write_attempt_page, write_batch_page
from batchtest.pages.compare import attempt_pages, page_faults
from batchtest.records.batch import write_batch_json
from batchtest.records.begun import write_begun
from batchtest.records.chain import head
from batchtest.records.columns import NAMES
from batchtest.records.damage import Damage
from batchtest.records.link import link_record
from batchtest.records.metadata import Closing
from batchtest.records.names import BEGUN, PART, AttemptName
from batchtest.records.note import write_note
from batchtest.records.prints import Print, write_print
from batchtest.records.record import read_record
from batchtest.records.rows import header, row_of
from batchtest.records.verify import verify
from batchtest.records.waiver import write_waiver

#: What is wrong with which boards.
BAD = {"VN-0002": "RL5 short", "VN-0005": "R5B open"}
#: Records of one file.
OTHERS = ("*/waiver.*.json", "*/note.*.json", "*/*.certificate-*.json")
#: What a tampering gives back: the record or file that must be named, and the field, where one must be.
Done = tuple[str, str]


def main() -> None:
    """Tamper, time, and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--tries", type=int, default=100, help="tamperings of each kind")
    parser.add_argument("--records", type=int, default=10_000, help="records of the folder whose verifying is timed")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
        reports = Path(folder) / "reports"
        make(reports)
        kinds = {name: tampered(reports, kind, wanted.tries) for name, kind in KINDS.items()}
        timed = time_it(Path(folder) / "many", wanted.records)
    tried, found = (sum(kind[key] for kind in kinds.values()) for key in ("tried", "found"))
    result = {"tried": tried, "found": found, "reached": tried == found, **timed, "kinds": kinds}
    if wanted.json:
        print(json.dumps(result))
        return
    print("\n".join(f"{name:<14} {value}" for name, value in result.items() if name != "kinds"))
    print(f"{'kind':<28} {'tried':>6} {'found':>6} {'named':>6} {'field':>6}")
    for name, kind in kinds.items():
        print(f"{name:<28} {kind['tried']:>6} {kind['found']:>6} {kind['named']:>6} {kind['field'] or '':>6}")


def make(reports: Path) -> None:
    """Test twelve boards in two batches on the simulated bench, some of them bad, and write all that goes with it."""
    with stand(reports, demo_setup(BAD)) as station:
        for batch in ("spring", "summer"):
            for attempt in station.test(*(f"VN-{number:04}" for number in range(1, 7)), batch=batch):
                write_attempt_page(reports / attempt.record)
            written = max(read_record(path).closing.ended for path in (reports / batch).glob("*.csv"))
            held = {"written": written, "expires": written + timedelta(days=3)}
            write_waiver(reports, a_waiver(batch=batch, station=station.station.setup.bench.station, **held))
            if batch == "spring":
                add_others(reports)
            write_batch_json(reports / batch)
            write_batch_page(reports / batch)
    clean = verify(reports)
    assert not clean.damage, clean.damage


def add_others(reports: Path) -> None:
    """A note on a board, which its page does not show yet, and two prints of its certificate."""
    path = next(reports.glob("spring/VN-0001.*.csv"))
    record = read_record(path)
    place = {"batch": "spring", "serial": record.context.serial, "station": record.context.station}
    write_note(reports, a_note(about=record_of(path), about_sha256=record.sha256, **place))
    for _ in range(2):
        known = Print(
            number=0,
            attempt=record.context.attempt,
            printed=record.closing.ended,
            by="K. Ahn",
            workshop="Glasshouse Controls",
            software=record.context.software,
            record_sha256=record.sha256,
            **place,
        )
        write_print(reports, known, lambda known: f"print {known.number}".encode())


def tampered(reports: Path, kind: Callable[[Path, random.Random], Done], tries: int) -> dict[str, int]:
    """Tamper in one way many times, each undone."""
    chance = random.Random(kind.__name__)
    counts = {"tried": 0, "found": 0, "named": 0, "field": 0}
    printed = [found for station in stations(reports) if (found := head(reports, station))]
    for _ in range(tries):
        with undone(reports):
            record, field = kind(reports, chance)
            damage = found_in(reports, printed)
        counts["tried"] += 1
        counts["found"] += bool(damage)
        counts["named"] += any(record in str(fault) for fault in damage)
        counts["field"] += bool(field) and any(field in fault.field for fault in damage)
    return counts


def found_in(reports: Path, printed: list[str]) -> tuple[Damage, ...]:
    """What `batchtest verify --head` finds; pages are rendered again where nothing else was found."""
    damage = verify(reports, printed).damage
    return damage or tuple(fault for page in attempt_pages(reports) for fault in page_faults(page))


def stations(reports: Path) -> list[str]:
    """Stations that have a chain here."""
    heads = (path for path in reports.glob(".chain-*") if path.suffix != ".lock")
    return [path.name.removeprefix(".chain-") for path in heads]


@contextmanager
def undone(reports: Path) -> Iterator[None]:
    """Put every file back as it was, and take every other one away."""
    before = {path: path.read_bytes() for path in reports.rglob("*") if path.is_file()}
    try:
        yield
    finally:
        for path in [path for path in reports.rglob("*") if path.is_file() and path not in before]:
            path.unlink()
        for path, data in before.items():
            if not path.exists() or path.read_bytes() != data:
                path.write_bytes(data)


def a_file(reports: Path, chance: random.Random, pattern: str) -> Path:
    """Any file of a kind."""
    return chance.choice(sorted(path for path in reports.glob(pattern) if path.suffix != ".lock"))


def record_of(path: Path) -> str:
    """The record that a file belongs to, as it is named."""
    name = path.name.removesuffix("-metadata.json")
    if name.startswith("."):
        return name
    return f"{path.parent.name}/{name}"


def edit_byte(pattern: str) -> Callable[[Path, random.Random], Done]:
    """One byte of one file becomes another."""

    def edit(reports: Path, chance: random.Random) -> Done:
        path = a_file(reports, chance, pattern)
        data = bytearray(path.read_bytes())
        at = chance.randrange(len(data))
        data[at] = chance.choice([byte for byte in range(256) if byte != data[at]])
        path.write_bytes(data)
        return record_of(path), ""

    edit.__name__ = pattern
    return edit


def edit_cell(reports: Path, chance: random.Random) -> Done:
    """One digit of one cell of a CSV."""
    path = a_file(reports, chance, "*/*.csv")
    rows = path.read_bytes().split(b"\r\n")
    number = chance.randrange(1, len(rows) - 1)
    cells = rows[number].split(b",")
    column = chance.choice([at for at in range(9) if any(letter in b"123456789" for letter in cells[at])])
    cells[column] = cells[column].translate(bytes.maketrans(b"123456789", b"912345678"))
    rows[number] = b",".join(cells)
    path.write_bytes(b"\r\n".join(rows))
    return record_of(path), f"line {number + 1}, column {NAMES[column]}"


def edit_key(reports: Path, chance: random.Random) -> Done:
    """One value of a context."""
    path = a_file(reports, chance, "*/*.csv-metadata.json")
    found = json.loads(path.read_text())
    context = found["urn:batchtest:record"]["context"]
    key = chance.choice([key for key, value in context.items() if isinstance(value, str) and key != "station"])
    context[key] += "x"
    path.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n")
    return record_of(path), f"context.{key}"


def delete_record(reports: Path, chance: random.Random) -> Done:
    """An attempt with its description; its page and the summary stay."""
    path = a_file(reports, chance, "*/*.csv")
    path.unlink()
    path.with_name(f"{path.name}-metadata.json").unlink()
    return record_of(path), ""


def delete_every_trace(reports: Path, chance: random.Random) -> Done:
    """An attempt with its page, the summary and page of the batch; only a hash is left of it, in its neighbour."""
    path = a_file(reports, chance, "*/*.csv")
    delete_files(path)
    for gone in ("batch.json", "batch.html"):
        (path.parent / gone).unlink()
    return head_of(reports), ""


def delete_files(path: Path) -> None:
    """The files of an attempt."""
    for gone in (path, path.with_name(f"{path.name}-metadata.json"), path.with_suffix(".html")):
        gone.unlink()


def head_of(reports: Path) -> str:
    """The station, which is all that is left to be named."""
    return stations(reports)[0]


def delete_lines_or_description(reports: Path, chance: random.Random) -> Done:
    """Half a record, or one of another kind."""
    path = a_file(reports, chance, chance.choice(("*/*.csv", "*/*.csv-metadata.json", *OTHERS)))
    path.unlink()
    return (record_of(path) if ".csv" in path.name else head_of(reports)), ""


def add_copy(reports: Path, chance: random.Random) -> Done:
    """A copy of an attempt as a later one."""
    path = a_file(reports, chance, "*/*.csv")
    target = path.with_name(path.name.replace(".1.csv", ".2.csv"))
    shutil.copy(path, target)
    shutil.copy(path.with_name(f"{path.name}-metadata.json"), target.with_name(f"{target.name}-metadata.json"))
    return record_of(target), ""


def add_forged(reports: Path, chance: random.Random) -> Done:
    """A record with all its own hashes right, that follows on any record; the head is put back."""
    path = a_file(reports, chance, "*/*.csv")
    record, station = read_record(path), stations(reports)[0]
    state = (reports / f".chain-{station}").read_bytes()
    follow = {"sha256": record.sha256, "previous": "0" * 64, "record": record_of(path), "finished": True}
    (reports / f".chain-{station}").write_text(json.dumps(follow, indent=1) + "\n")
    forged = write_record(reports, "VN-0999", batch=path.parent.name, station=station)
    (reports / f".chain-{station}").write_bytes(state)
    return forged, ""


def rename(reports: Path, chance: random.Random) -> Done:
    """An attempt under another serial."""
    path = a_file(reports, chance, "*/*.csv")
    return moved(path, path.with_name(f"VN-9{chance.randrange(1000):03}.1.csv"))


def move_batch(reports: Path, chance: random.Random) -> Done:
    """An attempt in another batch, or one that is made for it."""
    path = a_file(reports, chance, "*/*.csv")
    other = reports / chance.choice(["autumn", "winter"])
    other.mkdir(exist_ok=True)
    return moved(path, other / path.name)


def moved(path: Path, target: Path) -> Done:
    """Both files of a record in another place."""
    path.rename(target)
    path.with_name(f"{path.name}-metadata.json").rename(target.with_name(f"{target.name}-metadata.json"))
    return record_of(target), ""


def swap(reports: Path, chance: random.Random) -> Done:
    """Two attempts, or their lines, or their pages, in each other's place."""
    one, other = chance.sample(sorted(reports.glob("*/*.csv")), 2)
    endings = chance.choice(((".csv",), (".csv-metadata.json",), (".html",), (".csv", ".csv-metadata.json")))
    for ending in endings:
        first, second = (path.with_name(path.name.removesuffix(".csv") + ending) for path in (one, other))
        first_data, second_data = first.read_bytes(), second.read_bytes()
        first.write_bytes(second_data)
        second.write_bytes(first_data)
    return record_of(one).removesuffix(".csv") + (".html" if endings == (".html",) else ".csv"), ""


def truncate(reports: Path, chance: random.Random) -> Done:
    """A file cut short, anywhere."""
    path = a_file(reports, chance, chance.choice(("*/*.csv", "*/*.csv-metadata.json", "*/*.html", *OTHERS)))
    path.write_bytes(path.read_bytes()[: chance.randrange(path.stat().st_size)])
    return record_of(path), ""


def cut_tail(reports: Path, chance: random.Random) -> Done:
    """The newest attempts, and all traces of them mended: the head, summary and page of the batch written anew."""
    station = stations(reports)[0]
    for path in reports.glob("*/waiver.*.json"):
        if path.parent.name == "summer":
            path.unlink()
    by_previous = {read_record(path).closing.previous_sha256: path for path in (reports / "summer").glob("*.csv")}
    hashes = {read_record(path).sha256: path for path in by_previous.values()}
    path = next(path for sha256, path in hashes.items() if sha256 not in by_previous)
    for _ in range(chance.randrange(1, 5)):
        record = read_record(path)
        delete_files(path)
        path = hashes[record.closing.previous_sha256]
    last = read_record(path)
    follow = {"sha256": last.sha256, "previous": last.closing.previous_sha256, "record": record_of(path)}
    (reports / f".chain-{station}").write_text(json.dumps({**follow, "finished": True}, indent=1) + "\n")
    write_batch_json(path.parent)
    write_batch_page(path.parent)
    assert not verify(reports).damage
    return "printed head", ""


def forge_page(reports: Path, chance: random.Random) -> Done:
    """A number or a verdict in a page, and its seal computed anew."""
    path = a_file(reports, chance, "*/VN-*.html")
    text = path.read_text()
    seal = text.partition('batchtest:sha256" content="')[2][:64]
    digits = [at for at, letter in enumerate(text) if letter.isdigit() and at > text.index("<body>")]
    at = chance.choice(digits)
    text = (text[:at] + str((int(text[at]) + 1) % 10) + text[at + 1 :]).replace(seal, "0" * 64, 1)
    path.write_text(text.replace("0" * 64, hashlib.sha256(text.encode()).hexdigest(), 1))
    return f"{path.parent.name}/{path.name}", ""


KINDS: dict[str, Callable[[Path, random.Random], Done]] = {
    "byte of a CSV": edit_byte("*/*.csv"),
    "byte of a description": edit_byte("*/*.csv-metadata.json"),
    "byte of a page": edit_byte("*/*.html"),
    "byte of a waiver": edit_byte("*/waiver.*.json"),
    "byte of a note": edit_byte("*/note.*.json"),
    "byte of a print": edit_byte("*/*.certificate-*.json"),
    "byte of a sheet": edit_byte("*/*.certificate-*.pdf"),
    "byte of a summary": edit_byte("*/batch.json"),
    "byte of the head": edit_byte(".chain-*"),
    "cell of a CSV": edit_cell,
    "value of a context": edit_key,
    "record deleted": delete_record,
    "record and traces deleted": delete_every_trace,
    "half a record deleted": delete_lines_or_description,
    "copy added": add_copy,
    "forged record added": add_forged,
    "renamed": rename,
    "moved to another batch": move_batch,
    "swapped": swap,
    "truncated": truncate,
    "tail cut, traces mended": cut_tail,
    "page forged and sealed": forge_page,
}


def write_record(reports: Path, serial: str, *, batch: str, station: str, rows: bytes | None = None) -> str:
    """A closed record made at once, without a sync for each line."""
    context = replace(CONTEXT, serial=serial, batch=batch, station=station, attempt=1)
    name, folder = AttemptName(serial, 1), reports / batch
    data = header() + (rows or row_of(a_line(1)))
    name.path(folder, PART).write_bytes(data)
    write_begun(name.path(folder, BEGUN), context)
    closing = Closing(
        context=context,
        outcome=Outcome.PASS,
        first_cause=None,
        ended=STARTED,
        duration_s=1.0,
        proof=(),
        csv_sha256=hashlib.sha256(data).hexdigest(),
        previous_sha256="",
    )
    link_record(reports, closing)
    return f"{batch}/{serial}.1.csv"


def time_it(reports: Path, records: int) -> dict[str, Any]:
    """How long a big folder takes."""
    rows = b"".join(row_of(a_line(number)) for number in range(1, 61))
    for number in range(records):
        batch = f"batch-{number // 200}"
        (reports / batch).mkdir(parents=True, exist_ok=True)
        record = write_record(reports, f"VN-{number:05}", batch=batch, station="bench-1", rows=rows)
    begin, cpu = time.perf_counter(), time.process_time()
    found = verify(reports)
    verify_s, verify_cpu_s = time.perf_counter() - begin, time.process_time() - cpu
    assert not found.damage
    page = write_attempt_page(reports / record)
    cpu = time.process_time()
    for _ in range(10):
        assert not list(page_faults(page))
    page_ms = 100 * (time.process_time() - cpu)
    return {
        "records": records,
        "verify_s": round(verify_s, 2),
        "verify_cpu_s": round(verify_cpu_s, 2),
        "page_cpu_ms": round(page_ms, 1),
    }


if __name__ == "__main__":
    main()
