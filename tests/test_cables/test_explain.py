"""What explains readings that are not the right cable's: another cable, a fault inside it, or a bad board."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from test_circuits.demo import circuit, straight_cable

from batchtest.cables import ColdBench, Explanation, Harness, PinReading, Suspects, sign
from batchtest.cables.explain import UNKNOWN, agrees
from batchtest.cables.readings import ColdCircuit, Expected
from batchtest.circuits import join, with_fault
from batchtest.errors import NoOperatingPoint
from batchtest.files.cable import CableFile
from batchtest.files.circuit import Part
from batchtest.nouns import Limit, Reading
from test_cables.bench_views import (
    bare_fixture,
    lies_inside,
    open_end,
    other_board,
    read_with,
    setup,
    suspects,
    taken,
    vent_faults,
    with_cable,
)

#: The board's parts that may have failed here; others are good, which saves solving them all.
MAY_FAIL = ("DREV", "RVN", "ROUT", "DZDA", "RPUA", "R5B")


NO_VALUE = Reading(value=None, unit="ohm")
OVER = Reading(value=None, unit="ohm", beyond=1000.0)


def ohms(value: float) -> Reading:
    """A value that was read."""
    return Reading(value=value, unit="ohm")


@cache
def vent() -> Suspects:
    """The vent's fixture, with a board of which only a few parts may fail."""
    found = suspects()
    board = found.harness.board
    parts = {
        name: part if name in MAY_FAIL else part.model_copy(update={"modes": ()})
        for name, part in board.parts.part.items()
    }
    doubtful = replace(board, parts=board.parts.model_copy(update={"part": parts}))
    return replace(found, harness=replace(found.harness, board=doubtful))


def is_seen(readings: Mapping[str, Reading]) -> bool:
    """Whether some reading is out of the right cable's window."""
    return any(not lies_inside(pin, readings[pin.name]) for pin in vent().signature.readings)


@pytest.mark.no_cover
def test_every_wiring_fault_that_is_seen_is_explained():
    """With a board that nobody knows: as a fault inside the cable or of a board, with its name or as one of more."""
    seen = [fault for fault in vent_faults() if is_seen(read_with(fault))]
    assert len(seen) > 0.8 * len(vent_faults())
    for what in seen:
        found = vent().explain(read_with(what))
        assert found.kind in ("wiring", "board"), what
        assert found.cable == "", what
        assert what in found.words or "more" in found.words, what


def test_a_wire_moved_is_seen_and_a_swapped_pair_of_drives_is_not():
    """The accident inside the right lead shows; both drives look alike from the host end."""
    assert is_seen(read_with("PK goes to host pin 6, not 5"))
    assert not is_seen(read_with("WH and GN are swapped"))


@pytest.mark.parametrize("fixture", ["vent-nest", "mist-nest"])
@pytest.mark.parametrize("cable", ["vent-lead", "mist-lead", "long-lead"])
def test_another_cable_of_the_library_is_named(fixture, cable):
    """With any board, trusted or not, and with the wires in which it differs; the right one is nothing to explain."""
    found = suspects(fixture)
    for seed in range(3):
        readings = taken(with_cable(found, found.cables[cable], seed), found.signature.readings)
        if cable == found.signature.cable:
            assert all(lies_inside(pin, readings[pin.name]) for pin in found.signature.readings)
            continue
        for told in (found.explain(readings), found.explain(readings, trusted=True, cables_only=True)):
            assert (told.kind, told.cable) == ("cable", cable)
            assert told.words.startswith(f"reads like {cable}: its ")


def test_the_accidents_cable_is_named_with_its_wire():
    """The sentence that a tester reads."""
    found = suspects()
    readings = taken(with_cable(found, found.cables["mist-lead"], 7), found.signature.readings)
    assert found.explain(readings) == Explanation(
        "cable", "reads like mist-lead: its pink wire (PK), board pin 6, goes to host pin 6, not 5", "mist-lead"
    )


def test_cables_that_read_alike_are_all_named():
    """Where two of the library may be it, the first is taken and both are told."""
    found = suspects()
    alike = Suspects(found.harness, {**found.cables, "red-lead": found.cables["mist-lead"]}, found.signature)
    readings = taken(with_cable(found, found.cables["mist-lead"], 8), found.signature.readings)
    told = alike.explain(readings)
    assert told.cable == "mist-lead"
    assert " or red-lead: its pink wire" in told.words


def with_part(fault: str, seed: int) -> dict[str, Reading]:
    """The readings of another board that has a fault, by the right cable."""
    found = vent()
    good = join(found.harness.host, found.cables["vent-lead"], found.harness.board)
    circuit = other_board(with_fault(good, fault), found.harness.cold.fixture, seed)
    return taken(circuit, found.signature.readings)


