"""Records of their own beside those of attempts: JSON, `reports/<batch>/<kind>.<n>.json`, in the station's chain.

Each is written once, numbered from 1 in its batch, and never again. One that is altered, moved, copied into another
batch or taken out from between others is found when they are read; the last one taken out leaves a gap in the chain.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar, Generic, Protocol, TypeVar

from pydantic import TypeAdapter, ValidationError

from batchtest.errors import RecordError
from batchtest.records.chain import Chain, canonical, link_hash, locked_chain
from batchtest.records.claim import claim_number
from batchtest.records.disk import make_folder, on_disk, sync_folder, write_all
from batchtest.records.metadata import laid_out
from batchtest.records.names import checked_name

_FINAL, _PART = ".json", ".json.part"
_CURE = "restore it from a copy, or go on in a new batch"


class Linked(Protocol):
    """A frozen dataclass that can be kept so; `number` and `sha256` are given to it when it is written."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def number(self) -> int:
        """Counted from 1 in its batch; 0 until it is written."""
        ...

    @property
    def batch(self) -> str:
        """The batch in whose folder it is."""
        ...

    @property
    def station(self) -> str:
        """The station in whose chain it is."""
        ...

    @property
    def sha256(self) -> str:
        """Its own hash in that chain; empty until it is written."""
        ...


LinkedT = TypeVar("LinkedT", bound=Linked)


@dataclass(frozen=True, slots=True)
class Shelf(Generic[LinkedT]):
    """Where one kind of such records is kept.

    Parameters
    ----------
    kind : what one is called.
    adapter : how its values are read and written.
    stem : name of its files up to the number.
    """

    kind: str
    adapter: TypeAdapter[LinkedT]
    stem: str

    def write(
        self,
        reports: Path,
        value: LinkedT,
        lost: str,
        complete: Callable[[LinkedT, Chain, ExitStack], LinkedT] = lambda value, chain, undo: value,
    ) -> LinkedT:
        """Put one on the disk for good, and give it back with its number and hash.

        Parameters
        ----------
        lost : what an error begins with: what is not written.
        complete : fills in what only its number and its place in the chain can tell; what it writes, it also undoes.

        Raises
        ------
        SetupError : batch or station cannot be part of a file name.
        RecordError : it is not on the disk; no file of it is left.
        """
        folder = reports / checked_name(value.batch, "batch")
        checked_name(value.station, "station")
        with on_disk(lost):
            make_folder(folder)
            with locked_chain(reports, value.station) as chain, ExitStack() as undo:
                return self._link(folder, value, chain, undo, complete)

    def read(self, reports: Path, batch: str) -> tuple[LinkedT, ...]:
        """Every one of a batch by number, verified; none where the batch has no folder yet.

        Raises
        ------
        RecordError : one is damaged, altered, of another batch, or was taken out; names the file and the cure.
        """
        folder = reports / batch
        if not folder.is_dir():
            return ()
        with on_disk(f"{folder} cannot be read"):
            found = sorted(self._files(folder))
        numbers = {number for number, _ in found}
        if missing := set(range(1, max(numbers, default=0))) - numbers:
            gone = self.path(folder, min(missing))
            raise RecordError(f"{gone} was taken out, one of a later number is there; {_CURE}")
        return tuple(self._read(self.path(folder, n), n, batch) for n, ending in found if ending == _FINAL)

    def path(self, folder: Path, number: int, ending: str = _FINAL) -> Path:
        """The file of one, in the folder of its batch."""
        return folder / f"{self.stem}{number}{ending}"

    def as_table(self, value: LinkedT) -> dict[str, Any]:
        """The JSON object that its file holds, but for its place in the chain."""
        table: dict[str, Any] = self.adapter.dump_python(value, mode="json")
        return table

    def _link(
        self,
        folder: Path,
        value: LinkedT,
        chain: Chain,
        undo: ExitStack,
        complete: Callable[[LinkedT, Chain, ExitStack], LinkedT],
    ) -> LinkedT:
        """Give it a number and its place in the chain; what was done so far is undone where something goes wrong."""
        first = 1 + max((number for number, _ in self._files(folder)), default=0)
        number, file = claim_number(first, lambda n, ending: self.path(folder, n, ending), _FINAL, _PART)
        part, final = self.path(folder, number, _PART), self.path(folder, number)
        undo.callback(part.unlink, missing_ok=True)
        try:
            whole = complete(replace(value, number=number), chain, undo)
            text, sha256 = self._described(whole, chain)
            write_all(file, text.encode())
        finally:
            os.close(file)
        record = f"{folder.name}/{final.name}"
        chain.announce(sha256, record)
        part.rename(final)
        undo.callback(final.rename, part)
        sync_folder(folder)
        undo.pop_all()
        chain.finish(sha256, record)
        return replace(whole, sha256=sha256)

    def _described(self, value: LinkedT, chain: Chain) -> tuple[str, str]:
        """The text of the file, and its own hash in the chain: over all of the file but itself."""
        block = self.as_table(value) | {"previous_sha256": chain.previous, "sequence": chain.sequence}
        del block["sha256"]
        sha256 = due_hash(block)
        return laid_out({**block, "sha256": sha256}), sha256

    def _read(self, path: Path, number: int, batch: str) -> LinkedT:
        with on_disk(f"{path} cannot be read; {_CURE}"):
            data = path.read_bytes()
        try:
            found = json.loads(data.decode())
            intact = found["sha256"] == due_hash(found)
            value = self.adapter.validate_python(found)
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"])
            raise RecordError(f"{path} is damaged: {where}: {first['msg']}; {_CURE}") from error
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise RecordError(f"{path} is damaged, it is no {self.kind} ({error!r}); {_CURE}") from error
        if not intact or (value.number, value.batch) != (number, batch):
            raise RecordError(f"{path} is not what was written there, it was altered or moved; {_CURE}")
        return value

    def _files(self, folder: Path) -> Iterator[tuple[int, str]]:
        """Number and ending of every one; of one begun and never finished, the part alone."""
        name = re.compile(rf"{re.escape(self.stem)}(?P<number>[1-9][0-9]*)(?P<ending>\.json|\.json\.part)")
        for path in folder.iterdir():
            match = name.fullmatch(path.name)
            if match is not None:
                yield int(match["number"]), match["ending"]


def due_hash(found: Mapping[str, Any]) -> str:
    """The hash that the JSON object of such a record should carry as `sha256`, over all its other keys.

    Raises
    ------
    KeyError, ValueError : it has no place in a chain, or a number that is not finite.
    """
    block = {key: value for key, value in found.items() if key != "sha256"}
    return link_hash(block["previous_sha256"], "", canonical(block))
