"""Where a person can touch a board with a probe."""

from __future__ import annotations

from collections import Counter

from batchtest.diagnosis.model import Spot
from batchtest.files.library import Setup


def spots_of(setup: Setup) -> dict[str, Spot]:
    """Nodes of board and nest that a person can touch, each once, against the minus that most rails share."""
    minus = _common_minus(setup)
    board, host = setup.board_circuit, setup.fixture_circuit
    taken = {f"board.{probe.node}" for name, probe in board.parts.probe.items() if name == minus}
    found = {}
    for place, circuit, prefix in (("board", board, ""), ("host", host, "host.")):
        for name, probe in circuit.parts.probe.items():
            node = f"{place}.{probe.node}"
            if node in taken or (place == "host" and probe.reach == "connector"):
                continue
            taken.add(node)
            legs = tuple(card.name for card in circuit.netlist.cards if probe.node in card.nodes)
            spot = Spot(name=f"{prefix}{name}", node=node, reach=probe.reach, minus=minus, parts=legs)
            found[spot.name] = spot
    return found


def _common_minus(setup: Setup) -> str:
    points = setup.fixture.points
    return Counter(points[rail].minus for rail in setup.limits.rails).most_common(1)[0][0]
