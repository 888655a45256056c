"""The face of a load that speaks in frames of 26 bytes: start AAh, address, command, 22 bytes of data, checksum."""

from __future__ import annotations

import struct

from batchtest.simulated.faces.face import Cutter, Face, Lost
from batchtest.simulated.faces.loads import channel_word

SIZE, START = 26, 0xAA
TAKEN, BAD_SUM, BAD_VALUE, NOT_REMOTE, UNKNOWN = 0, 0x90, 0xA0, 0xB0, 0xC0
#: Set command -> header of the simulated load, struct format, units per base unit. The query is one higher.
_SETTINGS = {
    0x12: ("CURR:PROT", "<I", 10000),
    0x14: ("POW:PROT", "<I", 1000),
    0x18: ("CURR", "<I", 10000),
    0x1A: ("VOLT:UND", "<I", 1000),
    0x1C: ("INP:TIM", "<H", 1),
}
#: Set command -> header, and what 0, 1, ... stand for. The query is one higher.
_WORDS = {
    0x10: ("INP", ("OFF", "ON")),
    0x16: ("FUNC", ("CURR", "VOLT", "POW", "RES")),
    0x1E: ("INP:SENS", ("OFF", "ON")),
}


class FrameCutter:
    """Cuts a stream into frames; what stands before a start byte is thrown away."""

    def __init__(self) -> None:
        self._buffer = b""

    def feed(self, data: bytes) -> list[bytes | None]:
        """Whole frames."""
        self._buffer += data
        found: list[bytes | None] = []
        while (start := self._buffer.find(START)) >= 0 and len(self._buffer) >= start + SIZE:
            found.append(self._buffer[start : start + SIZE])
            self._buffer = self._buffer[start + SIZE :]
        if START not in self._buffer:
            self._buffer = b""
        return found


class FrameLoad(Face):
    """Currents in tenths of mA, mV, mW; the address is the channel, 0 the whole load."""

    ending = b""

    def power_on(self) -> None:
        """The front panel has control."""
        self._remote = False

    def framer(self) -> Cutter:
        """What cuts the frames of one connection."""
        return FrameCutter()

    def execute_at(self, message: bytes, now: float) -> tuple[bytes, float]:
        """Carry out a frame; the frame that answers it, and when it is ready, s."""
        with self.core.rack.lock:
            self.begin(now)
            address, command, data = message[1], message[2], message[3:-1]
            if sum(message[:-1]) % 256 != message[-1]:
                return _framed(address, 0x06, bytes((BAD_SUM,))), self.moment
            try:
                answer = self._act(address, command, data)
            except Lost:
                return b"", self.moment
            reply = _framed(address, 0x06, bytes((answer,))) if isinstance(answer, int) else None
            return reply or _framed(address, command, bytes(answer)), self.moment

    def _act(self, address: int, command: int, data: bytes) -> int | bytes:
        """A code, or the data of an answer."""
        if command == 0x01:
            return self.core.identity.split(",")[data[0] % 4].encode("ascii")
        if command == 0x02:
            self._remote = data[0] == 1
            return TAKEN
        if command == 0x03:
            return self._told("*RST")
        return self._of_channel(address, command, data) if address in self.core.rack.loads else BAD_VALUE

    def _of_channel(self, address: int, command: int, data: bytes) -> int | bytes:
        if command == 0x30:
            return self._seen(address)
        if command - 1 in _SETTINGS or command - 1 in _WORDS:
            return self._held(command - 1, address)
        return self._set(command, address, data) if self._remote else NOT_REMOTE

    def _set(self, command: int, address: int, data: bytes) -> int:
        at = f"(@{address})"
        if command == 0x31:
            return self._told(f"INP:PROT:CLE {at}")
        if command in _SETTINGS:
            header, form, per_unit = _SETTINGS[command]
            return self._told(f"{header} {struct.unpack_from(form, data)[0] / per_unit:.9g},{at}")
        if command in _WORDS:
            header, words = _WORDS[command]
            return self._told(f"{header} {words[data[0]]},{at}") if data[0] < len(words) else BAD_VALUE
        return UNKNOWN

    def _held(self, command: int, address: int) -> bytes:
        if command in _SETTINGS:
            header, form, per_unit = _SETTINGS[command]
            return struct.pack(form, round(self.number(f"{header}? (@{address})") * per_unit))
        header, words = _WORDS[command]
        held = self.ask(f"{header}? (@{address})")
        return bytes((int(held) if held.isdigit() else words.index(held),))

    def _seen(self, address: int) -> bytes:
        """Voltage in mV, tenths of mA, mW, 1 where the input is on, and the status word."""
        volts = self.number(f"MEAS:VOLT? (@{address})")
        amperes = max(0.0, self.number(f"MEAS:CURR? (@{address})"))
        word = channel_word(self, address)
        on = self.ask(f"INP? (@{address})") == "1"
        magnitudes = round(abs(volts) * 1000), round(amperes * 10000), round(abs(volts) * amperes * 1000)
        return struct.pack("<IIIBH", *magnitudes, on, word)

    def _told(self, text: str) -> int:
        self.tell(text)
        return BAD_VALUE if self._failed() else TAKEN


def _framed(address: int, command: int, data: bytes) -> bytes:
    body = struct.pack("<BBB22s", START, address, command, data)
    return body + bytes((sum(body) % 256,))
