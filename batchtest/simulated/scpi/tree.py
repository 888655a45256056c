"""The tree of headers: the command that one names, and the path that the next starts from (SCPI-99 vol. 1, 6.2)."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import product

from batchtest.simulated.scpi.errors import ScpiError
from batchtest.simulated.scpi.mnemonics import short_form
from batchtest.simulated.scpi.parameters import Parameter

#: What a handler may give back for a query; sequences of these are joined by commas.
Answer = str | bool | int | float

_NODE = re.compile(r"(\[)?:?([A-Z]+)\]?")


@dataclass(frozen=True, slots=True)
class Command:
    """What is called for a header, what it takes, and whether nothing may follow it in the same message.

    `required` parameters must be there, the others may be left out. An `indefinite` answer (arbitrary ASCII response
    data, IEEE 488.2, 8.7.11) must be the last of its message.
    """

    handler: Callable[..., object]
    parameters: tuple[Parameter, ...] = ()
    required: int = 0
    indefinite: bool = False


@dataclass(slots=True, eq=False)
class Node:
    """One mnemonic of the tree, or its root."""

    children: dict[str, Node] = field(default_factory=dict)
    command: Command | None = None
    query: Command | None = None


class Tree:
    """All headers of an instrument."""

    def __init__(self) -> None:
        self.root = Node()
        self._common: dict[str, Command] = {}

    def add(self, header: str, command: Command) -> None:
        """Add a header in long form and capitals, optional nodes in brackets.

        Examples of headers: "*RST", "MEASURE:VOLTAGE[:DC]?", "[SOURCE:]VOLTAGE".
        """
        if header.startswith("*"):
            self._common[header] = command
            return
        nodes = [(match[2], bool(match[1])) for match in _NODE.finditer(header)]
        for taken in product(*[(True, False) if optional else (True,) for _, optional in nodes]):
            words = [word for (word, _), take in zip(nodes, taken, strict=True) if take]
            leaf = self._leaf(words)
            if header.endswith("?"):
                leaf.query = command
            else:
                leaf.command = command

    def _leaf(self, words: list[str]) -> Node:
        node = self.root
        for word in words:
            child = node.children.setdefault(word, Node())
            node.children.setdefault(short_form(word), child)
            node = child
        return node

    def find(self, header: str, path: Node) -> tuple[Command, Node]:
        """Command of a header, and the path for the next header of the same message.

        A leading colon starts at the root; a common command leaves the path where it is (SCPI-99 volume 1, 6.2.4).

        Raises
        ------
        ScpiError : -113, where there is no such header.
        """
        name = header.upper()
        if name.startswith("*"):
            command = self._common.get(name)
            parent = path
        else:
            command, parent = self._walk(name, path)
        if command is None:
            raise ScpiError(-113, header[:80])
        return command, parent

    def _walk(self, name: str, path: Node) -> tuple[Command | None, Node]:
        node: Node | None = self.root if name.startswith(":") else path
        parent = path
        for word in name.removeprefix(":").removesuffix("?").split(":"):
            if node is None:
                return None, path
            parent, node = node, node.children.get(word)
        if node is None:
            return None, path
        return (node.query if name.endswith("?") else node.command), parent
