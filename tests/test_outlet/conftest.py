"""Two load tests that many tests look at: the demo's outlet behind its resistor, and behind a fuse that is tripped."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from outlet_stands import OutletStand, demo_outlet, outlet_stand, planned

from batchtest.nouns import Attempt

PERMITTED_BY = "the caretaker, by letter of 2 March"


@pytest.fixture(scope="session")
def resistor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[OutletStand, Attempt]]:
    """The outlet behind its series resistor, tested once."""
    reports = tmp_path_factory.mktemp("resistor")
    with outlet_stand(reports, demo_outlet("cabinet-outlet"), planned("cabinet-outlet")) as stand:
        attempt, ending = stand.test()
        assert ending.error is None
        yield stand, attempt


@pytest.fixture(scope="session")
def fuse(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[OutletStand, Attempt]]:
    """The outlet behind a resettable fuse, tested once, with a trip test."""
    reports = tmp_path_factory.mktemp("fuse")
    procedure = planned("cabinet-outlet-fuse", PERMITTED_BY)
    with outlet_stand(reports, demo_outlet("cabinet-outlet-fuse"), procedure) as stand:
        attempt, ending = stand.test()
        assert ending.error is None
        yield stand, attempt
