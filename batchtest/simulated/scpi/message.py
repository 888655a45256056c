"""Program messages: where one ends in a stream of bytes, and the message units in it (IEEE 488.2, 7)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from batchtest.simulated.scpi.errors import ScpiError
from batchtest.simulated.scpi.parameters import Token

#: Longest message that an instrument takes, in bytes.
BUFFER_BYTES = 65536

_SPACE = re.compile(rb"[ \t\r]*")
_HEADER = re.compile(rb"[^ \t\r;]+")
_HEADER_SIGNS = re.compile(rb"[A-Za-z0-9_:*?]+")
_STRING = re.compile(rb"\"(?:[^\"]|\"\")*\"|'(?:[^']|'')*'")
_EXPRESSION = re.compile(rb"\([^()]*\)")
_PLAIN = re.compile(rb"[^,;\"'()]+")
_PRINTABLE = re.compile(rb"[\t\r -~]*")
_BLOCK = re.compile(rb"#([1-9])")
_STREAM = re.compile(rb"\"[^\"\n]*\"|'[^'\n]*'|(?<=[\s,])#([1-9])|\n")


@dataclass(frozen=True, slots=True)
class Unit:
    """One command or query of a message: its header as written, and its data elements."""

    header: str
    tokens: tuple[Token, ...]


def units(message: bytes) -> Iterator[Unit]:
    """Message units one by one, so that those before a fault are carried out.

    Raises
    ------
    ScpiError : -101, -102, -103, -151, -161 or -171, at the unit that has the fault.
    """
    position = _skip(message, 0)
    while position < len(message):
        if message[position : position + 1] == b";":
            position = _skip(message, position + 1)
            continue
        header, position = _header(message, position)
        tokens, position = _elements(message, _skip(message, position))
        yield Unit(header, tokens)


def _skip(message: bytes, position: int) -> int:
    match = _SPACE.match(message, position)
    return match.end() if match else position


def _header(message: bytes, position: int) -> tuple[str, int]:
    match = _HEADER.match(message, position)
    if match is None or not _HEADER_SIGNS.fullmatch(match[0]):
        raise ScpiError(-101, ascii(message[position : position + 40]))
    return match[0].decode("ascii"), match.end()


def _elements(message: bytes, position: int) -> tuple[tuple[Token, ...], int]:
    tokens: list[Token] = []
    while tokens or not _at_end(message, position):
        token, position = _element(message, position)
        tokens.append(token)
        position = _skip(message, position)
        if _at_end(message, position):
            break
        if message[position : position + 1] != b",":
            raise ScpiError(-103, ascii(message[position : position + 10]))
        position = _skip(message, position + 1)
    return tuple(tokens), position


def _at_end(message: bytes, position: int) -> bool:
    return message[position : position + 1] in (b"", b";")


def _element(message: bytes, position: int) -> tuple[Token, int]:
    first = message[position : position + 1]
    if first in (b'"', b"'"):
        return _matched(_STRING.match(message, position), -151)
    if first == b"(":
        return _matched(_EXPRESSION.match(message, position), -171)
    if first == b"#" and message[position + 1 : position + 2].isdigit():
        return _block(message, position)
    return _matched(_PLAIN.match(message, position), -102)


def _matched(match: re.Match[bytes] | None, error: int) -> tuple[str, int]:
    text = match[0].strip(b" \t\r") if match else b""
    if match is None or not text:
        raise ScpiError(error)
    if not _PRINTABLE.fullmatch(text):
        raise ScpiError(-101, ascii(text[:40]))
    return text.decode("ascii"), match.end()


def _block(message: bytes, position: int) -> tuple[bytes, int]:
    if message[position + 1 : position + 2] == b"0":
        return message[position + 2 :].removesuffix(b"\n"), len(message)
    start, end = _block_span(message, position)
    if end > len(message):
        raise ScpiError(-161, f"{len(message) - start} of {end - start} bytes")
    return message[start:end], end


def _block_span(message: bytes, position: int) -> tuple[int, int]:
    count = int(message[position + 1 : position + 2])
    digits = message[position + 2 : position + 2 + count]
    if len(digits) < count or not digits.isdigit():
        raise ScpiError(-161, ascii(digits))
    start = position + 2 + count
    return start, start + int(digits)


class Framer:
    """Cuts a stream of bytes into messages at line feeds; a line feed inside a definite block is data.

    A message longer than `limit` bytes is thrown away up to its line feed, and reported as `None` in its place
    (error -363 is the instrument's to queue).
    """

    def __init__(self, limit: int = BUFFER_BYTES) -> None:
        self._limit = limit
        self._buffer = bytearray()
        self._overrun = False

    def feed(self, data: bytes) -> list[bytes | None]:
        """Whole messages that came to their end with `data`, without their line feeds."""
        self._buffer += data
        messages: list[bytes | None] = []
        while (end := self._end()) is not None:
            message = bytes(self._buffer[:end])
            del self._buffer[: end + 1]
            messages.append(None if self._overrun or len(message) > self._limit else message)
            self._overrun = False
        if len(self._buffer) > self._limit:
            self._overrun = True
            self._buffer.clear()
        return messages

    def _end(self) -> int | None:
        if self._overrun or b"#" not in self._buffer:
            end = self._buffer.find(b"\n")
            return end if end >= 0 else None
        return self._end_after_blocks()

    def _end_after_blocks(self) -> int | None:
        position = 0
        while match := _STREAM.search(self._buffer, position):
            if match[0] == b"\n":
                return match.start()
            position = match.end()
            if match[1]:
                position = self._block_end(match.start())
        return None

    def _block_end(self, start: int) -> int:
        try:
            end = _block_span(bytes(self._buffer[start : start + 12]), 0)[1] + start
        except ScpiError:
            return start + 1
        return end if end - start <= self._limit else start + 1
