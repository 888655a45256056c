"""The shapes and styles of verdicts in a terminal; the word always stands beside the shape."""

from __future__ import annotations

_SHAPES = {"pass": "✔", "fail": "✘", "doubtful": "◐", "unread": "○", "stopped": "■", "refused": "⊘"}
_ASCII = {"pass": "+", "fail": "x", "doubtful": "?", "unread": "-", "stopped": "#", "refused": "/"}

#: Blue against orange, since many eyes cannot tell red from green; red is kept for danger.
STYLES = {
    "pass": "bold #ffffff on #0b4f93",
    "fail": "bold #000000 on #ff9d33",
    "doubtful": "#000000 on #ffffff",
    "unread": "reverse",
    "stopped": "#000000 on #b9c2ca",
    "refused": "bold #ffffff on #3a434c",
}
#: For what may hurt, and for nothing else.
DANGER = "bold #ffffff on #b3001b"
#: For what does not have to pass, as loud as a danger and unlike any verdict; bars of tape stand beside it.
WAIVED = "bold #000000 on #ffe14d"
TAPE = "////"
_QUIET = {
    "pass": "",
    "fail": "bold #ff9d33",
    "doubtful": "bold",
    "unread": "bold",
    "stopped": "bold",
    "refused": "bold",
}


def marked(word: str, *, ascii_only: bool) -> tuple[str, str]:
    """Shape and word of a verdict or outcome, and its style within a line.

    Raises
    ------
    KeyError : there is no such verdict or outcome.
    """
    return f"{(_ASCII if ascii_only else _SHAPES)[word]} {word}", _QUIET[word]
