"""An instrument's own measurements, read so that an old reply handed out again is not taken for a new one."""

from __future__ import annotations

from batchtest.bench.dialect import Answer, Replies
from batchtest.bench.link import Link
from batchtest.bench.settings import read_value


class Fresh:
    """Reads values; a reply that repeats the last one digit for digit is asked for again.

    A coarse display repeats itself honestly, so that the second reply counts, whatever it is.
    """

    def __init__(self, link: Link, replies: Replies) -> None:
        self._link, self._replies = link, replies
        self._last: dict[Answer, str] = {}

    def read(self, answer: Answer) -> tuple[float, str]:
        """One finite number, and the raw reply."""
        value, raw = self._ask(answer)
        if raw == self._last.get(answer):
            value, raw = self._ask(answer)
        self._last[answer] = raw
        return value, raw

    def _ask(self, answer: Answer) -> tuple[float, str]:
        texts: list[str] = []
        value = read_value(self._link, answer, self._replies, keep=texts.append)
        return value, texts[-1]
