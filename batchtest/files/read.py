"""A TOML file becomes a checked, frozen model, or the list of all its faults, each with its line and cure."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
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
class Document(Generic[TableT]):
    """A file that was read: name from the project's root, model, where everything stands, SHA-256 of its bytes."""

    file: str
    model: TableT
    positions: Positions
    sha256: str

    def fault(self, key: Key, message: str) -> Fault:
        """A fault of this file at a key."""
        return Fault(self.file, self.positions.line(key), show_key(key), message)


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
    return parse_document(read_bytes(path, root), name_in(root, path), model)


def parse_document(data: bytes, file: str, model: type[TableT]) -> Document[TableT]:
    """Read the bytes of a TOML file as a model; `file` is its name in messages. Raises as `read_document`."""
    text = _decode(data, file)
    try:
        positions = find_positions(text)
        table = _parse_toml(text, file, positions)
        checked = model.model_validate(table, by_alias=True, by_name=False)
    except ValidationError as error:
        found = dict.fromkeys(wrong for detail in error.errors() for wrong in plain(detail, model))
        raise FileFaults(
            [Fault(file, positions.line(key), show_key(key), message) for key, message in found]
        ) from error
    except RecursionError as error:
        raise FileFaults([Fault(file, 0, "", "has lists or tables nested too deeply; write it flatter")]) from error
    return Document(file, checked, positions, sha256(data).hexdigest())


def _decode(data: bytes, file: str) -> str:
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
