"""Bringing a connection back into step: what comes late must never be taken for the answer to the next question."""

from __future__ import annotations

import re
import secrets
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from batchtest.bench.dialect import Dialect
from batchtest.errors import BenchError, InstrumentLost, InstrumentReplyError, InstrumentTimeout

if TYPE_CHECKING:
    from batchtest.bench.port import Port

#: A line that was opened anew is given so many times the longest reply to fall silent.
_SILENCES = 5
#: Between two tries to open a connection that is refused, s.
_BETWEEN_TRIES_S = 0.05


def read_reply(port: Port, dialect: Dialect, message: str, within_s: float) -> str:
    """The reply to a message; empty lines before it are skipped where the dialect says that there are some."""
    deadline = time.monotonic() + within_s
    reply = port.read(message, within_s)
    while dialect.replies.blank_lines and not reply.strip():
        reply = port.read(message, max(0.0, deadline - time.monotonic()))
    return reply


class Recovery:
    """What can be done about a connection on which something was cut short.

    Parameters
    ----------
    port, dialect : the connection, and how the instrument is spoken to.
    reply_s : longest wait for a reply beyond what the measurement itself takes, real seconds.

    The methods' `outstanding_s` is how long the message that was cut short should have taken, s.
    """

    def __init__(self, port: Port, dialect: Dialect, reply_s: float) -> None:
        self._port, self._dialect, self._reply_s = port, dialect, reply_s

    def longest_s(self, outstanding_s: float) -> float:
        """The longest that all of it may take, real seconds."""
        silence_s = outstanding_s + self._reply_s
        silences_s = (_SILENCES + 1) * silence_s if self._port.keeps_late_replies else 0.0
        return silence_s + 2 * self._reply_s + 2 * self._port.wiring.open_s + silences_s

    def resynchronise(self, outstanding_s: float) -> None:
        """Ask for two random numbers and drop everything before them (IEEE 488.2 11.5.1: `*ESE` takes 0 to 255).

        Raises
        ------
        InstrumentReplyError : the dialect has nothing to do it with.
        InstrumentTimeout, InstrumentLost : the numbers did not come.
        """
        name = self._port.name
        if not self._dialect.resynchronise:
            raise InstrumentReplyError(f"{name}: its dialect has nothing to resynchronise with")
        first, second = secrets.randbelow(255) + 1, secrets.randbelow(255) + 1
        mark = re.compile(rf".*?\+?{first};\+?{second}\s*")
        asked = f"*ESE {first};*ESE?;*ESE {second};*ESE?"
        deadline = time.monotonic() + outstanding_s + self._reply_s
        self._port.clear(self._reply_s)
        self._port.write(f"\n{asked}", self._reply_s)
        while mark.fullmatch(self._port.read(asked, deadline - time.monotonic())) is None:
            if time.monotonic() > deadline:
                raise InstrumentTimeout(f"{name}: answers without end, but not {asked!r}")
        self._port.write("*ESE 0", self._reply_s)

    def open_anew(self, outstanding_s: float, greet: Callable[[], None], identity: str) -> None:
        """Close and open; where late replies outlive that, wait until the line is silent; ask who it is.

        Parameters
        ----------
        greet : says what must be said first on a new connection.
        identity : what `*IDN?` must answer; "" where nobody knows.

        Raises
        ------
        InstrumentLost : it cannot be reached, or it is another one.
        """
        name = self._port.name
        try:
            self._port.close()
            self._open()
            if self._port.keeps_late_replies:
                self._wait_for_silence(outstanding_s + self._reply_s)
            greet()
            self._port.write("*IDN?", self._reply_s)
            found = read_reply(self._port, self._dialect, "*IDN?", self._reply_s).strip()
        except BenchError as error:
            raise InstrumentLost(f"{name}: lost, and cannot be reached anew: {error}") from error
        if identity and found != identity:
            self._port.close()
            raise InstrumentLost(f"{name}: opened anew, it is {found!r} and no longer {identity!r}")

    def _open(self) -> None:
        """Open, again and again until the open time-out is over: an instrument that restarts refuses for a while."""
        deadline = time.monotonic() + self._port.wiring.open_s
        while True:
            try:
                return self._port.open()
            except InstrumentLost:
                if time.monotonic() > deadline:
                    raise
            time.sleep(_BETWEEN_TRIES_S)

    def _wait_for_silence(self, silence_s: float) -> None:
        """Drop what still comes, until nothing has come for as long as the longest reply could take."""
        deadline = time.monotonic() + _SILENCES * silence_s
        while time.monotonic() < deadline:
            try:
                self._port.skip(silence_s)
            except InstrumentTimeout:
                self._port.drop()
                return
            except InstrumentReplyError:
                continue
        raise InstrumentTimeout(f"{self._port.name}: never falls silent")
