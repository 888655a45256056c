"""`batchtest cables`: the matrix, what is told apart, the page and the machine's copy of it."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from rich.console import Console
from test_pages.cable_examples import BACKWARDS, LIBRARY, cell, report
from test_pages.html import Page

from batchtest.commands import program
from batchtest.commands.cables_json import as_json
from batchtest.commands.cables_view import CablesView
from batchtest.errors import SetupError
from batchtest.files.cable import Matings
from test_commands.small_library import write_small_library


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project's folder with the small library."""
    root = tmp_path_factory.mktemp("small")
    write_small_library(root)
    return root


def run(folder: Path, *arguments: str, width: int = 80) -> str:
    """What the command prints in a folder."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("COLUMNS", str(width))
        found = CliRunner().invoke(program, ["cables", "--bench", "lan", *arguments], catch_exceptions=False)
    assert found.exit_code == 0, found.output
    return found.stdout


@pytest.fixture(scope="module")
def said(folder: Path) -> str:
    """The command's output without options."""
    return run(folder)


@pytest.fixture(scope="module")
def known(folder: Path) -> dict[str, Any]:
    """The command's report for machines."""
    found: dict[str, Any] = json.loads(run(folder, "--json", "--page", "other.html"))
    return found


def shown(known: Any, width: int = 80, encoding: str = "utf-8") -> str:
    """A report as a terminal of some width and encoding shows it."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    console = Console(file=stream, force_terminal=False, width=width, highlight=False)
    with console.capture() as captured:
        CablesView(known, console).show()
    captured.get().encode(encoding)
    return captured.get()


def one_line(text: str) -> str:
    """A text with its line breaks taken out."""
    return " ".join(text.split())


def test_the_matrix_says_what_fits_and_what_burns(said: str):
    """The right cable fits; the one that brings 24 V burns the lamp's resistor, with the pin that brings it."""
    assert re.search(r"^lamp-lead +✔ fits", said, re.M)
    assert re.search(r"^hot-lead +▲ destroys board\.R1 \(2\.23 x\)", said, re.M)
    assert "brought by board pin 1 (BN)" in one_line(said)


def test_a_pair_that_nothing_tells_apart_is_loud_with_an_id_resistor(said: str):
    """Twins read the same everywhere; the cure is a value that reads apart from all."""
    text = one_line(said)
    assert "lamp-lead and twin-lead CANNOT BE TOLD APART at lamp-nest with lamp" in text
    assert text.count("CANNOT BE TOLD APART") == 2
    cure = (
        r"10 U are needed cure: give (lamp|twin)-lead an id resistor of \d[\d.]* kohm, 1 %, between host pins 4 and 2"
    )
    assert re.search(cure, text)


def test_worn_connectors_are_loud(said: str):
    """A cable that was mated as often as it may is told at the end."""
    assert "hot-lead: 100 of 100 matings: WORN, replace it." in one_line(said)


def test_the_page_is_written_and_named(folder: Path, said: str):
    """At its default place, where the last line says it is."""
    assert said.splitlines()[-1] == "page: reports/cables.html"
    assert Page((folder / "reports" / "cables.html").read_text()).faults == []


def test_json_is_one_object_without_the_page(folder: Path, tmp_path: Path):
    """A machine gets JSON alone; no page unless it is asked for."""
    write_small_library(tmp_path)
    found = json.loads(run(tmp_path, "--json", "--fixture", "lamp-nest"))
    assert set(found) == {"needed_U", "cells", "pairs", "proposals", "blind", "cables"}
    assert not (tmp_path / "reports").exists()


def test_json_has_the_matrix_in_base_units(known: dict[str, Any]):
    """Every cable x board x host, with stress, rating, ratio and pins; ohms are volts by amperes."""
    cells = {(found["host"], found["cable"]): found for found in known["cells"]}
    assert cells["rack", "lamp-lead"]["verdict"] == "fits"
    (burned,) = cells["rack", "hot-lead"]["stressed"]
    current_A = 24 / (350 + 250 + 1 + 2 * (2 * 0.08 + 2 * 0.01))
    assert burned["stress"] == pytest.approx(current_A**2 * 350, rel=1e-3)
    assert burned["ratio"] == pytest.approx(burned["stress"] / 0.25)
    assert (burned["part"], burned["rating"], burned["pins"]) == ("board.R1", 0.25, [1])


