"""The fields of dialects: each is documented, each that is documented is there, and each is needed by a shipped one."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from batchtest.bench.dialect import (
    FOLDER,
    Answer,
    Dialect,
    Errors,
    Function,
    HandlerDialect,
    Integration,
    LoadDialect,
    MeterDialect,
    Mode,
    Register,
    Replies,
    ScannerDialect,
    Setting,
    SlewSetting,
    SupplyDialect,
    Switch,
    load_dialect,
    shipped,
)
from batchtest.bench.questions import harmless, questions
from batchtest.files.fields import Table
from test_bench.test_dialect import KINDS

#: Section of the page -> what it documents.
SECTIONS: dict[str, type[Table]] = {
    "Every dialect": Dialect,
    "errors": Errors,
    "replies": Replies,
    "meter": MeterDialect,
    "function": Function,
    "integration": Integration,
    "load": LoadDialect,
    "mode": Mode,
    "supply": SupplyDialect,
    "scanner": ScannerDialect,
    "handler": HandlerDialect,
    "switch": Switch,
    "answer": Answer,
    "setting": SlewSetting,
    "register": Register,
}


def documented() -> dict[str, set[str]]:
    """Section -> fields, by the page."""
    parts = re.split(r"(?m)^## (.*)\n", (FOLDER / "README.md").read_text())[1:]
    rows = {
        title: re.findall(r"(?m)^\| `([a-z_]+)` \|", text) for title, text in zip(parts[::2], parts[1::2], strict=True)
    }
    for title, names in rows.items():
        assert len(set(names)) == len(names), title
    return {title: set(names) for title, names in rows.items()}


def fields_of(kind: type[Table]) -> set[str]:
    """Fields of its own: a role's are without those that every dialect has."""
    common = set(Dialect.model_fields) if issubclass(kind, Dialect) and kind is not Dialect else set()
    return set(kind.model_fields) - common


def test_every_field_is_documented_and_every_documented_field_exists() -> None:
    """Page and code say the same."""
    assert documented() == {title: fields_of(kind) for title, kind in SECTIONS.items()}


def tables_in(value: object) -> Iterator[Table]:
    """All tables of a dialect, itself included."""
    if isinstance(value, Table):
        yield value
        for name in type(value).model_fields:
            yield from tables_in(getattr(value, name))
    elif isinstance(value, tuple):
        for one in value:
            yield from tables_in(one)


#: What an instrument of its own has: no shipped dialect is for one maker's firmware, or for an odd queue.
OWN = {("Dialect", "identity"), ("Errors", "none"), ("Errors", "drain")}
OWN |= {("HandlerDialect", "closed_words"), ("HandlerDialect", "open_words")}


def test_no_field_is_there_for_nothing() -> None:
    """Each is written in some shipped dialect."""
    written: dict[str, set[str]] = {}
    for name in shipped():
        for table in tables_in(load_dialect(name, KINDS[name.partition("-")[0]])):
            for kind in type(table).__mro__:
                written.setdefault(kind.__name__, set()).update(table.model_fields_set)
    kinds = [*(set(SECTIONS.values()) - {SlewSetting}), Setting]
    never = {(kind.__name__, field) for kind in kinds for field in fields_of(kind) - written.get(kind.__name__, set())}
    assert never - OWN == set()


@pytest.mark.parametrize("name", shipped())
def test_what_is_asked_of_a_stranger_sets_nothing(name: str) -> None:
    """Queries alone, none of which measures by a command, chooses a channel or clears an event."""
    dialect = load_dialect(name, KINDS[name.partition("-")[0]])
    asked = [question.query for question in questions(dialect) if harmless(question.query)]
    assert asked
    registers = {one.query for one in getattr(dialect, "status", ()) if one.kind == "event"}
    assert not registers & set(asked)
    for query in asked:
        assert query.count("?") == 1
        assert ";" not in query
        assert not re.match(r":?(READ|INIT|FETC\?|VAL|MEAS\?)", query) or not isinstance(dialect, MeterDialect)


@pytest.mark.parametrize("name", shipped())
def test_a_dialect_is_named_by_style(name: str) -> None:
    """Its first lines say what kind of instrument it is for, and it has a probe or a read-back to be known by."""
    assert (FOLDER / f"{name}.toml").read_text().startswith("# A")
    assert any(harmless(one.query) for one in questions(load_dialect(name, KINDS[name.partition("-")[0]])))
