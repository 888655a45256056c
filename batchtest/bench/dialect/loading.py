"""Where dialects come from: the shipped ones, and a project's own in `fixtures/dialects/`."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from pathlib import Path

from batchtest.bench.dialect.base import DialectT
from batchtest.errors import SetupError, nearest
from batchtest.files.read import Document, names_beside, read_document

#: The dialects that are shipped, `<name>.toml`.
FOLDER = Path(__file__).parent.parent / "dialects"
#: Where a project keeps its own, from its root; commands work in the project's root.
OWN = Path("fixtures") / "dialects"


def shipped(role: str = "") -> list[str]:
    """Names of the shipped dialects, of one role or all, sorted."""
    return [name for name in names_beside(FOLDER / "any.toml") if name.startswith(role)]


def load_dialect(name: str, kind: type[DialectT], folder: Path = OWN) -> DialectT:
    """Read a dialect: a shipped one, or one of the project's own.

    Parameters
    ----------
    name : file name without ending.
    kind : what role it must have, such as `MeterDialect`.
    folder : where the project's own are.

    Raises
    ------
    SetupError : there is none of that name (the message has the nearest), or the project's has the name of a shipped.
    FileFaults : it holds what a dialect of this role does not take, with line and cure.
    """
    own = names_beside(folder / "any.toml")
    twice = sorted(set(own) & set(shipped()))
    if twice:
        raise SetupError(
            f"{(folder / twice[0]).as_posix()}.toml has the name of a shipped dialect; rename it, so that a record "
            "tells which of the two was spoken"
        )
    if name not in shipped() and name not in own:
        raise SetupError(f"no dialect {name!r}; {nearest(name, [*shipped(), *own])}")
    if name in own:
        return _read(folder / f"{name}.toml", folder.parent.parent, kind)
    dialect: DialectT = _shipped(name, kind)
    return dialect


def dialect_sha256(name: str, folder: Path = OWN) -> str:
    """SHA-256 of a dialect's file, of a shipped one or the project's own: its revision, for a record."""
    path = (FOLDER if name in shipped() else folder) / f"{name}.toml"
    return sha256(path.read_bytes()).hexdigest()


@cache
def _shipped(name: str, kind: type[DialectT]) -> DialectT:
    return _read(FOLDER / f"{name}.toml", FOLDER, kind)


def _read(path: Path, root: Path, kind: type[DialectT]) -> DialectT:
    document: Document[DialectT] = read_document(path, root, kind)
    return document.model