def test_json_has_every_pair_with_both_distances(known: dict[str, Any]):
    """All readings, the best first, and the cable itself with its facts."""
    pairs = {frozenset((pair["one"], pair["other"])): pair for pair in known["pairs"]}
    assert not pairs[frozenset(("lamp-lead", "twin-lead"))]["apart"]
    told = pairs[frozenset(("lamp-lead", "hot-lead"))]
    assert told["apart"]
    distances = [reading["distance"] for reading in told["readings"]]
    assert distances[0] >= 0.9 * max(distances)
    assert known["cables"]["lamp-lead"]["id_resistor"] == {"ohms": 1000.0, "tolerance": 0.01, "pins": [4, 2]}
    assert known["cables"]["hot-lead"]["worn"]


@pytest.mark.parametrize("name", ["lamp-nes", "vent"])
def test_a_fixture_that_is_not_there_is_met_with_the_nearest(folder: Path, name: str, monkeypatch: pytest.MonkeyPatch):
    """A typing slip is told before anything is solved."""
    monkeypatch.chdir(folder)
    with pytest.raises(SetupError, match=rf"no fixture '{name}'; .*lamp-nest"):
        program.main(["cables", "--bench", "lan", "--fixture", name], standalone_mode=False)


@pytest.mark.parametrize("width", [80, 60, 132])
def test_nothing_is_cut_off_whatever_the_width(width: int):
    """Every word of the report is there, and no line is wider than the terminal."""
    text = shown(report(), width)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= width
    assert "…" not in text
    for whole in (
        BACKWARDS,
        "host.RACC: power 4.501 W, rated 2.000 W, 2.25 x, brought by board pin 6 (PK)",
        "nothing else passes its rating",
    ):
        assert whole in one_line(text)


def test_an_old_terminal_gets_plain_letters():
    """ASCII shapes beside the same words; a letter that it has not is a question mark."""
    cables = {"vent-lead": LIBRARY.cables["vent-lead"].model_copy(update={"owner": "Gewächshaus"})}
    text = shown(report(cables=cables), encoding="ascii")
    assert "+ fits" in text
    assert "! destroys host.RACC (2.25 x)" in text
    assert "~ harmless but wrong" in text
    assert "Gew?chshaus" in text


def test_hostile_text_moves_no_cursor():
    """What files say is text, whatever a terminal would make of it."""
    cables = {"vent-lead": LIBRARY.cables["vent-lead"].model_copy(update={"owner": "[red]\x1b[2J[/x]"})}
    text = shown(report(cables=cables), 132)
    assert "\x1b" not in text
    assert "[red]?[2J[/x]" in text


def test_more_boards_than_fit_become_more_tables():
    """Six boards in 80 columns: each has its column, none is cut."""
    boards = [f"board-with-a-long-name-{number}" for number in range(6)]
    text = shown(report(cells=tuple(cell("vent-lead", board, "fits") for board in boards)))
    assert one_line(text).count("board board-with-a-long-name-") == 6
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80


def test_no_operating_point_is_told():
    """A state that was not solved is not called harmless."""
    text = one_line(shown(report(cells=(cell("mist-lead", "vent", "destroys", unsolved=("full load, drives off",)),))))
    assert "may destroy, not solved" in text
    assert "cannot tell, no operating point: full load, drives off" in text


def test_a_library_without_trouble_says_so():
    """Nothing burns, nothing is missed, nothing is worn."""
    fresh = LIBRARY.cables["vent-lead"].model_copy(update={"matings": Matings(rated=100)})
    calm = report(
        cells=(cell("vent-lead", "vent", "fits"),), pairs=(), proposals=(), blind=(), cables={"vent-lead": fresh}
    )
    text = one_line(shown(calm))
    assert "None of 1 combinations of host, cable and board destroys a part." in text
    assert "Every single wiring fault inside a cable is seen by some reading." in text
    assert "▲" not in text


def test_every_number_of_the_page_is_in_the_json():
    """Stress, rating, ratio, values and distances: what people read, machines get."""
    found = json.dumps(as_json(report()), allow_nan=False)
    for number in (
        "4.501",
        "2.2505",
        "9.224",
        "1.8448",
        "0.7001",
        "3311.4",
        "3300.2",
        "9.998",
        "13.77",
        "1300.0",
        "500",
    ):
        assert number in found
