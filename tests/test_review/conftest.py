"""Generated readings, and an engine that has them; made once."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from batchtest.review.engine import Engine, Sources, open_engine
from batchtest.review.questions import Selection

from .generated import Line, scenario, sources, write


@pytest.fixture(scope="session")
def attempts() -> list[list[Line]]:
    """The attempts of the scenario, each as its lines."""
    return list(scenario())


@pytest.fixture(scope="session")
def gathered(attempts: list[list[Line]], tmp_path_factory: pytest.TempPathFactory) -> Sources:
    """The same in two gathered files."""
    folder = tmp_path_factory.mktemp("gathered")
    halves = attempts[::2], attempts[1::2]
    lines = [[line for attempt in half for line in attempt] for half in halves]
    return sources(*(write(folder / f"{place}.parquet", half) for place, half in enumerate(lines)))


@pytest.fixture(scope="module")
def engine(gathered: Sources) -> Iterator[Engine]:
    """DuckDB on it, nothing left out."""
    with open_engine(gathered, Selection()) as found:
        yield found
