"""Templates of commands as dialects write them, "CURR {amperes},(@{channel})": checked when read, filled in when sent.

A query has a question mark and a command has none; which placeholders a template may have depends on its key.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Sequence
from string import Formatter
from typing import Annotated

from pydantic import AfterValidator, StrictStr

from batchtest.errors import nearest


def asks(message: str) -> bool:
    """Whether a message asks for a reply: it has a question mark outside quotes.

    >>> asks('NEST:PLAC "A?"')
    False
    """
    return any("?" in outside for outside in message.split('"')[::2])


def fill(template: str, **values: float | int | str) -> str:
    """A command with its placeholders filled in; numbers with nine digits, which any instrument reads.

    >>> fill("CURR {amperes},(@{channel})", amperes=0.02, channel=1)
    'CURR 0.02,(@1)'
    """
    return template.format(
        **{key: f"{value:.9g}" if isinstance(value, float) else value for key, value in values.items()}
    )


def joined(queries: Sequence[str]) -> str:
    """Several queries in one message, each from the root (SCPI-99 vol. 1, 6.2.4).

    >>> joined(["OUTP?", "VOLT?", "*OPC?"])
    'OUTP?;:VOLT?;*OPC?'
    """
    first, *others = queries
    return ";".join([first, *(query if query[0] in "*:" else f":{query}" for query in others)])


def placeholders(*templates: str) -> set[str]:
    """Names of the placeholders in templates.

    >>> sorted(placeholders("CURR {amperes},(@{channel})"))
    ['amperes', 'channel']
    """
    return {name for template in templates for _, name, _, _ in Formatter().parse(template) if name}


def _check(query: bool, *placeholders: str) -> AfterValidator:
    def check(text: str) -> str:
        try:
            found = {name for _, name, _, _ in Formatter().parse(text) if name is not None}
        except ValueError as error:
            raise ValueError(f"has a brace without its partner: {text!r}") from error
        unknown = sorted(found - set(placeholders))
        if unknown:
            raise ValueError(f"has the placeholder {unknown[0]!r}; {nearest(unknown[0], placeholders)}")
        if asks(text) is not query:
            raise ValueError(
                f"{'needs a' if query else 'is a command and must not have a'} question mark, got {text!r}"
            )
        return text

    return AfterValidator(check)


def _check_name(text: str) -> str:
    found = placeholders(text)
    if found not in ({"channel"}, {"slot", "number"}):
        raise ValueError(f"needs {{channel}}, or {{slot}} and {{number}}, got {text!r}")
    return text


def _check_pattern(text: str) -> str:
    try:
        re.compile(text)
    except re.error as error:
        raise ValueError(f"is no regular expression ({error}), got {text!r}") from error
    return text


def _check_range(text: str) -> str:
    if not all(_BOUND.fullmatch(bound.strip()) for bound in text.split(",") if text):
        raise ValueError(f"is no range of versions such as '>=1.0,<3', got {text!r}")
    return text


def in_range(version: str, range_: str) -> bool:
    """Whether a firmware version lies within a range: its numbers are compared one after another, letters left out.

    >>> in_range("2.10", ">=1.0,<3"), in_range("A.3.0-17", ">=1.0,<3")
    (True, False)
    """
    found = _numbers(version)
    for bound in (part.strip() for part in range_.split(",") if range_):
        match = _BOUND.fullmatch(bound)
        assert match is not None, "checked when the dialect was read"
        wanted = _numbers(match[2])
        width = max(len(found), len(wanted))
        if not found or not _COMPARE[match[1]](_padded(found, width), _padded(wanted, width)):
            return False
    return True


def _numbers(version: str) -> list[int]:
    return [int(number) for number in re.findall(r"\d+", version)]


def _padded(numbers: list[int], width: int) -> list[int]:
    return numbers + [0] * (width - len(numbers))


_BOUND = re.compile(r"(>=|<=|==|<|>)\s*(\d+(?:\.\d+)*)")
_COMPARE: dict[str, Callable[[list[int], list[int]], bool]] = {
    ">=": operator.ge,
    "<=": operator.le,
    "==": operator.eq,
    "<": operator.lt,
    ">": operator.gt,
}

FirmwareRange = Annotated[StrictStr, AfterValidator(_check_range)]
Pattern = Annotated[StrictStr, AfterValidator(_check_pattern)]
NamedChannel = Annotated[StrictStr, AfterValidator(_check_name)]
Query = Annotated[StrictStr, _check(True)]
Command = Annotated[StrictStr, _check(False)]
ChannelQuery = Annotated[StrictStr, _check(True, "channel")]
ChannelCommand = Annotated[StrictStr, _check(False, "channel")]
VoltsCommand = Annotated[StrictStr, _check(False, "channel", "volts")]
AmperesCommand = Annotated[StrictStr, _check(False, "channel", "amperes")]
WattsCommand = Annotated[StrictStr, _check(False, "channel", "watts")]
SecondsCommand = Annotated[StrictStr, _check(False, "channel", "seconds")]
SlewCommand = Annotated[StrictStr, _check(False, "channel", "slew")]
RangeCommand = Annotated[StrictStr, _check(False, "channel", "range")]
SelectCommand = Annotated[StrictStr, _check(False, "range", "resolution", "word")]
IntegrateCommand = Annotated[StrictStr, _check(False, "cycles", "seconds", "word")]
CountCommand = Annotated[StrictStr, _check(False, "count")]
ChannelsCommand = Annotated[StrictStr, _check(False, "channels")]
ChannelsQuery = Annotated[StrictStr, _check(True, "first", "last")]
SerialCommand = Annotated[StrictStr, _check(False, "serial")]
CableCommand = Annotated[StrictStr, _check(False, "cable")]
