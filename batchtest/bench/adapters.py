"""Which connection an instrument needs: text for nearly all, and the code of an adapter where its wire is not text."""

from __future__ import annotations

from batchtest.bench.dialect import Dialect
from batchtest.bench.frames import FramePort
from batchtest.bench.port import Port


def port_for(dialect: Dialect) -> type[Port]:
    """The kind of connection that a dialect is spoken over."""
    return FramePort if dialect.adapter == "frames" else Port
