"""All that is said of a library's cables: the matrix, the pairs, the cures."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from test_commands.small_library import write_small_library

from batchtest.cables.hookup import Feed
from batchtest.cables.report import Cell, Report, cells_of, feed_of, fits, report, right_cable
from batchtest.files.library import load_bench, load_library
from test_cables.bench_views import ROOT, library, setup


@cache
def cells() -> tuple[Cell, ...]:
    """Every cable between the demo's hosts and boards."""
    return tuple(cells_of(library(), setup().bench, library().fixtures))


def cell(host: str, cable: str, board: str) -> Cell:
    """One of them."""
    (found,) = [one for one in cells() if (one.host, one.cable, one.board) == (host, cable, board)]
    return found


def test_every_cable_is_looked_at_with_every_board_and_host():
    """A fixture stands in for a host only with the boards that it takes."""
    demo = library()
    expected = {("cabinet", cable, board) for cable in demo.cables for board in demo.boards}
    expected |= {
        (fixture.circuit, cable, board)
        for fixture in demo.fixtures.values()
        for cable in demo.cables
        for board in fixture.takes
    }
    assert {(one.host, one.cable, one.board) for one in cells()} == expected
    assert len(cells()) == len(expected)


def test_one_mix_up_burns_on_the_cabinet():
    """Published: the vent on the mist's lead overloads the accessory resistor 2.25 times and the string 2.19 times."""
    burning = [one for one in cells() if one.host == "cabinet" and one.verdict == "destroys"]
    assert [(one.cable, one.board) for one in burning] == [("mist-lead", "vent")]
    ratios = {one.part: one.ratio for one in burning[0].damage.stressed}
    assert ratios == pytest.approx({"host.RACC": 2.25, "host.DS1": 2.19, "host.DS2": 2.19, "host.DS3": 2.19}, abs=0.005)
    assert {one.pins for one in burning[0].damage.stressed} == {(6,)}
    assert [(one.board_pin, one.right, one.wrong) for one in burning[0].differences] == [(6, (5,), (6,))]


def test_what_the_file_of_a_cable_says_is_not_believed():
    """The long lead takes the vent by its file, and runs it backwards: harmless but wrong."""
    found = cell("cabinet", "long-lead", "vent")
    assert fits(library(), "cabinet", "long-lead", "vent")
    assert found.verdict == "harmless but wrong"
    assert [one.colour for one in found.differences] == ["WH", "GN"]


@pytest.mark.parametrize("host", ["cabinet", "nest"])
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_the_right_cable_fits_in_host_and_nest(host, board):
    """Nothing burns, nothing is astray, nothing differs."""
    found = cell("cabinet" if host == "cabinet" else f"{board}-nest", f"{board}-lead", board)
    assert found.verdict == "fits"
    assert (found.differences, found.damage.astray, found.damage.stressed) == ((), (), ())


def test_a_nest_is_fed_by_the_bench():
    """At the fixture's terminals, with its full voltage and the supply's largest current."""
    found = feed_of(library().fixtures["vent-nest"], setup().bench)
    assert found == Feed("host.2", "host.7", 24.0, 3.0)


@pytest.mark.parametrize(
    ("host", "board", "cable"),
    [
        ("cabinet", "vent", "vent-lead"),
        ("cabinet", "mist", "mist-lead"),
        ("vent-nest", "vent", "vent-lead"),
        ("vent-nest", "mist", ""),
        ("elsewhere", "vent", ""),
    ],
)
def test_the_right_cable_is_the_one_that_a_board_is_tested_with(host, board, cable):
    """Although long-lead takes the vent as well, and comes first by name; none where none fits."""
    assert right_cable(library(), host, board) == cable


def test_a_board_that_no_fixture_takes_has_the_first_cable_that_fits():
    """In the library's order."""
    without = replace(library(), fixtures={})
    assert right_cable(without, "cabinet", "vent") == "long-lead"


def test_a_place_where_no_cable_fits_is_judged_by_what_burns():
    """Nothing can be called different from the right cable, or astray, where there is none."""
    demo = library()
    cables = {"mist-lead": demo.cables["mist-lead"]}
    nests = {"mist-nest": demo.fixtures["mist-nest"]}
    alone = replace(demo, cables=cables, boards={"vent": demo.boards["vent"]}, fixtures=nests)
    (only,) = cells_of(alone, setup().bench, {})
    assert only.host == "cabinet", "a fixture that is not wanted has no cells"
    assert (only.verdict, only.differences, only.damage.astray) == ("destroys", (), ())


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> tuple[Report, list[str]]:
    """A small library, reported as a whole, and what was said meanwhile."""
    root: Path = tmp_path_factory.mktemp("small")
    write_small_library(root)
    said: list[str] = []
    return report(load_library(root), load_bench(ROOT, "simulated"), progress=said.append), said


def test_twins_get_a_cure_that_tells_them_from_all(small: tuple[Report, list[str]]):
    """One of two cables that nothing tells apart is given the lowest value that does."""
    found, _ = small
    close = [(one.one, one.other) for one in found.pairs if not one.apart]
    assert close == [("lamp-lead", "twin-lead")]
    (proposal,) = found.proposals
    assert (proposal.cable, proposal.ohms, proposal.pins) == ("lamp-lead", 1200, (4, 2))
    assert {(one.one, one.other) for one in found.pairs if one.apart} == {
        ("hot-lead", "lamp-lead"),
        ("hot-lead", "twin-lead"),
    }


def test_a_report_has_every_part(small: tuple[Report, list[str]]):
    """Cells of rack and nest, pairs of the nest, faults that it does not see, and the cables themselves."""
    found, said = small
    assert {(one.host, one.board) for one in found.cells} == {("rack", "lamp"), ("nest", "lamp")}
    assert {(one.fixture, one.board) for one in found.pairs} == {("lamp-nest", "lamp")}
    assert {one.cable for one in found.blind} <= {"lamp-lead"}
    assert set(found.cables) == {"lamp-lead", "hot-lead", "twin-lead"}
    assert "solving rack with lamp on hot-lead" in said
    assert "telling cables apart at lamp-nest with lamp" in said
    assert "looking for faults inside lamp-lead that lamp-nest does not see" in said
