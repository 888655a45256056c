"""Instruments that speak in frames of 26 bytes: their messages are written as text in a dialect, and translated here.

A frame is AAh, the unit's address, a command, 22 bytes of data in little-endian order, and the sum of the other 25
bytes, modulo 256. A message names address and command in front of its values, "2:2A u32=5000" or, as a query whose
answer has these values, "2:2A? u32 u32 u8". Text of 22 bytes is `text`. A command is answered with the frame of command
06h, whose first byte is 0 where it was taken; that reads as "OK". The identity is asked for in four parts.
"""

from __future__ import annotations

import re
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from batchtest.bench.port import Port, Wiring, instrument_errors
from batchtest.errors import InstrumentReplyError

if TYPE_CHECKING:
    import pyvisa

SIZE, START, ACKNOWLEDGE, IDENTIFY = 26, 0xAA, 0x06, 0x01
_WIDTHS = {"u8": 1, "u16": 2, "u32": 4}
_MESSAGE = re.compile(r"([0-9]{1,3}):([0-9A-F]{2})(\??)((?: (?:u8|u16|u32|text)(?:=[0-9]+)?)*)")
_IDENTITY, _PARTS = f"0:{IDENTIFY:02X}? text", 4


def frame(address: int, command: int, data: bytes) -> bytes:
    """The bytes of a frame; `data` is filled up with zeros.

    >>> frame(1, 0x21, bytes([1]))[:5].hex(), frame(1, 0x21, bytes([1]))[-1]
    ('aa01210100', 205)
    """
    body = bytes((START, address, command)) + data.ljust(SIZE - 4, b"\0")
    return body + bytes((sum(body) & 0xFF,))


def encode(message: str, part: int = 0) -> bytes:
    """The frame of a message.

    Raises
    ------
    InstrumentReplyError : the message is none of this kind; the dialect needs mending.
    """
    match = _MESSAGE.fullmatch(message)
    if match is None:
        raise InstrumentReplyError(f"{message!r} is no message for frames, such as '2:2A u32=5000'; check the dialect")
    data = bytes((part,)) if match[3] and part else b""
    for word in match[4].split() if not match[3] else ():
        kind, _, number = word.partition("=")
        if not number or int(number) >= 256 ** _WIDTHS[kind]:
            raise InstrumentReplyError(f"{message!r}: {word!r} is no value that fits; check the dialect")
        data += int(number).to_bytes(_WIDTHS[kind], "little")
    return frame(int(match[1]), int(match[2], 16), data)


def decode(message: str, reply: bytes) -> str:
    """What a reply frame says to a message, as text: values joined by commas, or "OK".

    Raises
    ------
    InstrumentReplyError : it is no whole frame, of another unit or command, or says that the message was refused.
    """
    match = _MESSAGE.fullmatch(message)
    assert match is not None, "encoded before"
    if len(reply) != SIZE or reply[0] != START or sum(reply[:-1]) & 0xFF != reply[-1]:
        raise InstrumentReplyError(f"reply to {message!r} is no whole frame: {reply.hex()}; check lead and baud rate")
    if reply[1] != int(match[1]) or reply[2] not in (int(match[2], 16), ACKNOWLEDGE):
        raise InstrumentReplyError(f"reply to {message!r} is another's: {reply.hex()}")
    if reply[2] == ACKNOWLEDGE:
        if match[3] or reply[3]:
            raise InstrumentReplyError(f"{message!r} was refused with code {reply[3]}")
        return "OK"
    return ",".join(_values(match[4].split(), reply[3:-1]))


def _values(kinds: list[str], data: bytes) -> list[str]:
    values: list[str] = []
    for kind in kinds:
        if kind == "text":
            return [*values, data.rstrip(b"\0").decode("ascii")]
        values.append(str(int.from_bytes(data[: _WIDTHS[kind]], "little")))
        data = data[_WIDTHS[kind] :]
    return values


class FramePort(Port):
    """A connection on which messages go out as frames, and frames come in as lines."""

    def __init__(self, manager: pyvisa.ResourceManager, name: str, wiring: Wiring) -> None:
        super().__init__(manager, name, replace(wiring, read_ending="", write_ending=""))

    def write(self, message: str, within_s: float) -> None:
        """Send one message; an identity is sent in parts, while it is read."""
        if message.strip() != "*IDN?":
            self._send(encode(message.strip()), message, within_s)

    def read(self, sent: str, within_s: float) -> str:
        """Read the answer to a message, as a line."""
        deadline = time.monotonic() + within_s
        if sent != "*IDN?":
            return self._receive(sent, deadline)
        parts: list[str] = []
        for part in range(_PARTS):
            self._send(encode(_IDENTITY, part), sent, deadline - time.monotonic())
            parts.append(self._receive(_IDENTITY, deadline))
        return ",".join(parts)

    def skip(self, within_s: float) -> None:
        """Read one frame, whatever it says, and drop it."""
        with instrument_errors(self.name, "nothing", self.waiting):
            self._deadline(within_s).read_bytes(SIZE)

    def _receive(self, message: str, deadline: float) -> str:
        with instrument_errors(self.name, message, self.waiting):
            reply = self._deadline(deadline - time.monotonic()).read_bytes(SIZE)
            return decode(message, reply)

    def _send(self, data: bytes, sent: str, within_s: float) -> None:
        with instrument_errors(self.name, sent):
            self._deadline(within_s).write_raw(data)
