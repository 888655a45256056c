"""Names of people as they were typed: what is no name, and whether two names are one person."""

from __future__ import annotations

import unicodedata

#: The longest name of a person, in letters, so that two fit on a line of a screen.
MOST_NAME = 60


def tidy(text: str) -> str:
    """A text with its runs of spaces made one."""
    return " ".join(text.split())


def letters(name: str) -> str:
    """What is compared of a name: no case, no spaces, no marks, and nothing that cannot be seen.

    >>> letters("K. Ahn") == letters("k ahn ")
    True
    """
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    return "".join(letter for letter in folded if unicodedata.category(letter)[0] not in "ZPC")


def name_fault(name: str) -> str | None:
    """Why a text is no name of a person, with the cure; `None` where it is one."""
    if letters(name) and len(name) <= MOST_NAME and name.isprintable():
        return None
    return f"{name!r} is no name of a person; write 1 to {MOST_NAME} letters on one line"
