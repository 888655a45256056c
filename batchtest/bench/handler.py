"""The handler: a machine that puts the named board into the nest, closes the lid, and tells what lies there."""

from __future__ import annotations

from batchtest.bench.dialect import HandlerDialect
from batchtest.bench.link import Link
from batchtest.bench.replies import parse_state, parse_string
from batchtest.bench.templates import fill
from batchtest.errors import InstrumentRefused


class Handler:
    """A board handler."""

    def __init__(self, link: Link, dialect: HandlerDialect) -> None:
        self.link, self.dialect = link, dialect

    def place(self, serial: str) -> None:
        """Put a board into the nest, and read back that it lies there.

        Raises
        ------
        InstrumentRefused : it has no such board, or another one lies in the nest.
        """
        self.link.set(fill(self.dialect.place, serial=serial), expected_s=float(self.dialect.takes))
        board = self.board()
        if board != serial:
            raise InstrumentRefused(f"{self.link.name}: {board or 'nothing'} lies in the nest in place of {serial}")

    def eject(self) -> None:
        """Take the board out of the nest."""
        self.link.set(self.dialect.eject, expected_s=float(self.dialect.takes))

    def board(self) -> str | None:
        """Serial of the board in the nest, `None` where it is empty."""
        return self.link.ask(self.dialect.board, parse_string) or None

    def lid_closed(self) -> bool:
        """Whether the lid is closed."""
        words = self.dialect.closed_words, self.dialect.open_words
        return self.link.ask(self.dialect.lid, lambda reply: parse_state(reply, *words))