@pytest.mark.parametrize("fault", ["DREV open", "RVN open", "ROUT open", "DZDA short"])
def test_a_bad_board_by_a_trusted_cable_is_a_bad_board(fault):
    """Where the cable was right with the board before, the board is named first."""
    readings = with_part(fault, 11)
    assert is_seen(readings)
    found = vent().explain(readings, trusted=True)
    assert found.kind == "board"
    assert found.words.startswith("reads like a board with ")
    assert fault in found.words or "more" in found.words


def test_a_board_that_a_wire_would_look_like_is_told_with_that_wire():
    """The input diode and the wire to it are one path; by a trusted cable the board stands first."""
    found = vent().explain(with_part("DREV open", 11), trusted=True)
    assert found.words.startswith("reads like a board with DREV open, or vent-lead in which BN is cut or ")


def test_a_cable_that_was_not_proven_yet_is_blamed_before_the_board():
    """As long as a wire that leads astray explains the readings, no board does."""
    found = vent().explain(with_part("DREV open", 11))
    assert found.kind == "wiring"
    assert "board with" not in found.words


def test_a_bad_board_that_no_wire_looks_like_needs_no_trust():
    """The output resistor open is not the wire behind it cut, since the meter reaches both its ends."""
    assert vent().explain(with_part("ROUT open", 11)) == Explanation("board", "reads like a board with ROUT open")


@pytest.mark.parametrize("fault", ["RSG open", "DS2 short"])
def test_a_part_of_the_nest_that_has_failed_is_the_fixtures(fault):
    """It is neither the cable nor the board; where nothing shows it, there is nothing to explain."""
    readings = with_part(f"host.{fault}", 13)
    found = vent().explain(readings)
    assert not is_seen(readings) or (found.kind, fault in found.words) == ("fixture", True)


def test_only_cables_are_looked_at_when_asked():
    """A waiver is not stretched to faults inside a cable."""
    readings = with_part("ROUT open", 12)
    assert vent().explain(readings).kind == "board"
    assert vent().explain(readings, cables_only=True) is UNKNOWN


@pytest.mark.parametrize("end", ["host end", "board end"])
def test_a_plug_that_is_not_seated_is_told(end):
    """Nothing at the host end reads over range between host pins; at the board end the id resistor is still there."""
    found = vent()
    own = found.cables["vent-lead"]
    bare = own.model_copy(update={"wires": (), "id_resistor": None if end == "host end" else own.id_resistor})
    told = found.explain(taken(with_cable(found, bare, 21), found.signature.readings))
    assert told.kind == "wiring"
    assert f"nothing is plugged in at the {end}" in told.words


def test_an_id_resistor_that_has_come_off_is_told():
    """All else reads as it should."""
    found = vent()
    bare = found.cables["vent-lead"].model_copy(update={"id_resistor": None})
    told = found.explain(taken(with_cable(found, bare, 22), found.signature.readings))
    assert (told.kind, told.words) == ("wiring", "reads like vent-lead in which the id resistor is off")


@pytest.mark.parametrize("seed", range(10))
def test_nothing_explains_what_nothing_makes(seed):
    """Readings at random, from a hundredth of an ohm to over range, are no known cable, fault or board."""
    random = np.random.default_rng(seed)
    readings = {}
    for pin in suspects().signature.readings:
        ohms = 10 ** random.uniform(-2, 8)
        over = ohms > pin.reading.range
        readings[pin.name] = Reading(
            value=None if over else ohms, unit="ohm", beyond=pin.reading.range if over else None
        )
    assert vent().explain(readings) is UNKNOWN
    assert vent().explain(readings, trusted=True) is UNKNOWN


