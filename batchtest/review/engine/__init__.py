"""What runs the questions: gathered files found and opened, the SQL worked through on this machine or on a cluster."""

from __future__ import annotations

from batchtest.review.engine.engine import Engine, open_engine
from batchtest.review.engine.sources import Notice, Sources, open_sources

__all__ = ["Engine", "Notice", "Sources", "open_engine", "open_sources"]
