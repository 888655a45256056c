"""A TOML file becomes a checked, frozen model, or the list of all its faults, each with its line and cure.

A file whose model has the key `like` may name another one beside it: each table that it does not write itself is taken
from there, whole. Its plain keys are always its own.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from batchtest.errors import Fault, FileFaults, nearest
from batchtest.files.fields import Table
from batchtest.files.positions import Key, Positions, find_positions, show_key
from batchtest.files.words import plain

TableT = TypeVar("TableT", bound=Table)

_AT_LINE = re.compile(r" \(at line (\d+), column \d+\)$")
_AT_END = " (at end of document)"
#: Beginning of what tomllib says -> what we say.
_SYNTAX = {
    f"Invalid value{_AT_END}": "ends where a value should stand; close every quote, [ and {",
    "Invalid date": "has a day or time that is in no calendar",
    "Invalid value": 'has no valid value here; a text or a quantity needs quotes, such as "4.75 V"',
    "Expected '=' after a key": "needs a key, an equals sign and a value, such as load = 1",
    "Invalid statement": "is neither a key with its value nor a [table]; begin a comment with #",
    "Unescaped '\\' in a string": "has a backslash that stands for nothing; write two, or use single quotes",
    "Unterminated string": "has a text without its closing quote",
    "Illegal character": "has a text that does not end on its line, or a control character; close the quote",
    "Expected newline or end of document": "has something after the value; one key on a line, a comment begins with #",
    "Unclosed array": "has a list without its closing ]",
    "Unclosed inline table": "has a table in { } without its closing }",
    "Expected ']'": "needs a closing ] after the name of the table",
    "Cannot overwrite a value": "writes a key a second time; keep one of the two",
    "Cannot declare": "writes a table a second time; put both together",
    "Exceeds the limit": "has a number of too many digits; write it shorter",
    "Duplicate inline table key": "writes a key twice in one { }; keep one of the two",
}


@dataclass(frozen=True, slots=True)
class Written:
    """What a TOML file says: its name from the project's root, its keys, where each stands, SHA-256 of its bytes."""

    file: str
    table: Mapping[str, Any]
    positions: Positions
    sha256: str

    def fault(self, key: Key, message: str) -> Fault:
        """A fault of this file at a key."""
        return Fault(self.file, self.positions.line(key), show_key(key), message)


@dataclass(frozen=True, slots=True)
class Document(Generic[TableT]):
    """A file that was read as a model; `like` has the tables that were taken from another file."""

    model: TableT
    own: Written
    like: Written | None = None

    @property
    def file(self) -> str:
        """Name of the file from the project's root."""
        return self.own.file

    @property
    def hashes(self) -> dict[str, str]:
        """File, from the root, -> SHA-256 of its bytes: of each file that the model was made from."""
        return {written.file: written.sha256 for written in (self.own, self.like) if written is not None}

    def fault(self, key: Key, message: str) -> Fault:
        """A fault at a key, in the file where it stands."""
        return _where(key, self.own, self.like).fault(key, message)


def name_in(root: Path, path: Path) -> str:
    """Name of a file as it stands in messages and records: from the project's root, with slashes."""
    return path.relative_to(root).as_posix() if path.is_relative_to(root) else path.as_posix()


def read_bytes(path: Path, root: Path) -> bytes:
    """Bytes of a file; raises FileFaults where it is not there (with the nearest name) or cannot be read."""
    file = name_in(root, path)
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise FileFaults([Fault(file, 0, "", f"is not there; {nearest(path.stem, names_beside(path))}")]) from error
    except OSError as error:
        raise FileFaults([Fault(file, 0, "", f"cannot be read ({error.strerror}); check its rights")]) from error


def names_beside(path: Path) -> list[str]:
    """Names without ending of the files in the same folder with the same ending, sorted."""
    return sorted(other.stem for other in path.parent.glob(f"*{path.suffix}") if other.is_file())


