"""A waiver on the disk, `reports/<batch>/waiver.<n>.json`: written once, numbered, linked into the station's chain.

It trusts the two names as they were typed. What it guards against is a waiver that nobody sees: one that is altered,
copied into another batch, or taken out from between others is found when it is read; the last one taken out leaves a
gap in the chain.
"""

from __future__ import annotations

import json
import os
import re
import unicodedata
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from batchtest.errors import RecordError, SetupError
from batchtest.nouns import Waiver
from batchtest.records.chain import canonical, link_hash, locked_chain
from batchtest.records.claim import claim_number
from batchtest.records.disk import on_disk, sync_folder, write_all
from batchtest.records.names import checked_name

#: The longest that a waiver may hold.
MOST_DAYS = 30
#: A reason says what is wrong and what was done instead: that takes some words, and must fit a screen.
LEAST_WORDS, MOST_LETTERS = 3, 240
#: The longest name of a person, in letters, so that two fit on a line of a screen.
MOST_NAME = 60

_FINAL, _PART = ".json", ".json.part"
_FILE = re.compile(r"waiver\.(?P<number>[1-9][0-9]*)(?P<ending>\.json|\.json\.part)")
_CURE = "restore it from a copy, or go on in a new batch"
_WAIVER = TypeAdapter(Waiver)


def write_waiver(reports: Path, waiver: Waiver) -> Waiver:
    """Put a waiver on the disk for good, and give it back with its number and hash.

    Parameters
    ----------
    reports : the folder of all batches; it and the batch's folder are made where missing.
    waiver : its number and hash are replaced; runs of spaces in names and reason become one.

    Raises
    ------
    SetupError : two people who are one, a reason that says nothing, an expiry in the past or too far away.
    RecordError : it is not on the disk; no file of it is left.
    """
    first, second = waiver.people
    tidy = replace(waiver, people=(_tidy(first), _tidy(second)), reason=_tidy(waiver.reason))
    if faults := list(waiver_faults(tidy)):
        raise SetupError("\n".join(faults))
    folder = reports / checked_name(waiver.batch, "batch")
    checked_name(waiver.station, "station")
    with on_disk(f"the waiver of batch {waiver.batch} is not written; it excuses nothing"):
        folder.mkdir(parents=True, exist_ok=True)
        return _link(reports, folder, tidy)


def read_waivers(reports: Path, batch: str) -> tuple[Waiver, ...]:
    """Every waiver of a batch by number, verified; none where the batch has no folder yet.

    Raises
    ------
    RecordError : one is damaged, altered, of another batch, or was taken out; names the file and the cure.
    """
    folder = reports / batch
    if not folder.is_dir():
        return ()
    with on_disk(f"{folder} cannot be read"):
        found = sorted(_files(folder))
    numbers = {number for number, _ in found}
    missing = set(range(1, max(numbers, default=0))) - numbers
    if missing:
        raise RecordError(f"{_path(folder, min(missing))} was taken out, waivers after it are there; {_CURE}")
    return tuple(_read(_path(folder, number), number, batch) for number, ending in found if ending == _FINAL)


def as_table(waiver: Waiver) -> dict[str, Any]:
    """A waiver as the JSON object that its file holds, but for its place in the chain."""
    table: dict[str, Any] = _WAIVER.dump_python(waiver, mode="json")
    return table


def waiver_faults(waiver: Waiver) -> Iterator[str]:
    """What makes it no waiver: each fault with its value and cure."""
    first, second = waiver.people
    for name in waiver.people:
        if not _letters(name) or len(name) > MOST_NAME or not name.isprintable():
            yield f"{name!r} is no name of a person; write 1 to {MOST_NAME} letters on one line"
    if _letters(first) == _letters(second):
        yield f"a waiver takes two different people, not {first!r} and {second!r}; have another one answer for it too"
    reason = waiver.reason
    if len(reason.split()) < LEAST_WORDS or len(reason) > MOST_LETTERS or not reason.isprintable():
        yield (
            f"the reason {reason!r} will not do; say what is wrong and what was checked instead, "
            f"in {LEAST_WORDS} words at least and {MOST_LETTERS} letters at most"
        )
    if not waiver.readings:
        yield "a waiver names the readings that it excuses, and this one names none; name one at least"
    yield from _expiry_faults(waiver)


