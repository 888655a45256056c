"""The table of generic fuse ratings, `fuses.toml` in this room, for questions of "what if"."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

from batchtest.files.outlet_parts import Fuse


@cache
def generic_fuses() -> dict[str, Fuse]:
    """All generic fuses by name, such as "1812-020", the smallest first; they share one derating table."""
    table = tomllib.loads(files("batchtest.files").joinpath("fuses.toml").read_text("utf-8"))
    ratings = table.pop("fuse")
    return {name: Fuse.model_validate(table | own) for name, own in ratings.items()}
