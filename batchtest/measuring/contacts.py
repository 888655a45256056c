"""Which needles were shown to touch: the memory that lets an over-range count as a bound and not as an open probe."""

from __future__ import annotations

from batchtest.bench import Bench
from batchtest.files.fixture import Reached


class Contacts:
    """Contact channels proven on this board; all forgotten when a link had to be brought back into step."""

    def __init__(self, bench: Bench, fixture: Reached) -> None:
        self._bench, self._fixture = bench, fixture
        self._proven: set[int] = set()
        self._made_at = bench.contact

    def note(self, channel: int, ohms: float | None, uncertainty: float | None) -> None:
        """Keep what a contact check read, ohm: a value surely below the fixture's limit proves both needles."""
        self._renew()
        self._proven.discard(channel)
        if ohms is not None and uncertainty is not None:
            limit = float(self._fixture.contact_limit)
            if -uncertainty <= ohms <= limit - uncertainty:
                self._proven.add(channel)

    def proven(self, point: str) -> bool:
        """Whether both needle pairs of a point were proven since `forget`."""
        self._renew()
        found = self._fixture.points.get(point)
        return found is not None and self._proven.issuperset(found.contact)

    def forget(self) -> None:
        """Nothing is proven any more: another board, or the nest was opened."""
        self._proven.clear()

    def _renew(self) -> None:
        if self._made_at != self._bench.contact:
            self._made_at = self._bench.contact
            self.forget()