def read_document(path: Path, root: Path, model: type[TableT]) -> Document[TableT]:
    """Read a TOML file as a model.

    Raises
    ------
    FileFaults : the file is missing, not UTF-8, no TOML, or holds what the model does not take; all faults at once.
    """
    own = _written(read_bytes(path, root), name_in(root, path))
    return _checked(model, own, _likened(own, path, root) if "like" in model.model_fields else None)


def parse_document(data: bytes, file: str, model: type[TableT]) -> Document[TableT]:
    """Read the bytes of a TOML file as a model; `file` is its name in messages. Raises as `read_document`."""
    return _checked(model, _written(data, file))


def _written(data: bytes, file: str) -> Written:
    text = decode(data, file)
    with _not_too_deep(file):
        positions = find_positions(text)
        return Written(file, _parse_toml(text, file, positions), positions, sha256(data).hexdigest())


def _checked(model: type[TableT], own: Written, like: Written | None = None) -> Document[TableT]:
    taken = like.table if like is not None else {}
    try:
        with _not_too_deep(own.file):
            checked = model.model_validate({**taken, **own.table}, by_alias=True, by_name=False)
    except ValidationError as error:
        found = dict.fromkeys(wrong for detail in error.errors() for wrong in plain(detail, model))
        raise FileFaults([_where(key, own, like).fault(key, message) for key, message in found]) from error
    return Document(checked, own, like)


def _likened(own: Written, path: Path, root: Path) -> Written | None:
    """The tables of the file that this one says it is like; `None` where it names none."""
    name = own.table.get("like")
    if not isinstance(name, str):
        return None
    others = [other for other in names_beside(path) if other != path.stem]
    if name not in others:
        raise FileFaults([own.fault(("like",), f"there is no other file {name!r} beside it; {nearest(name, others)}")])
    other = path.with_name(f"{name}{path.suffix}")
    written = _written(read_bytes(other, root), name_in(root, other))
    if "like" in written.table:
        wrong = f"names {name!r}, which is like {written.table['like']!r} itself; name one that writes all its tables"
        raise FileFaults([own.fault(("like",), wrong)])
    return replace(written, table={key: value for key, value in written.table.items() if isinstance(value, Mapping)})


def _where(key: Key, own: Written, like: Written | None) -> Written:
    """The file in which a key stands, or should."""
    if like is None or not key or key[0] in own.table or key[0] not in like.table:
        return own
    return like


@contextmanager
def _not_too_deep(file: str) -> Iterator[None]:
    try:
        yield
    except RecursionError as error:
        raise FileFaults([Fault(file, 0, "", "has lists or tables nested too deeply; write it flatter")]) from error


def decode(data: bytes, file: str) -> str:
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        byte = data[error.start]
        raise FileFaults(
            [Fault(file, line, "", f"has byte {byte:#04x}, which is not UTF-8; save it as UTF-8")]
        ) from error
    if text.startswith("\ufeff"):
        raise FileFaults([Fault(file, 1, "", "begins with a byte order mark; save it as UTF-8 without one")])
    return text


def _parse_toml(text: str, file: str, positions: Positions) -> Mapping[str, Any]:
    try:
        return tomllib.loads(text)
    except ValueError as error:
        raise FileFaults(_syntax_faults(str(error), text, file, positions)) from error


def _syntax_faults(said: str, text: str, file: str, positions: Positions) -> list[Fault]:
    """Faults of a text that tomllib refused; keys that stand twice are all named, anything else only the first."""
    if said.startswith(("Cannot", "Duplicate")) and (repeats := positions.outer_repeats()):
        return [
            Fault(file, twice.again.line, show_key(twice.key), f"stands already in line {twice.first.line}; keep one")
            for twice in repeats
        ]
    at_line = _AT_LINE.search(said)
    last_line = text.rstrip().count("\n") + 1 if said.endswith(_AT_END) else 0
    line = int(at_line[1]) if at_line else last_line
    words = next((ours for theirs, ours in _SYNTAX.items() if said.startswith(theirs)), f"is no TOML ({said})")
    return [Fault(file, line, "", words)]
