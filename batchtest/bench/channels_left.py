"""How the channels of a load were left, and whether they still are: asked with every reading, keys get pressed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain, islice
from typing import Any

from batchtest.bench.dialect import Condition, LoadDialect
from batchtest.bench.left import refuse_moved, refuse_switched, refuse_tripped
from batchtest.bench.link import NOT_ASKED, Asked, Link
from batchtest.bench.registers import Status, status_of, status_questions
from batchtest.bench.settings import finite_number, held_by, state_of
from batchtest.bench.templates import fill
from batchtest.errors import InstrumentRefused
from batchtest.files.bench import Load as LoadFile

#: A channel that draws less than this share of what it is set to does not hold its current.
REGULATES = 0.98
#: What a bad board does to a load in order: a rail that is too low stops it.
_BY_BOARD: tuple[Condition, ...] = ("under-voltage",)


class ChannelsLeft:
    """What was last done to the channels of a load.

    Attributes
    ----------
    amperes : what each is set to, A; a channel that is missing was not set since the load was reached.
    on : channels that were switched on.
    """

    def __init__(self, link: Link, dialect: LoadDialect, file: LoadFile) -> None:
        self.amperes: dict[int, float] = {}
        self.on: set[int] = set()
        self._link, self._dialect, self._file = link, dialect, file

    def forget(self) -> None:
        """Nothing is known any more: the load may have restarted; all channels count as off."""
        self.amperes.clear()
        self.on.clear()

    def confirm(self, channels: Sequence[int], drawing: int | None) -> Status:
        """Read back that channels are as they were left: switched so, set so, in their mode, not tripped; their status.

        Of a channel that was left off no setting is asked.

        Parameters
        ----------
        channels : those that can be asked together, of which one was selected where that is needed.
        drawing : channel whose current is compared with what it is set to.

        Returns
        -------
        With "unregulated" among its conditions where a channel says so, draws less than it is set to, or has stopped
        because the rail at it was too low.

        Raises
        ------
        InstrumentRefused : somebody touched it, it restarted, or a protection has acted.
        """
        questions = [self._questions(channel, channel == drawing) for channel in channels]
        *answers, error = self._link.ask_all([*chain.from_iterable(questions), (self._dialect.errors.query, str)])
        left = iter(answers)
        found = [
            self._as_left(channel, list(islice(left, len(asked))))
            for channel, asked in zip(channels, questions, strict=True)
        ]
        self._link.refuse_error(error)
        conditions = frozenset[Condition]().union(*(status.conditions for status in found))
        return Status(" ".join(dict.fromkeys(status.raw for status in found)), conditions)

    def _questions(self, channel: int, drawing: bool) -> list[Asked]:
        """State, current set, mode, current drawn, and the registers, in this order."""
        dialect, name, replies = self._dialect, str(channel), self._dialect.replies
        on = channel in self.on
        return [
            state_of(dialect.enable, channel=name),
            held_by(dialect.level, replies, channel=name) if on else NOT_ASKED,
            (fill(dialect.mode.query, channel=name), str.strip) if on else NOT_ASKED,
            (fill(dialect.amperes.query, channel=name), finite_number(replies, dialect.amperes))
            if on and drawing
            else NOT_ASKED,
            *status_questions(dialect.status, replies, channel=name),
        ]

    def _as_left(self, channel: int, answers: list[Any]) -> Status:
        dialect, name, left_on = self._dialect, f"{self._link.name} channel {channel}", channel in self.on
        on, amperes, mode, drawn, *words = answers
        status = status_of(self._link.name, dialect.status, words)
        refuse_tripped(name, status, but=_BY_BOARD)
        stopped = left_on and "under-voltage" in status.conditions
        refuse_switched(name, on=on, wanted=left_on and not (stopped and not on))
        refuse_moved(name, dialect.level, amperes, self.amperes.get(channel))
        if mode is not None and mode not in dialect.mode.words:
            raise InstrumentRefused(f"{name}: is in mode {mode!r} and was left in {dialect.mode.words[0]!r}")
        short = stopped or (drawn is not None and self._draws_less(channel, drawn))
        return Status(status.raw, status.conditions | {"unregulated"}) if short else status

    def _draws_less(self, channel: int, drawn_A: float) -> bool:
        """Whether a channel draws less than it is set to, as far as its read-back can tell."""
        wanted_A, rows = self.amperes.get(channel, 0.0), self._file.accuracy.current
        row = next((row for row in rows if row.range >= wanted_A), rows[-1])
        doubt_A = float(row.of_range) * float(row.range) + self._dialect.level.tolerance
        return drawn_A < REGULATES * wanted_A - 2 * doubt_A
