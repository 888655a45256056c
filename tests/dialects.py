"""Setups whose instruments speak other dialects, for tests and benchmarks."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from batchtest.files.library import Setup
from batchtest.nouns import Attempt, Line

#: The shipped dialects that simulated instruments speak, by role.
STYLES = {
    "meter": ("meter-confread", "meter-sensfunc", "meter-rate", "meter-resolution"),
    "load": ("load-chanlist", "load-modes", "load-integers", "load-frames"),
    "supply": ("supply-outp", "supply-named", "supply-setout", "supply-text"),
    "scanner": ("scanner-routclos", "scanner-words", "scanner-slots"),
}
#: Each style once, with others than its neighbours.
PAIRINGS = (
    ("meter-sensfunc", "load-modes", "supply-named", "scanner-words"),
    ("meter-rate", "load-integers", "supply-setout", "scanner-slots"),
    ("meter-resolution", "load-frames", "supply-text", "scanner-routclos"),
)


def in_styles(setup: Setup, *styles: str, **keys: dict[str, Any]) -> Setup:
    """A setup whose instruments speak these dialects; `keys` are other keys of a role's table."""
    bench = setup.bench
    for style in styles:
        role = style.partition("-")[0]
        bench = bench.model_copy(update={role: getattr(bench, role).model_copy(update={"dialect": style})})
    for role, changed in keys.items():
        bench = bench.model_copy(update={role: getattr(bench, role).model_copy(update=changed)})
    return replace(setup, bench=bench)


def verdicts(attempt: Attempt, lines: list[Line]) -> tuple[str, list[tuple[str, str]]]:
    """Outcome of an attempt, and the verdict of each line that was judged."""
    judged = [(line.measurement.name, line.judgement.verdict.value) for line in lines if line.judgement is not None]
    return attempt.outcome.value, judged
