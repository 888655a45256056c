"""Harmless questions: the queries of a dialect that set and switch nothing, and what reads their replies.

What is measured by a command, or clears when it is read, is not among them; neither is a channel chosen.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from batchtest.bench.dialect import (
    Answer,
    Dialect,
    HandlerDialect,
    Mode,
    Register,
    ScannerDialect,
    Setting,
    Switch,
)
from batchtest.bench.replies import parse_number, parse_state, parse_string, parse_whole, split
from batchtest.bench.templates import asks, fill
from batchtest.errors import InstrumentReplyError

#: One unit of a query that sets nothing: a header, and perhaps channels.
_HARMLESS = re.compile(r"[*:A-Z0-9]+\?(?: \(@[0-9!:,]+\))?|[0-9]+:[0-9A-F]{2}\?(?: (?:u8|u16|u32|text))*")


@dataclass(frozen=True, slots=True)
class Question:
    """A query of a dialect, the field that it is of, and what reads its reply (or raises InstrumentReplyError)."""

    field: str
    query: str
    read: Callable[[str], object]


def questions(dialect: Dialect) -> Iterator[Question]:
    """The harmless queries of a dialect, its probes first."""
    for query, pattern in dialect.probes.items():
        yield Question("probes", query, partial(_matched, pattern))
    if dialect.errors.query:
        yield Question("errors.query", dialect.errors.query, partial(_matched, r"[+-]?[0-9]+(,.*)?"))
    for name in type(dialect).model_fields:
        value = getattr(dialect, name)
        for index, part in enumerate(value if isinstance(value, tuple) else (value,)):
            field = f"{name}[{index}]" if isinstance(value, tuple) else name
            for query, read in _asked(part, dialect):
                yield Question(field, fill(query, channel=1), read)
    yield from _of_role(dialect)


def _asked(part: object, dialect: Dialect) -> Iterator[tuple[str, Callable[[str], object]]]:
    """Query of one part of a dialect, where it is one that has any."""
    match part:
        case Answer():
            yield part.query, partial(_numbered, part, dialect)
        case Setting():
            yield part.query.query, partial(_numbered, part.query, dialect)
        case Switch():
            yield part.query, partial(parse_state, on=part.on_words, off=part.off_words)
        case Mode() if part.query:
            yield part.query, partial(_matched, r"\S+")
        case Register() if part.kind != "event":
            yield part.query, partial(_registered, part, dialect)
        case _:
            return


def _of_role(dialect: Dialect) -> Iterator[Question]:
    if isinstance(dialect, ScannerDialect):
        yield Question("query", dialect.query_message, dialect.closed)
    if isinstance(dialect, HandlerDialect):
        words = partial(parse_state, on=dialect.closed_words, off=dialect.open_words)
        texts, states = dict.fromkeys(("board", "cable"), parse_string), dict.fromkeys(("lid", "host", "fuse"), words)
        for field, read in (texts | states).items():
            query = getattr(dialect, field)
            if query is not None:
                yield Question(field, query, read)


def _matched(pattern: str, reply: str) -> str:
    if re.fullmatch(pattern, reply.strip()) is None:
        raise InstrumentReplyError(f"{reply!r} is not {pattern!r}")
    return reply


def _numbered(answer: Answer, dialect: Dialect, reply: str) -> float:
    replies = dialect.replies
    text = split(reply, answer.of, replies.separator)[answer.value - 1]
    return parse_number(text, units=replies.units, decimal=replies.decimal)


def _registered(register: Register, dialect: Dialect, reply: str) -> object:
    text = split(reply, register.of, dialect.replies.separator)[register.value - 1]
    return _matched("|".join(map(re.escape, register.words)), text) if register.words else parse_whole(text)


def harmless(query: str) -> bool:
    """Whether a query is only a header with a question mark, and perhaps channels.

    >>> harmless("CURR? (@1)"), harmless("INIT;FETC?"), harmless("CURR? MAX;*RST")
    (True, False, False)
    """
    return asks(query) and _HARMLESS.fullmatch(query) is not None
