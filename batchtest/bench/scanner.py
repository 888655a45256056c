"""The relay scanner between meter and fixture: exactly the channels asked for are closed, and that is read back."""

from __future__ import annotations

from batchtest.bench.dialect import ScannerDialect
from batchtest.bench.link import Link
from batchtest.clock import Clock
from batchtest.errors import InstrumentRefused


class Scanner:
    """A relay scanner. What is closed is remembered; after an error nothing is, and all are opened first."""

    def __init__(self, link: Link, dialect: ScannerDialect, clock: Clock, settle_s: float) -> None:
        self.link, self.dialect = link, dialect
        self._clock, self._settle_s = clock, settle_s
        self._closed: frozenset[int] | None = None

    def close(self, *channels: int) -> None:
        """Close exactly these channels, all others open first; waits until the relays have settled.

        Raises
        ------
        InstrumentRefused : other channels than these read back as closed.
        """
        wanted = frozenset(channels)
        if self.is_closed(*channels):
            return
        commands = [self.dialect.open_all] if self._closed != frozenset() else []
        self._closed = None
        if wanted:
            commands += self.dialect.close_messages(channels)
        self.link.set(*commands)
        closed = self.link.ask(self.dialect.query_message, self.dialect.closed)
        if closed != wanted:
            raise InstrumentRefused(
                f"{self.link.name}: {_shown(closed)} closed in place of {_shown(wanted)}; a stuck relay?"
            )
        self._closed = wanted
        self._clock.sleep(self._settle_s)

    def confirm(self) -> None:
        """Read back that the channels that were closed are closed still, and no others.

        Raises
        ------
        InstrumentRefused : others are; the relays fell off, or somebody pressed a key.
        """
        if self._closed is None:
            return
        closed, error = self.link.ask_all(
            [(self.dialect.query_message, self.dialect.closed), (self.dialect.errors.query, str)]
        )
        wanted, self._closed = self._closed, None
        if closed != wanted:
            raise InstrumentRefused(
                f"{self.link.name}: {_shown(closed)} closed, and {_shown(wanted)} was; was it touched, or has it "
                "restarted?"
            )
        self.link.refuse_error(error)
        self._closed = wanted

    def open_all(self) -> None:
        """Open all channels, whatever is remembered, and read back that they are."""
        self._closed = None
        self.close()

    def forget(self) -> None:
        """Nothing is known of the relays any more; all are opened before the next is closed."""
        self._closed = None

    def is_closed(self, *channels: int) -> bool:
        """Whether exactly these channels are closed, as far as is remembered."""
        return self._closed == frozenset(channels)


def _shown(channels: frozenset[int]) -> str:
    return f"(@{','.join(str(channel) for channel in sorted(channels))})"
