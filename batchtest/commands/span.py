"""A span of time as a person types it: two days or moments, both ends included."""

from __future__ import annotations

import re
from datetime import datetime, time

from batchtest.errors import SetupError

_MOMENT = re.compile(
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})"
    r"([Tt ](?P<minute>[0-9]{2}:[0-9]{2})(?P<second>:[0-9]{2}(\.[0-9]{1,6})?)?(?P<offset>[Zz]|[+-][0-9]{2}:[0-9]{2})?)?"
)
_EXAMPLES = "write a day such as 2026-11-03, or a time such as 2026-11-03T08:00 or 2026-11-03T08:00:00+01:00"


def span(first: str, last: str) -> tuple[datetime, datetime]:
    """The moments between which something lies; a day or minute that is named last counts to its end.

    What has no offset is local time.

    Raises
    ------
    SetupError : no such time, or the first is after the last.
    """
    since, until = _moment(first, end=False), _moment(last, end=True)
    if since > until:
        raise SetupError(f"--between {first!r} {last!r}: the first is after the last; write the earlier one first")
    return since, until


def _moment(text: str, *, end: bool) -> datetime:
    match = _MOMENT.fullmatch(text)
    if match is None:
        raise SetupError(f"--between {text!r} is no time; {_EXAMPLES}")
    try:
        found = datetime.fromisoformat(text.upper().replace(" ", "T"))
        if end and not match["minute"]:
            found = datetime.combine(found, time.max)
        elif end and not match["second"]:
            found = found.replace(second=59, microsecond=999_999)
        return found.astimezone()
    except (ValueError, OverflowError) as error:
        raise SetupError(f"--between {text!r}: {error}; {_EXAMPLES}") from error
