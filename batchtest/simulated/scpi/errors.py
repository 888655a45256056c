"""Error numbers of SCPI-99 (volume 2, chapter 21, SYSTem:ERRor), their texts, classes and event bits, and the queue."""

from __future__ import annotations

from collections import deque

#: Standard error texts (SCPI-99 volume 2, chapter 21).
ERROR_TEXTS = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -120: "Numeric data error",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -151: "Invalid string data",
    -161: "Invalid block data",
    -170: "Expression error",
    -171: "Invalid expression",
    -200: "Execution error",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -240: "Hardware error",
    -241: "Hardware missing",
    -300: "Device-specific error",
    -310: "System error",
    -330: "Self-test failed",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -440: "Query UNTERMINATED after indefinite response",
}

#: Class of an error -> bit of the standard event status register that it sets (IEEE 488.2, 11.5.1).
CLASS_BITS = {"command": 5, "execution": 4, "device": 3, "query": 2}


class ScpiError(Exception):
    """An error on its way into an instrument's queue; it never leaves the simulated instrument.

    Parameters
    ----------
    number : number of the error, a key of `ERROR_TEXTS` or positive for one of the instrument's own.
    detail : what the instrument adds after the standard text.
    """

    def __init__(self, number: int, detail: str = "") -> None:
        self.number = number
        self.detail = detail
        super().__init__(f"{number} {text_of(number)}: {detail}")


def text_of(number: int) -> str:
    """Text of an error number; numbers that the standard does not list are device-specific."""
    return ERROR_TEXTS.get(number, ERROR_TEXTS[-300])


def class_of(number: int) -> str:
    """Class of an error number: "command", "execution", "device" or "query".

    >>> class_of(-113), class_of(101)
    ('command', 'device')
    """
    hundreds = -number // 100
    return {1: "command", 2: "execution", 4: "query"}.get(hundreds, "device") if number < 0 else "device"


class ErrorQueue:
    """First in, first out, of bounded length; on overflow the newest entry becomes -350 (SCPI-99 volume 2, 21.8.1)."""

    def __init__(self, length: int = 20) -> None:
        self._length = length
        self._entries: deque[str] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    def add(self, number: int, detail: str = "") -> None:
        """Queue an error, or -350 in place of the newest where there is no room."""
        if len(self._entries) >= self._length:
            self._entries[-1] = _entry(-350, "")
        else:
            self._entries.append(_entry(number, detail))

    def take(self) -> str:
        """Oldest entry as `SYSTem:ERRor?` answers it; `+0,"No error"` where there is none."""
        return self._entries.popleft() if self._entries else _entry(0, "")

    def clear(self) -> None:
        """Forget all entries, as `*CLS` does."""
        self._entries.clear()


def _entry(number: int, detail: str) -> str:
    text = f"{text_of(number)};{detail}" if detail else text_of(number)
    printable = "".join(sign if " " <= sign <= "~" else "?" for sign in text[:255])
    return f'{number:+d},"{printable.replace(chr(34), chr(34) * 2)}"'
