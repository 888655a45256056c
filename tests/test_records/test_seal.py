"""A page's own hash: there, right, and wrong after any change."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.records.seal import Seal, read_seal, seal_tags, sealed

RECORD = "ab" * 32
PAGE = sealed(f"<html><head>{seal_tags(RECORD, 'batchtest 1')}</head><body>é</body></html>").encode()


def test_a_sealed_page_says_what_it_is_of():
    """Its record, its software, and that it is whole."""
    assert read_seal(PAGE) == Seal(record=RECORD, software="batchtest 1", whole=True)


def test_a_page_of_many_records_names_none():
    """A batch's page is sealed like any other."""
    page = sealed(seal_tags("", "batchtest 1"))
    assert read_seal(page.encode()) == Seal(record="", software="batchtest 1", whole=True)


@given(at=st.integers(0, len(PAGE) - 1), byte=st.integers(0, 255))
def test_any_byte_counts(at, byte):
    """A changed byte breaks the seal, or takes it away."""
    changed = PAGE[:at] + bytes([byte]) + PAGE[at + 1 :]
    assert (read_seal(changed).whole is True) == (changed == PAGE)


@pytest.mark.parametrize("page", [b"", b"<html>", b"\xff"], ids=["empty", "plain", "no-text"])
def test_a_page_without_a_seal_is_told_from_a_broken_one(page):
    """An earlier version's page has none."""
    assert read_seal(page).whole is None
