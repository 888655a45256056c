"""A page's own hash, inside the page: so that a byte changed in it shows, in whatever year and by whatever software.

It is no proof against somebody who computes it anew; that the page says what its record says is shown by rendering it
again.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

_NONE = "0" * 64
_SEAL = '<meta name="batchtest:sha256" content="{}">'
_FOUND = re.compile(r'<meta name="batchtest:sha256" content="([0-9a-f]{64})">')
_RECORD = re.compile(r'<meta name="batchtest:record" content="([0-9a-f]{64})">')
_SOFTWARE = re.compile(r'<meta name="generator" content="([^"<>]*)">')
#: Where a page keeps its seal: within its first letters.
_HEAD = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """What a page says of itself: the hash of its record (empty: of none), its software, and whether it is unchanged.

    `whole` is `None` where the page carries no seal.
    """

    record: str
    software: str
    whole: bool | None


def seal_tags(record: str, software: str) -> str:
    """The elements of a page's head that `sealed` fills in.

    Parameters
    ----------
    record : hash of the one record that the page shows; empty where it shows many, or none.
    """
    tags = [f'<meta name="generator" content="{software}">', _SEAL.format(_NONE)]
    return "\n".join(tags + ([f'<meta name="batchtest:record" content="{record}">'] if record else []))


def sealed(page: str) -> str:
    """A page with its own hash in it: SHA-256 of the page with noughts in that place."""
    return page.replace(_SEAL.format(_NONE), _SEAL.format(hashlib.sha256(page.encode()).hexdigest()), 1)


def read_seal(page: bytes) -> Seal:
    """What a page says of itself, and whether that is so."""
    start = page[:_HEAD].decode("utf-8", "replace")
    record, software, found = _RECORD.search(start), _SOFTWARE.search(start), _FOUND.search(start)
    whole = None
    if found is not None:
        tag = found[0].encode()
        whole = hashlib.sha256(page.replace(tag, _SEAL.format(_NONE).encode(), 1)).hexdigest() == found[1]
    return Seal(record=record[1] if record else "", software=software[1] if software else "", whole=whole)
