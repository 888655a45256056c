"""The files of a project by name: whole setups, and every fault of every file at once."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

import pytest

from batchtest.errors import FileFaults, SetupError
from batchtest.files.library import (
    bench_names,
    board_names,
    cable_names,
    fixture_names,
    load_bench,
    load_cable,
    load_library,
    load_setup,
)

from .conftest import EXAMPLE, Project


def test_names_are_those_of_the_files() -> None:
    """Names of fixtures, benches, cables and boards are file names without ending."""
    found = [names(EXAMPLE) for names in (fixture_names, bench_names, cable_names, board_names)]
    assert found == [["nest"], ["pretend", "table"], ["lead"], ["lamp"]]


def test_a_folder_without_files_has_no_names(tmp_path: Path) -> None:
    """An empty project is no error until something is asked of it."""
    assert fixture_names(tmp_path) == []


def test_the_board_may_be_left_out_where_there_is_one(project: Project) -> None:
    """A fixture for one board needs no board named."""
    setup = load_setup(project.root, "nest", "table")
    assert (setup.board, setup.fixture_name, setup.bench_name) == ("lamp", "nest", "table")
    assert setup.board_circuit.name == "lamp"
    assert setup.fixture_circuit.name == "host"


def test_every_file_that_was_read_has_its_hash(project: Project) -> None:
    """A record can say later exactly with what the board was tested."""
    hashes = project.load().hashes
    assert sorted(hashes) == [
        "fixtures/benches/table.toml",
        "fixtures/cables/lead.toml",
        "fixtures/circuits/host.cir",
        "fixtures/circuits/host.parts.toml",
        "fixtures/circuits/lamp.cir",
        "fixtures/circuits/lamp.parts.toml",
        "fixtures/nest.toml",
        "limits/lamp.toml",
    ]
    for file, digest in hashes.items():
        assert digest == sha256((project.root / file).read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("fixture", "bench", "board", "says"),
    [
        ("nset", "table", None, r"^no fixture 'nset'; did you mean 'nest'\?$"),
        ("nest", "tabel", None, r"^no bench 'tabel'; did you mean 'table'\?$"),
        ("nest", "table", "lump", r"^fixture 'nest' does not take board 'lump'; did you mean 'lamp'\?$"),
        ("../nest", "table", None, r"^no fixture '\.\./nest'; did you mean 'nest'\?$"),
    ],
    ids=["fixture", "bench", "board", "path"],
)
def test_an_unknown_name_is_answered_with_the_nearest(fixture: str, bench: str, board: str | None, says: str) -> None:
    """A misspelt argument costs one more try, not a search; a path is no name."""
    with pytest.raises(SetupError, match=says):
        load_setup(EXAMPLE, fixture, bench, board)


def test_a_fixture_for_two_boards_wants_one_named(project: Project) -> None:
    """The tool does not guess which board lies in the nest."""
    project.replace("fixtures/nest.toml", 'takes = ["lamp"]', 'takes = ["lamp", "fan"]')
    with pytest.raises(SetupError, match=r"^fixture 'nest' takes fan, lamp; name the board$"):
        load_setup(project.root, "nest", "table")


def test_faults_of_all_files_come_at_once(project: Project) -> None:
    """A broken fixture does not hide what is wrong with the files that it names."""
    project.replace("fixtures/nest.toml", "scanner = 2", "scanner = true")
    project.replace("fixtures/benches/table.toml", '"50 Hz"', '"50"')
    project.replace("fixtures/cables/lead.toml", '"2 m"', '"2 km"')
    project.replace("fixtures/circuits/host.parts.toml", 'role = "bleeder"', "rool = 1")
    project.replace("limits/lamp.toml", '"12 V"', '"12 W"')
    with pytest.raises(FileFaults, match="line") as caught:
        load_setup(project.root, "nest", "table")
    assert [fault.file for fault in caught.value.faults] == [
        "fixtures/benches/table.toml",
        "fixtures/cables/lead.toml",
        "fixtures/circuits/host.parts.toml",
        "fixtures/circuits/host.parts.toml",
        "fixtures/nest.toml",
        "limits/lamp.toml",
    ]


@pytest.mark.parametrize(
    "text", ["[", "takes = 1\ncable = 2\ncircuit = 3", "takes = [1, 'lamp']\ncable = 'none'", "\xb5"]
)
def test_a_fixture_that_names_nothing_usable_still_gives_its_faults(project: Project, text: str) -> None:
    """However broken the fixture is, its own faults are told."""
    (project.root / "fixtures" / "nest.toml").write_bytes(text.encode("latin-1"))
    with pytest.raises(FileFaults, match=r"^fixtures/nest\.toml: line 1: "):
        load_setup(project.root, "nest", "table")


def test_checks_between_sound_files_run_beside_a_broken_one(project: Project) -> None:
    """Faults of limits against the bench are told although the cable cannot be read."""
    project.replace("fixtures/cables/lead.toml", "takes", "take")
    project.replace("limits/lamp.toml", '"20 mA"', '"200 mA"')
    with pytest.raises(FileFaults, match=r"200 mA is beyond the load's protection"):
        project.load()


def test_a_bench_and_a_cable_load_on_their_own() -> None:
    """Commands that need no board read only what they need."""
    assert load_bench(EXAMPLE, "pretend").simulation is not None
    assert load_cable(EXAMPLE, "lead").wires[1].colour == "BU"


def test_a_bench_on_its_own_is_checked_for_what_it_simulates(project: Project) -> None:
    """A simulated bench names a fixture that is there."""
    project.replace("fixtures/benches/pretend.toml", '"nest"', '"nets"')
    with pytest.raises(FileFaults, match=r"simulation\.fixture: there is no fixture 'nets'; did you mean 'nest'\?"):
        load_bench(project.root, "pretend")


@pytest.mark.parametrize(("load", "kind"), [(load_bench, "bench"), (load_cable, "cable")], ids=["bench", "cable"])
def test_a_bench_or_cable_that_is_not_there_is_a_setup_error(load: object, kind: str) -> None:
    """Single files are asked for by name as well."""
    assert callable(load)
    with pytest.raises(SetupError, match=rf"^no {kind} 'zzz'; known: "):
        load(EXAMPLE, "zzz")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('cable = "lead"', 'cable = "laed"', r"line 2: cable: there is no 'laed' in fixtures/cables/; did you mean"),
        ('circuit = "host"', 'circuit = "hots"', r"line 3: circuit: there is no 'hots' in fixtures/circuits/; did you"),
        ('takes = ["lamp"]', 'takes = ["lmap"]', r"line 1: takes\[0\]: no cable takes 'lmap'; did you mean 'lamp'\?"),
    ],
)
def test_a_library_whose_fixture_names_a_stranger_is_refused(project: Project, old: str, new: str, says: str) -> None:
    """A cable, a circuit or a board that is not there is a fault of the fixture's file, as in a setup."""
    project.replace("fixtures/nest.toml", old, new)
    with pytest.raises(FileFaults, match=f"fixtures/nest.toml: {says}"):
        load_library(project.root)


def test_a_broken_cable_is_not_told_again_by_its_fixture(project: Project) -> None:
    """What it takes is not known then."""
    project.replace("fixtures/cables/lead.toml", '"2 m"', '"2"')
    with pytest.raises(FileFaults) as refused:
        load_library(project.root)
    assert [fault.file for fault in refused.value.faults] == ["fixtures/cables/lead.toml"]
