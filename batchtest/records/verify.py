"""Whether the records of a reports folder are whole: each against its hash, its place and the chain of its station."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from batchtest.errors import RecordError, SetupError
from batchtest.records.batch import SUMMARY, summary_faults
from batchtest.records.chain import short
from batchtest.records.chain_faults import Links, chain_faults, clock_notes
from batchtest.records.damage import Damage, Link
from batchtest.records.disk import on_disk
from batchtest.records.kinds import kind_of
from batchtest.records.names import CSV, METADATA
from batchtest.records.seal import Seal, read_seal
from batchtest.records.strays import stray_damage, unfinished_note

#: What no chain of hashes shows, whoever computes it; printed with every result.
NOT_PROVEN = (
    "that the readings are true: only that they are those that were recorded",
    "that nobody rewrote everything from some record on: who can write the folder can compute all hashes anew. "
    "Compare the head with a printed page: --head",
    "that the newest records are all there, for the same reason: the head in the folder can be put back with them",
    "anything of files that are no records or pages of records",
)
#: The page of a batch.
BATCH_PAGE = "batch.html"
#: The least that is taken for the beginning of a hash.
_LEAST = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Chained:
    """A station's chain as it was found: how many records, and the hash of the newest."""

    station: str
    records: int
    head: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What was found; `damage` is empty where all is whole, `notes` are worth knowing and no damage."""

    folder: str
    records: int
    pages: int
    chains: tuple[Chained, ...]
    damage: tuple[Damage, ...]
    notes: tuple[str, ...]


@dataclass(slots=True)
class _Folder:
    """What a reports folder holds, read."""

    links: list[Link] = field(default_factory=list)
    pages: dict[str, Seal] = field(default_factory=dict)
    damage: list[Damage] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


#: Told how many files are done, and how many there are.
Progress = Callable[[int, int], None]


def verify(reports: Path, printed: Sequence[str] = (), progress: Progress = lambda done, total: None) -> Verified:
    """Read every record, page and summary of a reports folder, and each station's chain.

    Parameters
    ----------
    printed : heads from printed pages, whole or at least their first 8 hex digits; blanks do not matter.

    Raises
    ------
    SetupError : it is no reports folder, or a printed head is no hash.
    RecordError : the folder cannot be read.
    """
    wanted = [_hash(text) for text in printed]
    with on_disk(f"{reports} cannot be read"):
        files = _files(reports)
    if not files and not wanted:
        raise SetupError(f"{reports} holds no records; name the reports folder, which holds a folder for each batch")
    found = _Folder()
    for done, path in enumerate(files, start=1):
        _read(path, found)
        progress(done, len(files))
    chains = list(_chains(found))
    damage = [*found.damage, *(fault for link in found.links for fault in link.damage)]
    damage += [fault for chain in chains for fault in chain_faults(reports, chain)]
    damage += [*_page_faults(found), *_head_faults(wanted, found.links)]
    damage += _summary_faults(files, found.links, {fault.record for fault in damage})
    return Verified(
        folder=str(reports),
        records=len(found.links),
        pages=len(found.pages),
        chains=tuple(_chained(chain) for chain in chains),
        damage=tuple(dict.fromkeys(damage)),
        notes=(*found.notes, *(note for chain in chains for note in clock_notes(chain))),
    )


def _files(reports: Path) -> list[Path]:
    """Every file of every batch, hidden ones left out."""
    if any(reports.glob(f"*{METADATA}")):
        raise SetupError(f"{reports} is one batch, chains run across all of them; verify {reports.parent}")
    folders = sorted(path for path in reports.iterdir() if path.is_dir() and not path.name.startswith("."))
    return [path for folder in folders for path in sorted(folder.iterdir()) if not path.name.startswith(".")]


def _read(path: Path, found: _Folder) -> None:
    """Read one file for what it is."""
    record = f"{path.parent.name}/{path.name}"
    kind = kind_of(path)
    try:
        if kind is not None:
            found.links.append(kind.read(path))
        elif path.suffix == ".html":
            with on_disk(f"{path} cannot be read"):
                found.pages[record] = read_seal(path.read_bytes())
        elif note := unfinished_note(path):
            found.notes.append(note)
        else:
            found.damage += stray_damage(path)
    except RecordError as error:
        found.damage.append(Damage(record=record, field="", what=str(error)))


def _chains(found: _Folder) -> Iterator[Links]:
    """The chain of each station; names of missing records come from the pages that are left of them."""
    known = {seal.record: f"{page.removesuffix('.html')}{CSV}" for page, seal in found.pages.items() if seal.record}
    by_station: dict[str, list[Link]] = {}
    for link in found.links:
        by_station.setdefault(link.station, []).append(link)
    for station, links in sorted(by_station.items()):
        if station:
            yield Links.of(station, links, known)


def _chained(chain: Links) -> Chained:
    tails = chain.tails
    return Chained(station=chain.station, records=len(chain.links), head=tails[0].sha256 if len(tails) == 1 else "")


def _page_faults(found: _Folder) -> Iterator[Damage]:
    """Pages that were changed, or that show another record than the one they stand beside."""
    records = {link.record: link for link in found.links}
    marked = {f"{link.record.partition('/')[0]}/{BATCH_PAGE}" for link in found.links if link.marked}
    for page, seal in found.pages.items():
        link = records.get(f"{page.removesuffix('.html')}{CSV}")
        if seal.whole is False:
            yield Damage(record=page, field="", what="is not as it was written: its seal is another")
        elif seal.whole is None and (page in marked or (link is not None and link.marked)):
            yield Damage(record=page, field="", what="is not as it was written: its seal is gone")
        elif seal.whole is None:
            found.notes.append(f"{page} carries no seal: it is of another kind or an earlier version")
        elif link is None and seal.record:
            yield Damage(record=page, field="", what="is the page of a record that is not there")
        elif link is not None and not link.damage and seal.record != link.sha256:
            yield Damage(record=page, field="", what=f"is not the page of {link.record}")


def _head_faults(wanted: Iterable[str], links: Sequence[Link]) -> Iterator[Damage]:
    for sha256 in wanted:
        if not any(link.sha256.startswith(sha256) and link.sha256 == link.due for link in links):
            what = "no record has this hash: records at the end were taken out, or the chain was rewritten"
            yield Damage(record=f"printed head {short(sha256)}", field="", what=what)


def _summary_faults(files: Iterable[Path], links: Iterable[Link], blamed: set[str]) -> Iterator[Damage]:
    """What the summaries of the batches say otherwise than the records that are there."""
    outcomes = {link.record: "" if link.damage else link.outcome for link in links}
    for path in files:
        if path.name == SUMMARY:
            yield from (fault for fault in summary_faults(path, outcomes) if fault.record not in blamed)


def _hash(text: str) -> str:
    digits = re.sub(r"[\s-]", "", text).lower()
    if not re.fullmatch(rf"[0-9a-f]{{{_LEAST},64}}", digits):
        raise SetupError(f"--head {text!r} is no hash; write {_LEAST} to 64 of its hex digits, as they are printed")
    return digits


def as_json(found: Verified) -> str:
    """The result as one JSON object."""
    from dataclasses import asdict

    told = {**asdict(found), "whole": not found.damage, "not_proven": NOT_PROVEN}
    return json.dumps(told, ensure_ascii=False)