def _expiry_faults(waiver: Waiver) -> Iterator[str]:
    written, expires = waiver.written, waiver.expires
    if written.tzinfo is None or expires.tzinfo is None:
        yield f"the expiry {expires.isoformat()} or the time of writing has no offset; write it such as +01:00"
        return
    latest = (written + timedelta(days=MOST_DAYS - 1)).date()
    if expires <= written:
        yield f"the expiry {expires.isoformat()} is past (now {written.isoformat()}); write one up to {latest}"
    elif expires - written > timedelta(days=MOST_DAYS):
        days = (expires - written) / timedelta(days=1)
        yield f"the expiry {expires.isoformat()} is {days:.1f} days away, over {MOST_DAYS}; write one up to {latest}"


def _link(reports: Path, folder: Path, waiver: Waiver) -> Waiver:
    """Give it a number and its place in the chain; what was done so far is undone where something goes wrong."""
    with locked_chain(reports, waiver.station) as chain, ExitStack() as undo:
        first = 1 + max((number for number, _ in _files(folder)), default=0)
        number, file = claim_number(first, lambda n, ending: _path(folder, n, ending), _FINAL, _PART)
        part, final = _path(folder, number, _PART), _path(folder, number)
        undo.callback(part.unlink, missing_ok=True)
        text, sha256 = _described(replace(waiver, number=number), chain.previous)
        try:
            write_all(file, text.encode())
        finally:
            os.close(file)
        record = f"{folder.name}/{final.name}"
        chain.announce(sha256, record)
        part.rename(final)
        undo.callback(final.rename, part)
        sync_folder(folder)
        chain.finish(sha256, record)
        undo.pop_all()
    return replace(waiver, number=number, sha256=sha256)


def _described(waiver: Waiver, previous: str) -> tuple[str, str]:
    """The text of the file, and the waiver's own hash in the chain: over all of the file but itself."""
    block = as_table(waiver) | {"previous_sha256": previous}
    del block["sha256"]
    sha256 = link_hash(previous, "", canonical(block))
    return json.dumps({**block, "sha256": sha256}, indent=1, ensure_ascii=False) + "\n", sha256


def _read(path: Path, number: int, batch: str) -> Waiver:
    with on_disk(f"{path} cannot be read; {_CURE}"):
        data = path.read_bytes()
    try:
        found = json.loads(data.decode())
        block = {key: value for key, value in found.items() if key != "sha256"}
        intact = found["sha256"] == link_hash(block["previous_sha256"], "", canonical(block))
        waiver = _WAIVER.validate_python(found)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise RecordError(f"{path} is damaged: {where}: {first['msg']}; {_CURE}") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise RecordError(f"{path} is damaged, it is no waiver ({error!r}); {_CURE}") from error
    if not intact or (waiver.number, waiver.batch) != (number, batch):
        raise RecordError(f"{path} is not what was written there, it was altered or moved; {_CURE}")
    if faults := list(waiver_faults(waiver)):
        raise RecordError(f"{path} is no waiver: {faults[0]}")
    return waiver


def _files(folder: Path) -> Iterator[tuple[int, str]]:
    """Number and ending of every waiver; of one begun and never finished, the part alone."""
    for path in folder.iterdir():
        match = _FILE.fullmatch(path.name)
        if match is not None:
            yield int(match["number"]), match["ending"]


def _path(folder: Path, number: int, ending: str = _FINAL) -> Path:
    return folder / f"waiver.{number}{ending}"


def _tidy(text: str) -> str:
    return " ".join(text.split())


def _letters(name: str) -> str:
    """What is compared of a name: no case, no spaces, no marks, and nothing that cannot be seen."""
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    return "".join(letter for letter in folded if unicodedata.category(letter)[0] not in "ZPC")
