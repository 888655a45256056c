"""`batchtest bench --learn`: ask an instrument what it understands, and start its dialect file."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    import pyvisa

    from batchtest.bench.learning import Learned
    from batchtest.bench.port import Wiring


def learn_dialect(
    role: str, address: str | None, name: str | None, ending: str, baud: int | None, as_json: bool
) -> None:
    """Ask, say what was understood, and print the file's beginning, or write it under a name.

    Raises
    ------
    SetupError : there is no address, or it is none; or the name is taken, or none.
    BenchError : nobody answers there.
    """
    from batchtest.bench.learning import draft, learn

    wiring = _wiring(address, ending, baud)
    path = None if name is None else _path(name, Path.cwd())
    with _manager() as manager:
        learned = learn(manager, role, wiring)
    understood = bool(learned.candidates and learned.candidates[0].understood)
    text = draft(learned) if understood else None
    if path is not None and text is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    if as_json:
        click.echo(json.dumps({**asdict(learned), "draft": text, "file": None if path is None else str(path)}))
    else:
        _print(learned, text, path)


def _wiring(address: str | None, ending: str, baud: int | None) -> Wiring:
    from batchtest.bench.port import ENDINGS, Wiring
    from batchtest.files.address import address_fault

    if address is None:
        raise SetupError("which instrument? say --address, such as 'TCPIP0::192.168.0.5::5025::SOCKET'")
    fault = address_fault(address)
    if fault is not None:
        raise SetupError(f"--address {fault}")
    return Wiring(address=address, read_ending=ENDINGS[ending], write_ending=ENDINGS[ending], baud=baud, open_s=3.0)


def _path(name: str, root: Path) -> Path:
    """Where a dialect of that name is written; a name that is taken is refused."""
    from batchtest.bench.dialect import OWN, shipped
    from batchtest.files.fields import NAME_PATTERN

    if re.fullmatch(NAME_PATTERN, name) is None:
        raise SetupError(f"--name {name!r} is no name; use letters, digits, '-', such as load-hall2")
    path = root / OWN / f"{name}.toml"
    if name in shipped():
        raise SetupError(f"--name {name!r} is a shipped dialect; take another")
    if path.exists():
        raise SetupError(f"{(OWN / path.name).as_posix()} is there already; take another name, or remove it first")
    return path


@contextmanager
def _manager() -> Iterator[pyvisa.ResourceManager]:
    import pyvisa

    from batchtest.bench.sessions import install

    install()
    manager = pyvisa.ResourceManager("learn@py")
    try:
        yield manager
    finally:
        manager.close()


def _print(learned: Learned, text: str | None, path: Path | None) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from batchtest.commands.screen import clean

    console = Console(highlight=False)
    console.print(Text(f"{clean(learned.identity)}\nmessages end with {learned.ending}\n"))
    table = Table("dialect", "understood", "first that was not", box=None, pad_edge=False)
    for one in learned.candidates:
        wrong = next((told for told in one.told if not told.understood), None)
        said = "" if wrong is None else f"{wrong.query}: {'no answer' if wrong.reply is None else clean(wrong.reply)}"
        table.add_row(one.name, f"{one.understood} of {one.questions}", Text(said))
    console.print(table)
    if text is None:
        console.print("\nNo shipped dialect is understood. Copy the one that is nearest by the instrument's manual.")
    elif path is None:
        console.print(Text(f"\n{clean_lines(text)}"))
    else:
        console.print(Text(f"\nstarted {path.as_posix()}: check each line by the instrument's manual"))


def clean_lines(text: str) -> str:
    """A text with its lines, and nothing else that a terminal would obey."""
    from batchtest.commands.screen import clean

    return "\n".join(clean(line) for line in text.splitlines())
