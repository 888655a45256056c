"""Templates of commands as dialects write them, "CURR {amperes},(@{channel})": checked when read, filled in when sent.

A query has a question mark and a command has none; which placeholders a template may have depends on its key.
"""

from __future__ import annotations

import re
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


def _check_pattern(text: str) -> str:
    try:
        re.compile(text)
    except re.error as error:
        raise ValueError(f"is no regular expression ({error}), got {text!r}") from error
    return text


Pattern = Annotated[StrictStr, AfterValidator(_check_pattern)]
Query = Annotated[StrictStr, _check(True)]
Command = Annotated[StrictStr, _check(False)]
ChannelQuery = Annotated[StrictStr, _check(True, "channel")]
ChannelCommand = Annotated[StrictStr, _check(False, "channel")]
VoltsCommand = Annotated[StrictStr, _check(False, "channel", "volts")]
AmperesCommand = Annotated[StrictStr, _check(False, "channel", "amperes")]
WattsCommand = Annotated[StrictStr, _check(False, "channel", "watts")]
RangeCommand = Annotated[StrictStr, _check(False, "range")]
CyclesCommand = Annotated[StrictStr, _check(False, "cycles")]
CountCommand = Annotated[StrictStr, _check(False, "count")]
ChannelsCommand = Annotated[StrictStr, _check(False, "channels")]
SerialCommand = Annotated[StrictStr, _check(False, "serial")]
CableCommand = Annotated[StrictStr, _check(False, "cable")]
