"""Where every key and value of a TOML text stands, so that a fault can name its line."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

#: The way to a value: names of tables and keys, and places in lists counted from 0.
Key = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True)
class Place:
    """Line and column of the first character, both counted from 1."""

    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Repeat:
    """A key or table that is written twice, which TOML does not allow."""

    key: Key
    first: Place
    again: Place


@dataclass(frozen=True, slots=True)
class Positions:
    """Places of keys (the last name of a dotted key or header) and of values (a table's is its header or brace)."""

    keys: dict[Key, Place] = field(default_factory=dict)
    values: dict[Key, Place] = field(default_factory=dict)
    repeats: list[Repeat] = field(default_factory=list)

    def line(self, key: Key) -> int:
        """Line of a key, or of the nearest table around it where the key itself does not stand in the file."""
        while key:
            place = self.keys.get(key) or self.values.get(key)
            if place is not None:
                return place.line
            key = key[:-1]
        return 1

    def outer_repeats(self) -> list[Repeat]:
        """The keys and tables written twice, without those inside a table that is itself written twice."""
        keys = {repeat.key for repeat in self.repeats}
        return [
            repeat for repeat in self.repeats if not any(repeat.key[:end] in keys for end in range(len(repeat.key)))
        ]


def find_positions(text: str) -> Positions:
    """Find the places of all keys and values; a text that is no valid TOML gives those that could be made out.

    >>> positions = find_positions('[rails.logic]\\nat = [\\n  { load = "0 A" },\\n]')
    >>> positions.line(("rails", "logic", "at", 0, "load"))
    3
    """
    walk = _Walk(text)
    walk.document()
    return walk.found


def show_key(key: Key) -> str:
    """Write a key as people know it.

    >>> show_key(("rails", "logic", "at", 1, "lower"))
    'rails.logic.at[1].lower'
    """
    parts = (f"[{part}]" if isinstance(part, int) else f".{_quoted(part)}" for part in key)
    return "".join(parts).removeprefix(".")


def _quoted(name: str) -> str:
    return name if _BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)


class _Walk:
    """One pass over the syntax tree of a text."""

    def __init__(self, text: str) -> None:
        self.found = Positions()
        self._source = text.encode()
        self._lengths: dict[Key, int] = {}
        self._defined: dict[Key, Place] = {}

    def document(self) -> None:
        """Visit the keys at the top, then each table under its header."""
        tree = Parser(Language(tree_sitter_toml.language())).parse(self._source)
        for node in tree.root_node.named_children:
            if node.type == "pair":
                self._pair(node, ())
            elif node.type in ("table", "table_array_element"):
                self._table(node)

    def _table(self, node: Node) -> None:
        header, *pairs = _parts(node)
        names = list(_names(header))
        key = (*self._enter(names[:-1]), names[-1][0])
        place = self._place(names[-1][1])
        if node.type == "table":
            key = self._into_last(key)
            self._define(key, place)
        else:
            self.found.keys.setdefault(key, place)
            self._lengths[key] = self._lengths.get(key, 0) + 1
            key = (*key, self._lengths[key] - 1)
        self.found.values.setdefault(key, self._place(node))
        for pair in pairs:
            self._pair(pair, key)

    def _pair(self, node: Node, parent: Key) -> None:
        parts = _parts(node)
        if node.type != "pair" or len(parts) < 2:
            return
        key = parent
        for name, name_node in _names(parts[0]):
            key = (*key, name)
            self.found.keys.setdefault(key, self._place(name_node))
        self._define(key, self._place(name_node))
        self._value(parts[-1], key)

    def _value(self, node: Node, key: Key) -> None:
        self.found.values.setdefault(key, self._place(node))
        if node.type == "array":
            for index, element in enumerate(_parts(node)):
                self._value(element, (*key, index))
        elif node.type == "inline_table":
            for pair in _parts(node):
                self._pair(pair, key)

    def _define(self, key: Key, place: Place) -> None:
        """Note that a key got its value, or a table its header, here."""
        first = self._defined.setdefault(key, place)
        self.found.keys[key] = first
        if first != place:
            self.found.repeats.append(Repeat(key, first, place))

    def _enter(self, names: list[tuple[str, Node]]) -> Key:
        """Follow a header's names; one that is a list of tables leads into its last table."""
        key: Key = ()
        for name, node in names:
            self.found.keys.setdefault((*key, name), self._place(node))
            key = self._into_last((*key, name))
        return key

    def _into_last(self, key: Key) -> Key:
        length = self._lengths.get(key, 0)
        return (*key, length - 1) if length else key

    def _place(self, node: Node) -> Place:
        row, column = node.start_point
        line_start = node.start_byte - column
        return Place(row + 1, len(self._source[line_start : node.start_byte].decode()) + 1)


def _parts(node: Node) -> list[Node]:
    return [child for child in node.named_children if child.type != "comment"]


def _names(node: Node) -> Iterator[tuple[str, Node]]:
    """Split a key into its names; quotes and escapes are read as TOML reads them."""
    if node.type == "dotted_key":
        for child in node.named_children:
            yield from _names(child)
    else:
        written = (node.text or b"").decode()
        try:
            yield tomllib.loads(f"{written} = 0").popitem()[0], node
        except tomllib.TOMLDecodeError:
            yield written, node
