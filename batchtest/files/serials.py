"""What a serial looks like: a pattern strict enough that whatever it matches can be a file name."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator

_SPAN = "[A-Z]-[A-Z]|[a-z]-[a-z]|[0-9]-[0-9]"
_COUNT = r"\{[0-9]+(?:,[0-9]+)?\}|[?+*]"
#: One piece of a pattern: a safe character, a choice of safe characters, a group, or a count.
_PIECE = re.compile(rf"[A-Za-z0-9_-]|\\[._-]|\[(?:{_SPAN}|[A-Za-z0-9._])+-?\]|\((?:\?:)?|[)|]|{_COUNT}")
#: A beginning that is always there and is a letter or digit.
_START = re.compile(
    rf"(?:[A-Za-z0-9]|\[(?:{_SPAN}|[A-Za-z0-9])+\]|\((?:\?:)?[A-Za-z0-9]+(?:\|[A-Za-z0-9]+)*\))(?![?*]|\{{0)"
)
_CURE = "write such as VN-[0-9]{4}"


def serial_pattern_faults(pattern: str) -> Iterator[str]:
    """Say what is wrong with a pattern of serials: it does not compile, or it may match what is no safe file name.

    Allowed are letters, digits, "_", "-", an escaped dot, choices of these in [ ], groups and counts; the first
    character must be a letter or digit that is always there.
    """
    try:
        with warnings.catch_warnings(action="ignore", category=FutureWarning):
            re.compile(pattern)
    except (re.error, OverflowError, RecursionError) as error:
        yield f"is no pattern ({error}); {_CURE}"
        return
    position = 0
    while position < len(pattern):
        piece = _PIECE.match(pattern, position)
        if piece is None:
            yield f"could match what is no safe file name, by {pattern[position:]!r}; {_CURE}"
            return
        position = piece.end()
    if not _START.match(pattern) or _splits_at_top(pattern):
        yield f"must begin with a letter or digit that is always there; {_CURE}"


def _splits_at_top(pattern: str) -> bool:
    """Whether a | stands outside of all groups, so that the beginning is not the only one."""
    without_groups = pattern
    while (smaller := re.sub(r"\([^()]*\)", "", without_groups)) != without_groups:
        without_groups = smaller
    return "|" in without_groups
