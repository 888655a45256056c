"""The table of generic fuse ratings, `fuses.toml` in this room, for questions of "what if"."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from batchtest.capacity.model import Derating, FuseData
from batchtest.errors import SetupError, nearest
from batchtest.quantities import parse


def generic_fuse(name: str) -> FuseData:
    """A generic fuse by its name, such as "1812-020".

    Raises
    ------
    SetupError : no such fuse; says which are there.
    """
    table = generic_fuses()
    if name not in table:
        raise SetupError(f"no generic fuse {name!r}; {nearest(name, list(table))}")
    return table[name]


@cache
def generic_fuses() -> dict[str, FuseData]:
    """All generic fuses by name, the smallest first."""
    table = tomllib.loads(files("batchtest.capacity").joinpath("fuses.toml").read_text("utf-8"))
    knots = tuple((_number(knot["at"], "C"), _number(knot["share"], "%")) for knot in table["derating"])
    at_C = _number(table["at"], "C")
    return {name: _fuse(entry, at_C, Derating(knots=knots)) for name, entry in table["fuse"].items()}


def _fuse(entry: dict[str, Any], at_C: float, derating: Derating) -> FuseData:
    return FuseData(
        hold_A=_number(entry["hold"], "A"),
        trip_A=_number(entry["trip"], "A"),
        at_C=at_C,
        r_min_ohm=_number(entry["r_min"], "ohm"),
        r1_max_ohm=_number(entry["r1_max"], "ohm"),
        v_max_V=_number(entry["v_max"], "V"),
        i_max_A=_number(entry["i_max"], "A"),
        trip_s=_number(entry["time_to_trip"]["within"], "s"),
        trip_at_A=_number(entry["time_to_trip"]["current"], "A"),
        dissipation_W=_number(entry["dissipation"], "W"),
        derating=derating,
    )


def _number(text: str, unit: str) -> float:
    return float(parse(text, unit))
