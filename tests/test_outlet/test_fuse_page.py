"""What the page of a tripped fuse says."""

from __future__ import annotations

import re

import pytest
from outlet_stands import OutletStand

from batchtest.nouns import Attempt
from batchtest.pages import write_attempt_page
from batchtest.pages.outlet import OutletPage, outlet_page
from batchtest.records.record import read_record
from batchtest.records.verify import verify


@pytest.fixture(scope="module")
def told(fuse: tuple[OutletStand, Attempt]) -> OutletPage:
    """What the page of the demo's fuse shows."""
    stand, attempt = fuse
    return outlet_page(read_record(stand.reports / attempt.record))


def test_it_says_why_the_fuse_was_tripped_alone_and_who_permitted_it(told: OutletPage):
    """The part that suffers most first, and the permission as it was given."""
    said = " ".join(told.trip)
    assert "permitted by the caretaker, by letter of 2 March" in said
    assert re.search(r"Refused in the host, where it would take RQC to 1\.\d\d times its rating", said)
    assert "alone, on the bench supply" in said


def test_it_says_whether_the_host_can_trip_the_fuse_at_all(told: OutletPage):
    """What it delivers into a short, against the trip current, and what a short takes past its rating."""
    assert re.search(r"can deliver 1\.\d\d A into a short, more than the fuse needs to trip", told.trip[0])
    assert "A short takes RQC to" in told.trip[0]


def test_it_says_how_long_it_held_and_when_it_tripped(told: OutletPage):
    """Hold, time to trip with its bounds, tripped current, and the current that it carries by its heat."""
    said = " ".join(told.trip)
    assert re.search(r"It held 191 mA for 600 s", said)
    assert re.search(r"It tripped after 3\.\d\d s ± \d+ ms at 1\.00 A", said)
    assert re.search(r"Tripped it let \d\d mA through", said)
    assert re.search(r"By its heat it carries 3\d\d mA in still air without tripping \(\d+ mA to \d+ mA\)", said)


def test_time_since_the_trip_stands_beside_every_resistance(told: OutletPage):
    """Before it, and after it with the time."""
    assert [what for what, _, _ in told.after] == ["before the trip", *["after it"] * 5]
    assert told.after[0][1] == ""
    assert all(since.endswith(" s") for _, since, _ in told.after[1:])


def test_resistance_is_drawn_on_the_way_to_rest_and_while_it_was_held(told: OutletPage):
    """One drawing for each."""
    assert len(told.resistance) == 2


def test_the_record_and_its_page_verify(fuse: tuple[OutletStand, Attempt]):
    """The page is rendered again from the record, and is the same."""
    stand, attempt = fuse
    page = write_attempt_page(stand.reports / attempt.record)
    assert page.is_file()
    assert verify(stand.reports).damage == ()
