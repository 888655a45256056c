"""The handler: it puts the named board into the nest; it may change the cable, switch a host, move a fuse."""

from __future__ import annotations

from collections.abc import Callable

from batchtest.bench.dialect import HandlerDialect
from batchtest.bench.link import Link
from batchtest.bench.replies import parse_state, parse_string
from batchtest.bench.templates import fill
from batchtest.errors import InstrumentRefused, SetupError


class Handler:
    """A board handler."""

    def __init__(self, link: Link, dialect: HandlerDialect) -> None:
        self.link, self.dialect = link, dialect
        self._unconfirmed = ""

    def _move(self, command: str, found: Callable[[], str | None], wanted: str) -> str | None:
        """Have something moved, and read back what is there then.

        Where the same command was cut short before, nobody knows whether it arrived: what is there is looked at first,
        and a move that was made is not made twice.
        """
        if self._unconfirmed == command and (there := found()) == wanted:
            self._unconfirmed = ""
            return there
        self._unconfirmed = command
        self.link.set(command, expected_s=float(self.dialect.takes))
        there = found()
        self._unconfirmed = ""
        return there

    def place(self, serial: str) -> None:
        """Put a board into the nest, and read back that it lies there.

        Raises
        ------
        InstrumentRefused : it has no such board, or another one lies in the nest.
        """
        board = self._move(fill(self.dialect.place, serial=serial), self.board, serial)
        if board != serial:
            raise InstrumentRefused(f"{self.link.name}: {board or 'nothing'} lies in the nest in place of {serial}")

    def eject(self) -> None:
        """Take the board out of the nest."""
        self.link.set(self.dialect.eject, expected_s=float(self.dialect.takes))

    def board(self) -> str | None:
        """Serial of the board in the nest, `None` where it is empty."""
        return self.link.ask(self.dialect.board, parse_string) or None

    @property
    def can_fit_cables(self) -> bool:
        """Whether it can change the cable; otherwise a person does."""
        return self.dialect.fit is not None

    def fit_cable(self, name: str) -> None:
        """Fit a cable, by its name in the library, and read back that it is fitted: as far as the handler knows.

        Raises
        ------
        InstrumentRefused : it has no such cable, or another one is fitted.
        SetupError : it cannot change cables.
        """
        fit = self._of_cables(self.dialect.fit)
        cable = self._move(fill(fit, cable=name), self.cable, name)
        if cable != name:
            raise InstrumentRefused(f"{self.link.name}: {cable or 'no cable'} is fitted in place of {name}")

    def cable(self) -> str | None:
        """Name of the cable that the handler believes is fitted, `None` for none; only measuring proves it.

        Raises
        ------
        SetupError : it cannot change cables.
        """
        return self.link.ask(self._of_cables(self.dialect.cable), parse_string) or None

    def _of_cables(self, message: str | None) -> str:
        if message is None:
            raise SetupError(
                f"{self.link.name}: its dialect has no fit, so it cannot change cables; fit the cable by hand"
            )
        return message

    @property
    def can_switch_hosts(self) -> bool:
        """Whether it can switch the mains of a host; otherwise a person does."""
        return self.dialect.host_on is not None

    def switch_host(self, *, on: bool) -> None:
        """Switch the mains of the host on or off, and read back that they are.

        Raises
        ------
        InstrumentRefused : they read back otherwise.
        SetupError : it cannot switch hosts.
        """
        message = self.dialect.host_on if on else self.dialect.host_off
        if message is None:
            raise SetupError(f"{self.link.name}: its dialect has no host_on, so it cannot switch a host; do it by hand")
        self.link.set(message, expected_s=float(self.dialect.takes))
        if self.host_is_on() is not on:
            raise InstrumentRefused(f"{self.link.name}: the host reads back as {'off' if on else 'on'}")

    def host_is_on(self) -> bool:
        """Whether the mains of the host are on."""
        if self.dialect.host is None:
            raise SetupError(f"{self.link.name}: its dialect has no host, so it cannot tell; look at the host's lamp")
        words = self.dialect.closed_words, self.dialect.open_words
        return self.link.ask(self.dialect.host, lambda reply: parse_state(reply, *words))

    @property
    def can_move_fuses(self) -> bool:
        """Whether it can take the fuse behind a host's outlet into the holder; otherwise a person does."""
        return self.dialect.fuse_out is not None

    def move_fuse(self, *, out: bool) -> None:
        """Take the fuse out of the host, which is off, into the holder on the bench, or put it back; read back.

        Raises
        ------
        InstrumentRefused : the host is on, or it reads back otherwise.
        SetupError : it cannot move fuses.
        """
        message, query = (self.dialect.fuse_out if out else self.dialect.fuse_back), self.dialect.fuse
        if message is None or query is None:
            raise SetupError(f"{self.link.name}: its dialect has no fuse_out, so it cannot move a fuse; do it by hand")
        self.link.set(message, expected_s=float(self.dialect.takes))
        words = self.dialect.closed_words, self.dialect.open_words
        if self.link.ask(query, lambda reply: parse_state(reply, *words)) is not out:
            where = "its host" if out else "the holder"
            raise InstrumentRefused(f"{self.link.name}: the fuse reads back as still in {where}")

    def lid_closed(self) -> bool:
        """Whether the lid is closed."""
        words = self.dialect.closed_words, self.dialect.open_words
        return self.link.ask(self.dialect.lid, lambda reply: parse_state(reply, *words))
