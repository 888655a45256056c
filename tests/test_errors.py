"""The tree of errors, and how faults of files and near names are told."""

from __future__ import annotations

import re

import pytest

from batchtest import errors
from batchtest.errors import Fault, FileFaults, SafetyTrip, StationError, nearest
from batchtest.nouns import Reading


def _drawn_tree() -> dict[str, str]:
    """The tree at the head of the module: class -> the class it hangs from."""
    parents: dict[str, str] = {}
    above: list[str] = []
    for indent, name in re.findall(r"^    ((?:\|  )*(?:\|- )?)([A-Z]\w+)", errors.__doc__ or "", re.MULTILINE):
        depth = len(indent) // 3
        above = [*above[:depth], name]
        if depth:
            parents[name] = above[depth - 1]
    return parents


def test_the_drawn_tree_is_the_tree() -> None:
    """What the module's head draws is what `except` will catch."""
    classes = [thing for thing in vars(errors).values() if isinstance(thing, type) and issubclass(thing, StationError)]
    assert _drawn_tree() == {cls.__name__: cls.__base__.__name__ for cls in classes if cls is not StationError}


@pytest.mark.parametrize(
    ("fault", "shown"),
    [
        (Fault("f.toml", 3, "a.b", "is wrong"), "f.toml: line 3: a.b: is wrong"),
        (Fault("f.toml", 0, "a.b", "is wrong"), "f.toml: a.b: is wrong"),
        (Fault("f.toml", 3, "", "is wrong"), "f.toml: line 3: is wrong"),
        (Fault("f.toml", 0, "", "is wrong"), "f.toml: is wrong"),
    ],
    ids=["whole", "no-line", "no-path", "only-the-file"],
)
def test_a_fault_reads_from_file_to_cure(fault: Fault, shown: str) -> None:
    """File, line, path and message stand in one line, each where it is known."""
    assert str(fault) == shown


def test_faults_come_in_the_order_of_file_and_line() -> None:
    """A person works through the files from top to bottom."""
    lines = [("b", 1), ("a", 10), ("a", 9)]
    faults = FileFaults([Fault(file, line, "", "is wrong") for file, line in lines])
    assert [(fault.file, fault.line) for fault in faults.faults] == [("a", 9), ("a", 10), ("b", 1)]
    assert str(faults) == "a: line 9: is wrong\na: line 10: is wrong\nb: line 1: is wrong"


@pytest.mark.parametrize(
    ("name", "known", "hint"),
    [
        pytest.param("ventt", ["vent", "mist"], "did you mean 'vent'?", id="near"),
        pytest.param("zzz", ["vent", "mist"], "known: mist, vent", id="far"),
        pytest.param("zzz", [], "there are none", id="none"),
    ],
)
def test_a_name_that_is_not_there_is_answered(name: str, known: list[str], hint: str) -> None:
    """The nearest name if there is one, else all of them."""
    assert nearest(name, known) == hint


def test_a_safety_trip_carries_what_was_measured() -> None:
    """The reading that ended an attempt is recorded like any other."""
    reading = Reading(value=5.7, unit="V")
    trip = SafetyTrip("logic: 5.7 V is above 5.6 V", reading=reading)
    assert (str(trip), trip.measurement, trip.reading) == ("logic: 5.7 V is above 5.6 V", None, reading)
