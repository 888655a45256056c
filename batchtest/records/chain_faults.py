"""What is wrong with a station's chain: links that are missing, that fork, a head that does not fit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from batchtest.errors import RecordError
from batchtest.records.chain import BEGINNING, Head, head_file, head_text, is_done, read_head, short
from batchtest.records.damage import Damage, Link

#: Beneath this two clocks are as good as one, s.
_SAME_S = 1.0


@dataclass(frozen=True)
class Links:
    """The links of one station, and names for hashes that other files still tell of.

    Parameters
    ----------
    known : hash -> the record that once carried it, from pages.
    """

    station: str
    links: Sequence[Link]
    known: Mapping[str, str]
    after: dict[str, list[Link]] = field(default_factory=dict)
    hashes: set[str] = field(default_factory=set)

    @classmethod
    def of(cls, station: str, links: Iterable[Link], known: Mapping[str, str]) -> Links:
        """Links by the one they follow on; a copy of a record in another place counts once."""
        once: dict[str, Link] = {}
        for link in sorted(links, key=lambda link: len(link.damage)):
            once.setdefault(link.sha256 or link.record, link)
        made = cls(station, tuple(once.values()), known)
        for link in made.links:
            made.after.setdefault(link.previous, []).append(link)
            made.hashes.update({link.sha256, link.due} - {""})
        return made

    @property
    def tails(self) -> list[Link]:
        """The links that none follows on; one, where the chain is whole."""
        return [link for link in self.links if not ({link.sha256, link.due} - {""}) & self.after.keys()]

    def in_order(self) -> Iterator[Link]:
        """The links from the first on, as far as the chain holds."""
        seen: set[str] = set()
        at = BEGINNING
        while at not in seen and len(found := self.after.get(at, [])) == 1:
            seen.add(at)
            yield found[0]
            at = found[0].sha256


def chain_faults(reports: Path, chain: Links) -> Iterator[Damage]:
    """Everything that is wrong with the chain as a whole, each missing record by its name where one is still known."""
    for previous, found in chain.after.items():
        if len(found) > 1:
            names = " and ".join(link.record for link in found)
            what = f"{names} follow on the same record: the chain of {chain.station} forks; one of them was added"
            yield Damage(record=found[0].record, field="previous_sha256", what=what)
        if previous not in chain.hashes and previous != BEGINNING and not all(link.due == "" for link in found):
            yield _missing(chain, previous, f"taken out from before {found[0].record}")
    if BEGINNING not in chain.after and not any(link.previous not in chain.hashes for link in chain.links):
        yield Damage(record=f"the chain of {chain.station}", field="", what="has no first record")
    yield from _head_faults(reports, chain)


def _missing(chain: Links, sha256: str, where: str) -> Damage:
    name = chain.known.get(sha256, f"a record of {chain.station} with the hash {short(sha256)}")
    return Damage(record=name, field="", what=f"was {where}")


def _head_faults(reports: Path, chain: Links) -> Iterator[Damage]:
    """Whether the head names the newest record, and that one is there."""
    path = head_file(reports, chain.station)
    try:
        head = read_head(reports, chain.station)
        if head is None:
            yield Damage(record=path.name, field="", what=f"the head of the chain of {chain.station} was taken out")
            return
        if head_text(head).encode() != path.read_bytes():
            yield Damage(record=path.name, field="", what="is not as it was written")
    except (RecordError, OSError) as error:
        yield Damage(record=path.name, field="", what=str(error))
        return
    yield from _newest_faults(reports, chain, head, path.name)


def _newest_faults(reports: Path, chain: Links, head: Head, name: str) -> Iterator[Damage]:
    announced = not is_done(reports, head)
    newest = head.previous if announced else head.sha256
    found = next((link for link in chain.links if newest in (link.sha256, link.due)), None)
    if found is None and any(link.record == head.record for link in chain.tails):
        yield Damage(record=name, field="sha256", what=f"is not that of its record {head.record}")
    elif found is None:
        if newest != BEGINNING or chain.links:
            record = head.record if not announced else chain.known.get(newest, f"the newest of {chain.station}")
            yield Damage(record=record, field="", what=f"was taken out: {name} names it as the newest")
    elif found not in chain.tails:
        follows = chain.after.get(found.sha256) or chain.after.get(found.due) or [found]
        what = f"follows on {found.record}, which {name} names as the newest: one was added, or the head put back"
        yield Damage(record=follows[0].record, field="previous_sha256", what=what)
    elif not found.damage:
        yield from _head_against(head, found, announced, name)


def _head_against(head: Head, found: Link, announced: bool, name: str) -> Iterator[Damage]:
    """What the head says otherwise than the newest record."""
    if not announced and (head.record, head.previous) != (found.record, found.previous):
        yield Damage(record=name, field="record or previous", what=f"is not that of its record {found.record}")
    if head.sequence not in (0, (found.sequence or 0) + announced):
        yield Damage(record=name, field="sequence", what=f"does not go with that of {found.record}")


def clock_notes(chain: Links) -> Iterator[str]:
    """Where the wall clock went back from one record to the next; their order is that of the chain."""
    before: Link | None = None
    for link in chain.in_order():
        if link.at is None:
            continue
        if before is not None and before.at is not None and (before.at - link.at).total_seconds() > _SAME_S:
            yield (
                f"{link.record} was closed after {before.record} and its clock says {before.at - link.at} earlier: "
                "the clock was set back; the chain tells the order"
            )
        before = link
