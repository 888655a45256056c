"""Certificates for the tests, and how they are looked at: text, fonts and pixels of a PDF, by readers not ours."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pypdf
import pypdfium2

from batchtest.pages.certificate import Sheet, certificate
from batchtest.records.record import Record

SHEET = Sheet(
    workshop="Glasshouse Controls, 12 Vine Lane",
    number=3,
    printed=datetime(2026, 4, 1, 10, 30, tzinfo=UTC),
    head="ab" * 32,
)


def printed(record: Record, **changes: Any) -> bytes:
    """The PDF of a record."""
    return certificate(record, replace(SHEET, **changes))


def texts(data: bytes) -> list[str]:
    """What each page says, spaces and line ends made one."""
    with pypdfium2.PdfDocument(data) as document:
        return [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]


def pixels(data: bytes, page: int = 0) -> Any:
    """A page as an array of red, green and blue, 144 pixels to the inch."""
    with pypdfium2.PdfDocument(data) as document:
        return document[page].render(scale=2).to_numpy()


def reader(data: bytes) -> pypdf.PdfReader:
    """The PDF's own objects."""
    return pypdf.PdfReader(io.BytesIO(data))