def test_one_unread_value_leaves_all_unexplained():
    """No reading is no evidence for anything, whatever the others say."""
    found = vent()
    readings = taken(with_cable(found, found.cables["mist-lead"], 7), found.signature.readings)
    for name in list(readings)[:: len(readings) // 3]:
        assert found.explain(readings | {name: Reading(value=None, unit="ohm")}) is UNKNOWN


@dataclass(frozen=True)
class Unsolvable(Harness):
    """A harness in which nothing that has a fault has an operating point."""

    def once(self, cable: CableFile, fault: str = "", near: ColdCircuit | None = None) -> ColdCircuit:
        """Never."""
        raise NoOperatingPoint("no operating point for sample 0: host.n0 would not settle")


def test_what_cannot_be_solved_explains_nothing():
    """It is passed over, and the search goes on."""
    found = vent()
    harness = Unsolvable(found.harness.host, found.harness.board, found.harness.cold)
    readings = read_with("PK goes to host pin 6, not 5")
    assert found.explain(readings).kind == "wiring"
    assert Suspects(harness, {"vent-lead": found.cables["vent-lead"]}, found.signature).explain(readings) is UNKNOWN


def in_series() -> Suspects:
    """A lamp of two resistors behind one wire; the meter reaches both ends of the wire, the far one as a check only."""
    ports = "ka p24 kb pos sg acc n0 id"
    lamp = circuit("R1 ka mid 50\nR2 mid n0 50\nR3 p24 n0 10k", ports)
    parts = {"R1": Part.model_validate({"role": "part", "modes": ["open"]})}
    lamp = replace(lamp, parts=lamp.parts.model_copy(update={"part": parts}))
    fixture = bare_fixture({"across": (1, 7), "inner": (3, 7)}, cable="lead")
    inner = fixture.points["inner"].model_copy(update={"plus": "board.1", "minus": "board.7"})
    fixture = fixture.model_copy(update={"points": {**fixture.points, "inner": inner}})
    cables = {"lead": straight_cable([(1, 1), (2, 2), (7, 7)])}
    harness = Harness(open_end(), lamp, ColdBench(setup().bench, fixture), 3)
    check = next(one for one in harness.cold.readings("inner") if one.range == 1000.0)
    signature = sign(harness, cables, "lead")
    return Suspects(harness, cables, signature, (PinReading("inner check", check, {}, Limit(lower=90, upper=110)),))


@pytest.mark.parametrize(
    ("got", "words"),
    [
        pytest.param(ohms(100.0), "reads like lead in which ", id="board-is-good"),
        pytest.param(ohms(112.0), "reads like lead in which ", id="board-is-a-little-off"),
        pytest.param(OVER, "reads like a board with R1 open", id="board-is-open"),
    ],
)
def test_the_boards_own_checks_tell_it_from_a_cut_wire(got, words):
    """Both read over range at the host end; without the check by a trusted cable the board stands first, either way."""
    found = in_series()
    readings = {
        "pin map feed": ohms(10_000.0),
        "pin map across": Reading(value=None, unit="ohm", beyond=1000.0),
    }
    assert found.explain(readings, trusted=True).words.startswith("reads like a board with R1 open, or lead in which ")
    assert found.explain(readings | {"inner check": got}, trusted=True).words.startswith(words)
    assert ("WH is cut" in found.explain(readings | {"inner check": got}, trusted=True).words) == (got is not OVER)


@pytest.mark.parametrize(
    ("got", "expected", "tolerance", "may_be"),
    [
        pytest.param(NO_VALUE, Expected(100.0), 0.1, False, id="unread"),
        pytest.param(NO_VALUE, Expected(None), 0.1, False, id="unread-and-over-range"),
        pytest.param(NO_VALUE, Expected(100.0, certain=False), 0.1, False, id="unread-where-anything-may-be"),
        pytest.param(OVER, Expected(None), 0.0, True, id="over-range"),
        pytest.param(OVER, Expected(900.0), 0.1, False, id="over-range-for-a-value"),
        pytest.param(OVER, Expected(900.0, certain=False), 0.0, True, id="over-range-for-some"),
        pytest.param(ohms(900.0), Expected(None), 0.1, False, id="a-value-for-over-range"),
        pytest.param(ohms(900.0), Expected(950.0, certain=False), 0.0, True, id="a-value-for-some"),
        pytest.param(ohms(105.0), Expected(100.0), 0.0, True, id="a-contact-more"),
        pytest.param(ohms(106.0), Expected(100.0), 0.0, False, id="more-than-a-contact"),
        pytest.param(ohms(115.0), Expected(100.0), 0.1, True, id="tolerance"),
        pytest.param(ohms(116.0), Expected(100.0), 0.1, False, id="beyond-tolerance"),
        pytest.param(ohms(164.0), Expected(100.0, 10.0), 0.0, True, id="six-sigma"),
        pytest.param(ohms(166.0), Expected(100.0, 10.0), 0.0, False, id="beyond-six-sigma"),
    ],
)
def test_a_reading_may_be_what_is_expected_or_not(got, expected, tolerance, may_be):
    """Within drawn boards, meter, contact and a share of the value; no reading agrees with nothing."""
    cold = suspects().harness.cold
    reading = next(one for one in cold.readings("feed") if one.range == 1000.0)
    assert agrees(cold, reading, got, expected, tolerance) is may_be
