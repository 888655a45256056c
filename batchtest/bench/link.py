"""The message link to one instrument: every answer belongs to its question, and every wait ends.

After a time-out, an interrupt or any error of the connection the link is dirty: a late reply may still come. Before the
next message it is resynchronised, else opened anew and asked who it is; if that fails too the instrument is lost. A
command that was cut short is never repeated.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from batchtest.bench.dialect import Dialect
from batchtest.bench.recovery import Recovery, read_reply
from batchtest.bench.templates import asks, joined
from batchtest.errors import BenchError, InstrumentRefused, InstrumentReplyError

if TYPE_CHECKING:
    from batchtest.bench.port import Port

#: A semicolon between two answers, and none inside a quoted one.
_BETWEEN = re.compile(r';(?=(?:[^"]*"[^"]*")*[^"]*$)')
ParsedT = TypeVar("ParsedT")
#: A query, and what makes the value of its reply.
Asked = tuple[str, Callable[[str], Any]]
#: A place among questions for one that is left out.
NOT_ASKED: Asked = ("", str)
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
    promise : told before each message within how many real seconds it will be over, whatever comes.
    """

    def __init__(
        self, port: Port, dialect: Dialect, *, reply_s: float, gap_s: float = 0.0, trace: Trace | None = None
    ) -> None:
        self.name = port.name
        self.recoveries = 0
        self.identity = ""
        self.promise: Callable[[float], None] = lambda seconds: None
        self._port, self._dialect, self._trace = port, dialect, trace
        self._reply_s, self._gap_s = reply_s, gap_s
        self._recovery = Recovery(port, dialect, reply_s)
        self._lock = threading.RLock()
        self._dirty = False
        self._outstanding_s = 0.0
        self._owed: list[str] = []
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
            self._collect_owed()
            with self._exchange(expected_s):
                self._refuse_stray(message)
                self._port.write(message, self._reply_s)
                reply = self._read(message, expected_s + self._reply_s)
                value = self._parsed(message, reply, parse)
        if self._trace is not None:
            self._trace(self.name, "query", message, reply, expected_s)
        return value

    def query(self, message: str, expected_s: float = 0.0) -> str:
        """The reply to a query as text; raises as `ask` does."""
        return self.ask(message, str, expected_s)

    def ask_all(self, questions: Sequence[Asked], expected_s: float = 0.0) -> list[Any]:
        """Ask several queries, in one message where the dialect says that they may be joined.

        Parameters
        ----------
        questions : a query that comes twice is asked once, and its reply read twice; one that is "" is not asked, and
            its answer is `None`.
        expected_s : how long the instrument should take to answer the first, s.

        Raises
        ------
        InstrumentTimeout, InstrumentLost, InstrumentReplyError : as `ask`; other than one answer to each is no answer.
        """
        messages = list(dict.fromkeys(query for query, _ in questions if query))
        found: list[Any] = [None] * len(questions)

        def take(replies: dict[str, str]) -> None:
            for index, (query, parse) in enumerate(questions):
                if query in replies:
                    found[index] = parse(replies[query])

        def take_one(message: str, reply: str) -> None:
            take({message: reply})

        def take_each(reply: str) -> None:
            parts = _BETWEEN.split(reply)
            if len(parts) != len(messages):
                raise InstrumentReplyError(f"{reply!r} has {len(parts)} answers, {len(messages)} were asked for")
            take(dict(zip(messages, parts, strict=True)))

        if self._dialect.joins and len(messages) > 1:
            self.ask(joined(messages), take_each, expected_s)
            return found
        for message in messages:
            self.ask(message, partial(take_one, message), expected_s if message == messages[0] else 0.0)
        return found

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
            self._collect_owed()
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
        _, first = self.ask_all(
            [(self._dialect.complete, self._completed), (self._dialect.errors.query, str)], expected_s
        )
        if errors := self.errors(first):
            raise InstrumentRefused(f"{self.name}: refused {'; '.join(messages)!r}: {'; '.join(errors)}")

    def errors(self, first: str | None = None) -> list[str]:
        """Read the error queue, where there is one, until it is empty, or as many entries as the dialect allows.

        `first` is an entry that was read already.
        """
        found: list[str] = []
        if not self._dialect.errors.query:
            return found
        for _ in range(self._dialect.errors.drain):
            entry = (self.query(self._dialect.errors.query) if first is None else first).strip()
            first = None
            if re.fullmatch(self._dialect.errors.none, entry):
                break
            if not entry:
                raise InstrumentReplyError(f"{self.name}: {self._dialect.errors.query!r} was answered with nothing")
            found.append(entry)
        return found

    def refuse_error(self, entry: str | None) -> None:
        """Raise InstrumentRefused where an entry of the error queue is an error; `None` where there is no queue."""
        if entry is not None and re.fullmatch(self._dialect.errors.none, entry.strip()) is None:
            raise InstrumentRefused(f"{self.name}: has an error in its queue that nothing asked for: {entry.strip()}")

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
                    self._owed.append(message)
            self._dirty = cut_short
        if self._trace is not None:
            self._trace(self.name, "write", message, "", 0.0)

    def distrust(self) -> None:
        """Take the link for out of step, whatever is known of it: the next message brings it back first."""
        self._dirty = True

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
            self._owed.clear()
            self.promise(self._recovery.longest_s(self._outstanding_s))
            try:
                self._recovery.resynchronise(self._outstanding_s)
            except BenchError:
                self._recovery.open_anew(self._outstanding_s, self._greet, self.identity)
            self._dirty = False
            self.errors()  # what the cut message left in the queue is not the next one's fault

    def enter_remote(self) -> None:
        """Send what the dialect wants sent whenever the connection was opened, before anything else."""
        if self._dialect.remote:
            self.write(self._dialect.remote)

    def close(self) -> None:
        """Close the connection."""
        self._port.close()

    @contextmanager
    def _exchange(self, expected_s: float) -> Iterator[None]:
        """Marks the link dirty unless the block runs to its end."""
        self._dirty, self._outstanding_s = True, expected_s
        self.promise(expected_s + self._reply_s)
        if self._gap_s:
            time.sleep(max(0.0, self._spoke_at + self._gap_s - time.monotonic()))
        yield
        self._spoke_at = time.monotonic()
        self._dirty = False

    def _greet(self) -> None:
        """Enter remote on a new connection; it stays distrusted until it has said who it is."""
        self._dirty = False
        self.enter_remote()
        self._dirty = True

    def _read(self, message: str, within_s: float) -> str:
        return read_reply(self._port, self._dialect, message, within_s)

    def _collect_owed(self) -> None:
        """Read the acknowledgements of commands that were sent without waiting for them."""
        while self._owed:
            with self._exchange(0.0):
                self._acknowledged(self._owed.pop(0))

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
        reply = self._read(message, self._reply_s)
        if reply.strip() != expected:
            raise InstrumentReplyError(f"{self.name}: {message!r} was answered with {reply!r}, not with {expected!r}")
        return reply

    def _completed(self, reply: str) -> None:
        if reply.strip() not in ("1", "+1"):
            raise InstrumentReplyError(f"{reply!r} is not the '1' that says done")
