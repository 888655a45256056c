"""A circuit from its two files: `<name>.cir` and `<name>.parts.toml`, read and checked against each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from batchtest.errors import Fault, FileFaults, nearest
from batchtest.files.circuit import Card, CircuitFile, Netlist, Part, PartsFile
from batchtest.files.netlist import parse_netlist
from batchtest.files.read import Document, name_in, read_bytes, read_document

#: Card kind -> how such a part may fail.
MODES = {
    "R": ("open", "short"),
    "V": ("open",),
    "I": ("open",),
    "D": ("open", "short", "reversed"),
    "Q": ("open-c", "open-b", "open-e", "short-ce", "short-be", "short-bc"),
    "E": ("stuck-low", "stuck-high"),
}


def load_circuit(folder: Path, name: str, root: Path | None = None) -> CircuitFile:
    """Read `<folder>/<name>.cir` and `<folder>/<name>.parts.toml`.

    Parameters
    ----------
    folder : where the circuits are.
    name : file name without ending.
    root : folder from which faults name their files; the circuits' own where it is not given.

    Raises
    ------
    FileFaults : every fault of both files at once; where both can be read, also what does not fit between them.
    """
    root = root or folder
    faults: list[Fault] = []
    netlist = parts = None
    try:
        netlist = _read_netlist(folder / f"{name}.cir", root)
    except FileFaults as error:
        faults += error.faults
    try:
        parts = read_document(folder / f"{name}.parts.toml", root, PartsFile)
    except FileFaults as error:
        faults += error.faults
    if netlist and parts:
        faults += _misfits(name, netlist, name_in(root, folder / f"{name}.cir"), parts)
    if faults or netlist is None or parts is None:
        raise FileFaults(faults)
    return CircuitFile(name, netlist, parts.model)


def _read_netlist(path: Path, root: Path) -> Netlist:
    file = name_in(root, path)
    try:
        text = read_bytes(path, root).decode()
    except UnicodeDecodeError as error:
        raise FileFaults([Fault(file, 0, "", f"is not UTF-8 at byte {error.start}; save it as UTF-8")]) from error
    return parse_netlist(text, file)


def _misfits(name: str, netlist: Netlist, netlist_file: str, parts: Document[PartsFile]) -> Iterator[Fault]:
    """What does not fit between netlist and parts file."""
    if netlist.name != name.lower():
        yield Fault(netlist_file, 0, "", f".subckt is named {netlist.name!r}; name it {name!r} as its file")
    if parts.model.circuit != name:
        yield parts.fault(("circuit",), f"is {parts.model.circuit!r} in the file of {name!r}; write {name!r}")
    cards = {card.name: card for card in netlist.cards}
    for card in netlist.cards:
        if card.name not in parts.model.part:
            where = parts.file
            yield Fault(netlist_file, card.line, card.name, f"has no entry in {where}; add [part.{card.name}]")
    for part_name, part in parts.model.part.items():
        if part_name not in cards:
            cure = nearest(part_name, list(cards))
            yield parts.fault(("part", part_name), f"is no card of {netlist_file}; {cure}")
        else:
            yield from _part_misfits(parts, cards, cards[part_name], part)
    yield from _pin_misfits(netlist, parts)
    yield from _node_misfits(netlist, parts)


def _part_misfits(parts: Document[PartsFile], cards: Iterable[str], card: Card, part: Part) -> Iterator[Fault]:
    """Failure modes that such a card cannot have, and bridges to what is not there."""
    known = MODES[card.kind]
    for index, mode in enumerate(part.modes):
        if mode not in known:
            cure = nearest(mode, known)
            yield parts.fault(
                ("part", card.name, "modes", index), f"is {mode!r}, no way for {card.name} to fail; {cure}"
            )
    for index, bridge in enumerate(part.bridges):
        key = ("part", card.name, "bridges", index)
        if bridge.part not in cards:
            yield parts.fault(
                (*key, "part"), f"is {bridge.part!r}, which is no part; {nearest(bridge.part, list(cards))}"
            )
        if bridge.net not in card.nodes:
            yield parts.fault(
                (*key, "net"), f"is {bridge.net!r}, no net of {card.name}; {nearest(bridge.net, card.nodes)}"
            )


def _pin_misfits(netlist: Netlist, parts: Document[PartsFile]) -> Iterator[Fault]:
    pins = parts.model.connector.pins
    if pins != netlist.ports:
        ports = ", ".join(f'"{port}"' for port in netlist.ports)
        yield parts.fault(("connector", "pins"), f"are not the ports of the netlist in their order; write [{ports}]")


def _node_misfits(netlist: Netlist, parts: Document[PartsFile]) -> Iterator[Fault]:
    nodes = {*netlist.ports, *(node for card in netlist.cards for node in card.nodes)}
    for name, probe in parts.model.probe.items():
        if probe.node not in nodes:
            cure = nearest(probe.node, list(nodes))
            yield parts.fault(("probe", name, "node"), f"is {probe.node!r}, which is no node of the netlist; {cure}")
