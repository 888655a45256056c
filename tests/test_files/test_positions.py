"""Lines and columns of keys and values."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.files.positions import Key, Place, Repeat, find_positions, show_key

TEXT = (
    """\
title = "x"
"q k".b . c = 1
[rails.logic]
at = [  # a comment
    { load = "0 A", bounds = { lower = 1 } },

    { load = "1 A" },
]
text = \"\"\"
two lines\"\"\"; """.replace("; ", "\n")
    + """\
[[cables]]
wires.one = 1
[cables.plug]
"µ x" = "µ" # comment
[[cables]]
[[cables.cores]]
pin = 1
[[cables.cores]]
pin = { at = 2 }
"""
)


@pytest.mark.parametrize(
    ("key", "line"),
    [
        pytest.param(("title",), 1, id="top"),
        pytest.param(("q k", "b", "c"), 2, id="dotted-and-quoted"),
        pytest.param(("q k", "b"), 2, id="inside-a-dotted-key"),
        pytest.param(("rails",), 3, id="header-begun"),
        pytest.param(("rails", "logic"), 3, id="header"),
        pytest.param(("rails", "logic", "at"), 4, id="list"),
        pytest.param(("rails", "logic", "at", 0), 5, id="inline-table"),
        pytest.param(("rails", "logic", "at", 0, "bounds", "lower"), 5, id="inline-in-inline"),
        pytest.param(("rails", "logic", "at", 1, "load"), 7, id="after-a-comment-and-a-gap"),
        pytest.param(("rails", "logic", "text"), 9, id="long-text"),
        pytest.param(("cables", 0), 11, id="list-of-tables"),
        pytest.param(("cables", 0, "wires", "one"), 12, id="dotted-in-a-list-of-tables"),
        pytest.param(("cables", 0, "plug", "µ x"), 14, id="table-in-the-last-of-a-list"),
        pytest.param(("cables", 1), 15, id="second-of-a-list"),
        pytest.param(("cables", 1, "cores", 0, "pin"), 17, id="list-in-a-list"),
        pytest.param(("cables", 1, "cores", 1, "pin", "at"), 19, id="second-of-a-list-in-a-list"),
        pytest.param(("cables", 0, "plug", "missing"), 13, id="missing-key-is-at-its-table"),
        pytest.param(("rails", "logic", "at", 1, "upper"), 7, id="missing-key-is-at-its-inline-table"),
        pytest.param(("missing", "too"), 1, id="missing-table-is-at-the-top"),
        pytest.param((), 1, id="the-file"),
    ],
)
def test_a_key_has_its_line(key: Key, line: int) -> None:
    """Every way that TOML has to write a key gives the line where it stands."""
    assert find_positions(TEXT).line(key) == line


def test_columns_count_characters_not_bytes() -> None:
    """A value after a letter of two bytes stands where an editor shows it."""
    positions = find_positions(TEXT)
    assert positions.values["cables", 0, "plug", "µ x"] == Place(14, 9)
    assert positions.keys["q k", "b", "c"] == Place(2, 11)


def test_a_header_of_its_own_beats_one_in_passing() -> None:
    """`[a.b]` names a in passing; the fault of a missing key in a belongs at `[a]`."""
    positions = find_positions("[a.b]\nx = 1\n[a]\ny = 1\n")
    assert positions.line(("a", "missing")) == 3


@pytest.mark.parametrize(
    ("text", "repeats"),
    [
        pytest.param("a = 1\nb = 2\na = 3", [Repeat(("a",), Place(1, 1), Place(3, 1))], id="key"),
        pytest.param("[t]\n[u]\n[t]", [Repeat(("t",), Place(1, 2), Place(3, 2))], id="table"),
        pytest.param("x = { a = 1, a = 2 }", [Repeat(("x", "a"), Place(1, 7), Place(1, 14))], id="inline"),
        pytest.param("[t]\na = 1\n[t]\na = 2", [Repeat(("t",), Place(1, 2), Place(3, 2))], id="only-the-outer"),
        pytest.param("[[t]]\na = 1\n[[t]]\na = 2\n[t.u]\n[[t]]\n[t.u]", [], id="lists-of-tables"),
        pytest.param("a.b = 1\na.c = 2", [], id="dotted"),
    ],
)
def test_what_is_written_twice_is_known(text: str, repeats: list[Repeat]) -> None:
    """Both places of a repeated key are kept, so that a person can choose."""
    assert find_positions(text).outer_repeats() == repeats


@pytest.mark.parametrize(
    ("key", "shown"),
    [
        pytest.param(("rails", "logic", "at", 1, "lower"), "rails.logic.at[1].lower", id="plain"),
        pytest.param((0, "x"), "[0].x", id="list-first"),
        pytest.param(("a b", "", 'q"'), '"a b".""."q\\""', id="quoted"),
        pytest.param((), "", id="the-file"),
    ],
)
def test_a_key_is_shown_as_people_write_it(key: Key, shown: str) -> None:
    """Paths in messages can be searched for in the file."""
    assert show_key(key) == shown


NAMES = st.text('ab -é"\\.#[=\n', min_size=0, max_size=4)
VALUES: st.SearchStrategy[Any] = st.recursive(
    st.integers(0, 99) | st.booleans() | st.text('a"\\é#\n]', max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=12,
)


def _quote(text: str) -> str:
    """A text as a TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def _inline(value: Any) -> str:
    """A value as TOML on one line, but for lists, which take a line for each element and comments between."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return "[ # [\n" + "".join(f"  {_inline(element)}, # {{\n" for element in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_quote(name)} = {_inline(inner)}" for name, inner in value.items()) + "}"
    return _quote(value) if isinstance(value, str) else str(value)


def _document(table: dict[str, Any], header: tuple[str, ...] = ()) -> str:
    """A TOML document: tables under headers, lists of tables under double headers, the rest as keys."""
    plain, tables = "", ""
    for name, value in table.items():
        dotted = ".".join(map(_quote, (*header, name)))
        if isinstance(value, dict):
            tables += f"[{dotted}]\n" + _document(value, (*header, name))
        elif isinstance(value, list) and value and all(isinstance(element, dict) for element in value):
            for element in value:
                tables += f"[[ {dotted} ]] # ]]\n" + _document(element, (*header, name))
        else:
            plain += f"{_quote(name)} = {_inline(value)}\n"
    return plain + tables


def _leaves(value: Any, key: Key = ()) -> list[tuple[Key, Any]]:
    if isinstance(value, dict):
        return [leaf for name, inner in value.items() for leaf in _leaves(inner, (*key, name))]
    if isinstance(value, list):
        return [leaf for index, inner in enumerate(value) for leaf in _leaves(inner, (*key, index))]
    return [(key, value)]


@given(st.dictionaries(NAMES, VALUES, max_size=5))
def test_every_value_of_a_document_stands_where_it_is_said_to(table: dict[str, Any]) -> None:
    """What tomllib reads as the value of a key is written at the place that is given for it."""
    text = _document(table)
    lines = text.split("\n")
    positions = find_positions(text)
    for key, value in _leaves(tomllib.loads(text)):
        place = positions.values[key]
        assert lines[place.line - 1][place.column - 1 :].startswith(_inline(value))
        if isinstance(key[-1], str):
            at = positions.keys[key]
            assert lines[at.line - 1][at.column - 1 :].startswith(_quote(key[-1]))
    assert positions.outer_repeats() == []
