"""A library of cables for machines: every number of the page and the terminal, in base units, not rounded."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from batchtest.cables.apart import APART
from batchtest.pages.cable_words import worn

if TYPE_CHECKING:
    from batchtest.cables.apart import Compared, Pair
    from batchtest.cables.damage import Damage
    from batchtest.cables.ids import Proposal
    from batchtest.cables.report import Cell, Report
    from batchtest.files.cable import CableFile


def as_json(report: Report) -> dict[str, Any]:
    """The whole report as what `json.dumps` takes; over range is `null`."""
    return {
        "needed_U": APART,
        "cells": [_cell(cell) for cell in report.cells],
        "pairs": [_pair(pair) for pair in report.pairs],
        "proposals": [_proposal(proposal) for proposal in report.proposals],
        "blind": [asdict(blind) for blind in report.blind],
        "cables": {name: _cable(cable) for name, cable in report.cables.items()},
    }


def _cell(cell: Cell) -> dict[str, Any]:
    return {
        "host": cell.host,
        "cable": cell.cable,
        "board": cell.board,
        "verdict": cell.verdict,
        "differences": [asdict(difference) for difference in cell.differences],
        **_damage(cell.damage),
    }


def _damage(damage: Damage) -> dict[str, Any]:
    """Without the names, which the cell has."""
    found = asdict(damage)
    return {name: found[name] for name in ("nearest", "stressed", "next", "astray", "unsolved")}


def _pair(pair: Pair) -> dict[str, Any]:
    return {
        "fixture": pair.fixture,
        "board": pair.board,
        "one": pair.one,
        "other": pair.other,
        "apart": pair.apart,
        "readings": [_compared(compared) for compared in pair.readings],
    }


def _compared(compared: Compared) -> dict[str, Any]:
    return asdict(compared)


def _proposal(proposal: Proposal) -> dict[str, Any]:
    distance = proposal.distance if math.isfinite(proposal.distance) else None
    return {"cable": proposal.cable, "ohms": float(proposal.ohms), "pins": proposal.pins, "distance": distance}


def _cable(cable: CableFile) -> dict[str, Any]:
    resistor, matings = cable.id_resistor, cable.matings
    return {
        "takes": cable.takes,
        "hosts": cable.hosts,
        "owner": cable.owner,
        "length_m": float(cable.length),
        "id_resistor": resistor
        and {"ohms": float(resistor.value), "tolerance": float(resistor.tolerance), "pins": resistor.pins},
        "matings": matings and {"rated": matings.rated, "used": matings.used},
        "worn": worn(cable),
        "wires": [{"board": wire.board, "host": wire.host, "colour": wire.colour} for wire in cable.wires],
    }
