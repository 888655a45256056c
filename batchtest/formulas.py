"""Text that a spreadsheet would run as a formula: refused where people write it, made harmless where instruments do.

Many spreadsheets run a cell that begins with one of `STARTS`, quoted or not; where they part cells at semicolons,
tabs or line ends, one may also begin inside a text. Made harmless, such a beginning has an apostrophe before it, which
spreadsheets take for "this is text". That can be undone: of the apostrophes there, exactly one is taken away.
"""

from __future__ import annotations

import re

_SYMBOLS = "=+-@" + "＝＋－＠﹦﹢﹣﹫−"
#: What begins a formula, with the full-width and small forms that some input methods write.
STARTS = _SYMBOLS + "\t\r\n"
_AT_START, _INSIDE = rf"[ ']*[{re.escape(STARTS)}]", rf"[ ']*[{re.escape(_SYMBOLS)}]"
_HARMFUL = re.compile(rf"\A(?={_AT_START})|(?<=[;\t\r\n])(?={_INSIDE})")
_HARMLESS = re.compile(rf"\A'(?={_AT_START})|(?<=[;\t\r\n])'(?={_INSIDE})")
_RUN = re.compile(rf"\A *([{re.escape(STARTS)}])|[;\t\r\n] *([{re.escape(_SYMBOLS)}])")


def harmless(text: str) -> str:
    """A text that no spreadsheet runs, from which `original` makes the same text again.

    >>> harmless("+4.98E+00,+4.97E+00"), harmless("'=1"), harmless("see data sheet"), harmless("a;=1")
    ("'+4.98E+00,+4.97E+00", "''=1", 'see data sheet', "a;'=1")
    """
    return _HARMFUL.sub("'", text)


def original(text: str) -> str:
    """The text that was made `harmless`.

    >>> original("'+4.98E+00,+4.97E+00"), original("''=1"), original("'tis")
    ('+4.98E+00,+4.97E+00', "'=1", "'tis")
    """
    return _HARMLESS.sub("", text)


def formula_fault(text: str) -> str | None:
    """Why a text that a person wrote is refused, with the cure; `None` where no spreadsheet would run it.

    >>> formula_fault("-5 V rail of the data sheet")
    "has '-' where a spreadsheet begins a formula; begin with a letter or digit, got '-5 V rail of the data sheet'"
    """
    found = _RUN.search(text)
    if found is None:
        return None
    shown = text if len(text) <= 60 else f"{text[:57]}..."
    start = found[1] or found[2]
    return f"has {start!r} where a spreadsheet begins a formula; begin with a letter or digit, got {shown!r}"
