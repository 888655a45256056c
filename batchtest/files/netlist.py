"""Read a netlist in the common SPICE card syntax: one `.subckt` a file, cards R V I D Q E, `.model` cards D NPN PNP.

Upper and lower case are the same, as in SPICE: parts and models come back in upper case, nodes in lower case. A line
that begins with `*` is a comment, and so is what follows `;` or ` $`; a line that begins with `+` goes on with the one
before.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from batchtest.errors import Fault, FileFaults, nearest
from batchtest.files.circuit import Card, Model, Netlist

#: SPICE's scale suffixes; "m" is milli, "meg" mega.
SUFFIXES = {
    "": 1.0,
    "f": 1e-15,
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "m": 1e-3,
    "k": 1e3,
    "meg": 1e6,
    "g": 1e9,
    "t": 1e12,
}
_NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[+-]?[0-9]{1,3})?)([a-z]*)", re.IGNORECASE | re.ASCII)
_PART = re.compile(r"[A-Z][A-Z0-9_]*", re.ASCII)
_NODE = re.compile(r"[a-z0-9_+-]+", re.ASCII)

#: Card kind -> number of nodes and an example.
_CARDS = {
    "R": (2, "R1 a b 1.2k"),
    "V": (2, "V1 a b DC 24"),
    "I": (2, "I1 a b DC 1m"),
    "D": (2, "D1 anode cathode MODEL"),
    "Q": (3, "Q1 collector base emitter MODEL"),
    "E": (4, "E1 plus minus in+ in- 0.5"),
}
_DIODE = ("IS", "N", "RS", "BV", "IBV")
_TRANSISTOR = ("IS", "BF", "BR", "NF", "NR", "VAF", "RB", "RC", "RE")
_MODELS = {"D": _DIODE, "NPN": _TRANSISTOR, "PNP": _TRANSISTOR}
_ALIASES = {"VA": "VAF"}
_MAY_BE_ZERO = {"RS", "RB", "RC", "RE"}


def spice_number(text: str) -> float:
    """Read a number with a SPICE suffix.

    Raises
    ------
    ValueError : says what is wrong and what to write instead.

    Examples
    --------
    >>> spice_number("1.44k"), spice_number("10Meg"), spice_number("5m")
    (1440.0, 10000000.0, 0.005)
    """
    match = _NUMBER.fullmatch(text)
    scale = SUFFIXES.get(match[2].lower()) if match else None
    if match is None or scale is None:
        raise ValueError(f"is not a number such as 1.44k (suffixes f p n u m k meg g t, no unit), got {text!r}")
    value = float(f"{match[1]}") * scale
    if not math.isfinite(value):
        raise ValueError(f"is out of range, got {text!r}")
    return value


def parse_netlist(text: str, file: str) -> Netlist:
    """Read one `.subckt`; `file` is the name that faults are reported under.

    Raises
    ------
    FileFaults : every fault of the text at once, each with its line and cure.
    """
    reader = _Reader(file)
    for line, words in _statements(text, reader):
        reader.take(line, words)
    return reader.netlist(last_line=text.count("\n") + 1)


def _statements(text: str, reader: _Reader) -> Iterator[tuple[int, list[str]]]:
    """Words of each statement with the line it begins on; comments are gone and continuations joined."""
    held: tuple[int, list[str]] | None = None
    for number, raw in enumerate(text.split("\n"), start=1):
        line = re.split(r";|(?:^|\s)\$", raw, maxsplit=1)[0].strip()
        if not line or line.startswith("*"):
            continue
        if line.startswith("+"):
            if held is None:
                reader.fault(number, "", "goes on with '+' where no card came before; put the card on the line above")
            else:
                held[1].extend(line[1:].split())
            continue
        if held:
            yield held
        held = (number, line.split())
    if held:
        yield held


@dataclass
class _Reader:
    """What was read so far, and what was wrong with it."""

    file: str
    faults: list[Fault] = field(default_factory=list)
    name: str | None = None
    ports: tuple[str, ...] = ()
    opened: int = 0
    closed: bool = False
    cards: dict[str, Card] = field(default_factory=dict)
    models: dict[str, Model] = field(default_factory=dict)
    model_lines: dict[str, int] = field(default_factory=dict)

    def fault(self, line: int, path: str, message: str) -> None:
        """Keep a fault and go on."""
        self.faults.append(Fault(self.file, line, path, message))

    def take(self, line: int, words: list[str]) -> None:
        """Read one statement."""
        command = words[0].lower()
        if command == ".subckt":
            self._subckt(line, words)
        elif command == ".ends":
            self._ends(line)
        elif command == ".model":
            self._model(line, words)
        elif command == ".end":
            pass
        elif command.startswith("."):
            cure = nearest(command, [".subckt", ".ends", ".model"])
            self.fault(line, "", f"{words[0]!r} is no command that is known here; {cure}")
        else:
            self._card(line, [words[0].upper(), *words[1:]])

    def netlist(self, *, last_line: int) -> Netlist:
        """The whole, checked."""
        if self.name is None:
            self.fault(1, "", "has no .subckt; begin with '.subckt NAME port1 port2 ...' and end with '.ends'")
        elif not self.closed:
            self.fault(last_line, "", f".subckt {self.name} is not closed; end it with '.ends'")
        for card in self.cards.values():
            self._check_model(card)
        if self.faults:
            raise FileFaults(self.faults)
        return Netlist(self.name or "", self.ports, tuple(self.cards.values()), dict(self.models))

    def _subckt(self, line: int, words: list[str]) -> None:
        if self.name is not None:
            self.fault(
                line, "", f"is a second .subckt (the first is on line {self.opened}); put it in a file of its own"
            )
            return
        if len(words) < 3:
            self.fault(line, "", "needs a name and its ports, such as '.subckt vent p24 n0'")
        self.name = words[1].lower() if len(words) > 1 else ""
        self.opened = line
        self.ports = tuple(word.lower() for word in words[2:])
        for index, port in enumerate(self.ports):
            self._check_node(line, ".subckt", port)
            if port in self.ports[:index]:
                self.fault(line, ".subckt", f"names the port {port!r} twice; each pin needs a name of its own")

    def _ends(self, line: int) -> None:
        if self.name is None or self.closed:
            self.fault(line, "", ".ends closes no .subckt; take it out")
        self.closed = True

    def _card(self, line: int, words: list[str]) -> None:
        name = words[0]
        if name[0] not in _CARDS or not _PART.fullmatch(name):
            self.fault(line, name, f"is no card that is known here; known: {' '.join(_CARDS)} and a name, such as R12")
            return
        if self.name is None or self.closed:
            self.fault(line, name, "stands outside the .subckt; move it between .subckt and .ends")
        if name in self.cards:
            self.fault(line, name, f"is there twice (first on line {self.cards[name].line}); give it a name of its own")
            return
        count, example = _CARDS[name[0]]
        if name[0] in "VI" and len(words) == 5 and words[3].lower() == "dc":
            words = [*words[:3], words[4]]
        if len(words) != count + 2:
            self.fault(line, name, f"needs {count} nodes and one more word, such as '{example}', got {len(words) - 1}")
            return
        nodes = tuple(word.lower() for word in words[1:-1])
        for node in nodes:
            self._check_node(line, name, node)
        self.cards[name] = self._filled(line, name, nodes, words[-1])

    def _filled(self, line: int, name: str, nodes: tuple[str, ...], last: str) -> Card:
        """A card with its last word read: a model's name, or a number."""
        if name[0] in "DQ":
            return Card(name, name[0], nodes, 0.0, last.upper(), line)
        value = self._number(line, name, last)
        if name[0] == "R" and value is not None and value <= 0:
            self.fault(line, name, f"has the resistance {last}; write one above zero, such as 0.01")
        return Card(name, name[0], nodes, value or 0.0, None, line)

    def _model(self, line: int, words: list[str]) -> None:
        text = re.sub(r"\s*=\s*", "=", re.sub(r"[(),]", " ", " ".join(words[1:])))
        name, kind, *assignments = [*text.upper().split(), "", ""][: max(2, len(text.split()))]
        if kind not in _MODELS:
            self.fault(line, name, f"has the model kind {kind!r}; {nearest(kind, list(_MODELS))}")
        if name in self.models:
            self.fault(line, name, f"is there twice (first on line {self.model_lines[name]}); keep one")
        parameters: dict[str, float] = {}
        for assignment in assignments:
            self._parameter(line, (name, kind), assignment, parameters)
        self.models[name] = Model(name, kind, parameters)
        self.model_lines[name] = line

    def _parameter(self, line: int, model: tuple[str, str], assignment: str, into: dict[str, float]) -> None:
        written, equals, number = assignment.partition("=")
        path, known = f"{model[0]}.{written}", _MODELS.get(model[1])
        key = _ALIASES.get(written, written)
        if not equals:
            self.fault(line, model[0], f"has {assignment!r} where a parameter should be; write it such as IS=1e-14")
            return
        if known is None:
            return
        if key not in known:
            self.fault(line, path, f"is no parameter of the model {model[1]}; {nearest(key, known)}")
            return
        if key in into:
            self.fault(line, path, "is given twice; keep one")
        value = self._number(line, path, number)
        if value is None:
            return
        if value < 0 or (value == 0 and key not in _MAY_BE_ZERO):
            self.fault(line, path, f"is {number}; it must be above zero")
        into[key] = value

    def _number(self, line: int, path: str, text: str) -> float | None:
        try:
            return spice_number(text)
        except ValueError as error:
            self.fault(line, path, str(error))
            return None

    def _check_node(self, line: int, path: str, node: str) -> None:
        if node == "0":
            self.fault(line, path, "uses the node '0', which is no net of a board; name the net, such as n0")
        elif not _NODE.fullmatch(node):
            self.fault(line, path, f"uses the node {node!r}; write letters, digits, '_', '+' and '-'")

    def _check_model(self, card: Card) -> None:
        if card.model is None:
            return
        model = self.models.get(card.model)
        kinds = ("D",) if card.kind == "D" else ("NPN", "PNP")
        if model is None:
            cure = nearest(card.model, list(self.models))
            self.fault(card.line, card.name, f"uses the model {card.model!r}, which is not defined; {cure}")
        elif model.kind in _MODELS and model.kind not in kinds:
            self.fault(
                card.line, card.name, f"uses {card.model}, a model of kind {model.kind}; it needs {' or '.join(kinds)}"
            )
