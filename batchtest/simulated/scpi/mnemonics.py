"""Long and short forms of mnemonics (SCPI-99 volume 1, 6.2.1)."""

from __future__ import annotations


def short_form(word: str) -> str:
    """First four letters of a word, or three where the fourth is a vowel; up to four letters unchanged.

    >>> short_form("VOLTAGE"), short_form("IMMEDIATE"), short_form("AUTO")
    ('VOLT', 'IMM', 'AUTO')
    """
    if len(word) <= 4:
        return word
    return word[:3] if word[3] in "AEIOU" else word[:4]


def spellings(word: str) -> frozenset[str]:
    """The two forms of a word that are legal, in upper case; nothing between them is."""
    return frozenset((word, short_form(word)))
