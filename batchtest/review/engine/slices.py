"""The readings cut into slices of whole batches, for what has to hold every value of a slice in memory at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from batchtest.review.engine.text import Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """Numbers of batches at fixtures (`nest`) from the first to the last, and between which batches those lie."""

    first_nest: int
    last_nest: int
    first_batch: str
    last_batch: str

    def values(self) -> dict[str, Value]:
        """What stands in the place of these names in a question."""
        return {name: getattr(self, name) for name in self.__slots__}


def slices(sizes: Iterable[tuple[int, str, int]], most: int) -> Iterator[Slice]:
    """Cut into slices of at most so many readings, or of one batch at one fixture that alone has more.

    Parameters
    ----------
    sizes : number of a batch at a fixture, the batch, and how many readings it has; in the order of the number.

    >>> [(cut.first_nest, cut.last_nest) for cut in slices([(1, "a", 5), (2, "a", 4), (3, "b", 2), (4, "c", 20)], 10)]
    [(1, 2), (3, 3), (4, 4)]
    """
    held: list[tuple[int, str]] = []
    count = 0
    for nest, batch, readings in sizes:
        if held and count + readings > most:
            yield _slice(held)
            held, count = [], 0
        held.append((nest, batch))
        count += readings
    if held:
        yield _slice(held)


def _slice(held: list[tuple[int, str]]) -> Slice:
    batches = [batch for _, batch in held]
    return Slice(first_nest=held[0][0], last_nest=held[-1][0], first_batch=min(batches), last_batch=max(batches))
