"""A report of cables made by hand, with everything in it that page and terminal must tell."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from stations import ROOT

from batchtest.cables.apart import Compared, Pair
from batchtest.cables.damage import Cascade, Damage
from batchtest.cables.ids import Proposal
from batchtest.cables.report import Blind, Cell, Report
from batchtest.cables.stress import Stressed
from batchtest.cables.wiring import differences
from batchtest.files.library import Library, load_library

LIBRARY: Library = load_library(ROOT)
RACC = Stressed(
    part="host.RACC", quantity="power", unit="W", stress=4.501, rating=2.0, ratio=2.2505, state="no load, drives off",
    pins=(6,),
)  # fmt: skip
DS1 = Stressed(
    part="host.DS1", quantity="current", unit="A", stress=0.6565, rating=0.3, ratio=2.1883, state="full load", pins=(6,)
)
Q1 = Stressed(
    part="host.Q1", quantity="reverse base-emitter voltage", unit="V", stress=9.224, rating=5.0, ratio=1.8448,
    state="full load", pins=(),
)  # fmt: skip
BACKWARDS = "drive at board pin 1 pulls host pin 3, not 1: it runs backwards"
APART = Compared(
    point="spare", function="resistance", unit="ohm", range=1e5, current_A=1e-4, one=None, other=0.7001,
    by_instrument=3311.4, distance=3300.2,
)  # fmt: skip
ID = Compared(
    point="id", function="resistance", unit="ohm", range=1e4, current_A=1e-3, one=1000.0, other=2200.0,
    by_instrument=700.5, distance=42.96,
)  # fmt: skip
NEAR = Compared(
    point="drive-a-reversed", function="diode drop", unit="V", range=2.0, current_A=1e-3, one=0.7232, other=0.7245,
    by_instrument=2.04, distance=9.998,
)  # fmt: skip


def cell(cable: str, board: str, verdict: str, host: str = "cabinet", **changes: Any) -> Cell:
    """One combination; the right cable is the board's own."""
    damage = {
        "nearest": None, "stressed": (), "next": (), "astray": (), "unsolved": (),
        **changes,
    }  # fmt: skip
    cables = LIBRARY.cables
    differing = differences(cables[f"{board}-lead"], cables[cable]) if board in ("vent", "mist") else ()
    return Cell(host, cable, board, verdict, differing, Damage(host=host, cable=cable, board=board, **damage))


def pair(one: str, other: str, *readings: Compared, fixture: str = "vent-nest", board: str = "vent") -> Pair:
    """Two cables at a fixture."""
    return Pair(fixture, board, one, other, readings)


def report(**changes: Any) -> Report:
    """One combination burns, one runs backwards, one pair is not told apart, one fault is seen by nothing."""
    burned = (
        Cascade(after=("host.RACC",), stressed=(), astray=("host pin 6 (acc) is at 2.34 V, not 12.3 V",)),
        Cascade(after=("host.DS1",), stressed=(Q1,), astray=("board pin 5 (sg) is at 22.2 V, not 2.60 V",)),
        Cascade(after=("host.DS1", "host.Q1"), stressed=(), astray=("board pin 5 (sg) is at 22.2 V, not 2.60 V",)),
    )
    known = {
        "cells": (
            cell("long-lead", "vent", "harmless but wrong", astray=(BACKWARDS, "another thing")),
            cell("vent-lead", "vent", "fits"),
            cell("vent-lead", "mist", "harmless but wrong", astray=("board pin 6 (acc) is at 2.37 V, not 12.1 V",)),
            cell("mist-lead", "vent", "destroys", stressed=(RACC, DS1), next=burned),
            cell("mist-lead", "mist", "fits"),
            cell("long-lead", "mist", "harmless but wrong"),
        ),
        "pairs": (pair("vent-lead", "mist-lead", APART, ID), pair("vent-lead", "long-lead", NEAR)),
        "proposals": (Proposal("long-lead", Decimal(1300), (8, 7), 13.77),),
        "blind": (
            Blind(
                "vent-nest", "vent", "vent-lead", "WH and GN are swapped", BACKWARDS, "prove continuity at both ends"
            ),
            Blind("vent-nest", "vent", "vent-lead", "GY is cut", "", ""),
        ),
        "cables": dict(LIBRARY.cables),
        **changes,
    }
    return Report(**known)
