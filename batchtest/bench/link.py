"""The message link to one instrument: every answer belongs to its question, and every wait ends.

After a time-out, an interrupt or any error of the connection the link is dirty: a late reply may still come. Before the
next message it is resynchronised, else opened anew and asked who it is; if that fails too the instrument is lost. A
command that was cut short is never repeated.
"""

from __future__ import annotations

import re
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from batchtest.bench.dialect import Dialect
from batchtest.bench.templates import asks
from batchtest.errors import BenchError, InstrumentLost, InstrumentRefused, InstrumentReplyError, InstrumentTimeout

if TYPE_CHECKING:
    from batchtest.bench.port import Port

ParsedT = TypeVar("ParsedT")
#: Called after each message: instrument, "write" or "query", message, reply, expected duration in s.
Trace = Callable[[str, str, str, str, float], None]


class Link:
    """What is said to one instrument, and what it answers.

    Parameters
    ----------
    port : the connection, already open.
    dialect : how the instrument is spoken to.
    reply_s : longest wait for a reply beyond what the measurement itself takes, real seconds.
    gap_s : time to leave between two messages, real seconds.
    trace : told of every message, for benchmarks.

    Attributes
    ----------
    identity : what `*IDN?` must answer after opening anew; "" where nobody has asked yet.
    recoveries : how often the link had to be brought back into step.
    """

    def __init__(
        self, port: Port, dialect: Dialect, *, reply_s: float, gap_s: float = 0.0, trace: Trace | None = None
    ) -> None:
        self.name = port.name
        self.recoveries = 0
        self.identity = ""
        self._port, self._dialect, self._trace = port, dialect, trace
        self._reply_s, self._gap_s = reply_s, gap_s
        self._lock = threading.RLock()
        self._dirty = False
        self._outstanding_s = 0.0
        self._spoke_at = -gap_s

    @property
    def dirty(self) -> bool:
        """Whether an answer may still be under way that belongs to no question to come."""
        return self._dirty

    def ask(self, message: str, parse: Callable[[str], ParsedT], expected_s: float = 0.0) -> ParsedT:
        """Send a query and read its reply.

        Parameters
        ----------
        message : one that has a question mark.
        parse : makes the value of the reply; a reply that it cannot read may be another question's, and leaves the link
            dirty.
        expected_s : how long the instrument should take, s; the deadline is this and the reply time.

        Raises
        ------
        ValueError : the message asks nothing; use `write`.
        InstrumentTimeout, InstrumentLost, InstrumentReplyError : no answer to this question came.
        """
        if not asks(message):
            raise ValueError(f"{message!r} asks nothing and would wait for ever; use write")
        with self._lock:
            self.recover()
            with self._exchange(expected_s):
                self._refuse_stray(message)
                self._port.write(message, self._reply_s)
                reply = self._port.read(message, expected_s + self._reply_s)
                value = self._parsed(message, reply, parse)
        if self._trace is not None:
            self._trace(self.name, "query", message, reply, expected_s)
        return value

    def query(self, message: str, expected_s: float = 0.0) -> str:
        """The reply to a query as text; raises as `ask` does."""
        return self.ask(message, str, expected_s)

    def write(self, message: str) -> None:
        """Send a command that has no reply.

        Raises
        ------
        ValueError : the message has a question mark; use `query`.
        InstrumentTimeout, InstrumentLost : the instrument did not take it.
        InstrumentReplyError : the dialect's acknowledgement did not come.
        """
        if asks(message):
            raise ValueError(f"{message!r} has a reply that nobody would read; use query")
        with self._lock:
            self.recover()
            with self._exchange(0.0):
                self._port.write(message, self._reply_s)
                reply = self._acknowledged(message)
        if self._trace is not None:
            self._trace(self.name, "write", message, reply, 0.0)

    def set(self, *messages: str, expected_s: float = 0.0) -> None:
        """Send settings, wait until they are done, and read the error queue until it is empty.

        Raises
        ------
        InstrumentRefused : an error was in the queue; the message has the error and the commands sent.
        """
        for message in messages:
            self.write(message)
        if self._dialect.complete:
            self.ask(self._dialect.complete, self._completed, expected_s)
        errors = self.errors()
        if errors:
            raise InstrumentRefused(f"{self.name}: refused {'; '.join(messages)!r}: {'; '.join(errors)}")

    def errors(self) -> list[str]:
        """Read the error queue until it is empty, or as many entries as the dialect allows."""
        found: list[str] = []
        for _ in range(self._dialect.errors.drain):
            entry = self.query(self._dialect.errors.query).strip()
            if re.fullmatch(self._dialect.errors.none, entry):
                break
            if not entry:
                raise InstrumentReplyError(f"{self.name}: {self._dialect.errors.query!r} was answered with nothing")
            found.append(entry)
        return found

    def send_now(self, message: str) -> None:
        """Send a command at once, even on a dirty link: for switching off. What came of it must be read back.

        Raises
        ------
        InstrumentTimeout, InstrumentLost : the instrument did not take it.
        """
        with self._lock:
            cut_short = self._dirty
            with self._exchange(self._outstanding_s):
                self._port.write(f"\n{message}" if cut_short else message, self._reply_s)
                if self._dialect.replies.acknowledge:
                    cut_short = True  # read when the link is resynchronised
            self._dirty = cut_short
        if self._trace is not None:
            self._trace(self.name, "write", message, "", 0.0)

    def recover(self) -> None:
        """Bring a dirty link back into step; a clean one is left alone.

        Raises
        ------
        InstrumentLost : neither resynchronising nor opening anew helped.
        """
        with self._lock:
            if not self._dirty:
                return
            self.recoveries += 1
            try:
                self._resynchronise()
            except BenchError:
                self._reopen()
            self._dirty = False
            self.errors()  # what the cut message left in the queue is not the next one's fault

    def close(self) -> None:
        """Close the connection."""
        self._port.close()

    @contextmanager
    def _exchange(self, expected_s: float) -> Iterator[None]:
        """Marks the link dirty unless the block runs to its end."""
        self._dirty, self._outstanding_s = True, expected_s
        if self._gap_s:
            time.sleep(max(0.0, self._spoke_at + self._gap_s - time.monotonic()))
        yield
        self._spoke_at = time.monotonic()
        self._dirty = False

    def _refuse_stray(self, message: str) -> None:
        stray = self._port.stray()
        if stray:
            raise InstrumentReplyError(f"{self.name}: sent {stray!r} before {message!r} was asked; check the dialect")

    def _parsed(self, message: str, reply: str, parse: Callable[[str], ParsedT]) -> ParsedT:
        try:
            return parse(reply)
        except InstrumentReplyError as error:
            raise InstrumentReplyError(f"{self.name}: {message!r}: {error}") from error

    def _acknowledged(self, message: str) -> str:
        expected = self._dialect.replies.acknowledge
        if not expected:
            return ""
        reply = self._port.read(message, self._reply_s)
        if reply.strip() != expected:
            raise InstrumentReplyError(f"{self.name}: {message!r} was answered with {reply!r}, not with {expected!r}")
        return reply

    def _completed(self, reply: str) -> None:
        if reply.strip() not in ("1", "+1"):
            raise InstrumentReplyError(f"{reply!r} is not the '1' that says done")

    def _resynchronise(self) -> None:
        """Ask for two random numbers and drop everything before them (IEEE 488.2 11.5.1: `*ESE` takes 0 to 255)."""
        first, second = secrets.randbelow(255) + 1, secrets.randbelow(255) + 1
        mark = re.compile(rf".*?\+?{first};\+?{second}\s*")
        asked = f"*ESE {first};*ESE?;*ESE {second};*ESE?"
        deadline = time.monotonic() + self._outstanding_s + self._reply_s
        self._port.write(f"\n{asked}", self._reply_s)
        while mark.fullmatch(self._port.read(asked, deadline - time.monotonic())) is None:
            if time.monotonic() > deadline:
                raise InstrumentTimeout(f"{self.name}: answers without end, but not {asked!r}")
        self._port.write("*ESE 0", self._reply_s)

    def _reopen(self) -> None:
        try:
            self._port.close()
            self._port.open()
            self._port.write("*IDN?", self._reply_s)
            identity = self._port.read("*IDN?", self._reply_s)
        except BenchError as error:
            raise InstrumentLost(f"{self.name}: lost, and cannot be reached anew: {error}") from error
        if self.identity and identity.strip() != self.identity:
            self._port.close()
            raise InstrumentLost(
                f"{self.name}: opened anew, it is {identity.strip()!r} and no longer {self.identity!r}"
            )
