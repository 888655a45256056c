"""Fixtures of hosts: what is read, and the whole message of every way to get one wrong."""

from __future__ import annotations

import re

import pytest
from stations import ROOT

from batchtest.errors import FileFaults, SetupError
from batchtest.files.host_fixture import HarnessFault, harness_fault
from batchtest.files.hosts import load_host_setup
from batchtest.files.library import fixture_names, host_fixture_names, load_library, load_setup

from .conftest import EXAMPLE, Project

FILE, BENCH = "fixtures/hosts/breakout.toml", "fixtures/benches/pretend.toml"


def test_the_demos_cabinet_is_read_as_a_whole():
    """Fixture, bench and circuit, with the hash of every file and the pin that all others are read against."""
    setup = load_host_setup(ROOT, "cabinet-breakout", "simulated")
    assert (setup.host, setup.pins, setup.return_pin) == ("cabinet", 8, 7)
    assert {"fixtures/hosts/cabinet-breakout.toml", "fixtures/circuits/cabinet.cir"} <= set(setup.hashes)


def test_a_hosts_fixture_is_none_for_boards():
    """It stands in a folder of its own: no board is asked for on it, and the library of cables does not have it."""
    assert host_fixture_names(ROOT) == ["cabinet-breakout"]
    assert "cabinet-breakout" not in fixture_names(ROOT)
    assert "cabinet-breakout" not in load_library(ROOT).fixtures


def test_boards_on_a_hosts_fixture_are_met_with_the_right_command():
    """It is there, but it is another kind."""
    with pytest.raises(SetupError, match="is a host's, and takes no boards: batchtest host cabinet-breakout"):
        load_setup(ROOT, "cabinet-breakout", "simulated")


def test_a_host_without_a_discharge_resistor_is_read(project: Project):
    """A break-out may have none: the host bleeds by itself."""
    project.replace(FILE, 'discharge = { scanner = 31, resistor = "100 ohm", across = "host.1-host.2" }\n', "")
    assert load_host_setup(project.root, "breakout", "table").fixture.discharge is None


@pytest.mark.parametrize(
    ("fixture", "bench", "says"),
    [
        pytest.param(
            "brakout", "table", "no fixture 'brakout' in fixtures/hosts/; did you mean 'breakout'?", id="near"
        ),
        pytest.param("nest", "table", "fixture 'nest' is for boards, and no host's: batchtest boards nest", id="board"),
        pytest.param("breakout", "tabel", "no bench 'tabel'; did you mean 'table'?", id="bench"),
    ],
)
def test_a_name_that_is_not_there_is_met_with_the_right_one(fixture: str, bench: str, says: str):
    """Before any file is read."""
    with pytest.raises(SetupError, match=re.escape(says)):
        load_host_setup(EXAMPLE, fixture, bench)


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        pytest.param(
            FILE,
            'plus = "host.3"',
            'plus = "TP1"',
            f"{FILE}: line 14: points.id.plus: 'TP1' is no pin of a host; nothing is mated to it, "
            "write such as 'host.2'",
            id="board-terminal",
        ),
        pytest.param(
            FILE,
            '[points.id]\nplus = "host.3"',
            '[points.id]\nplus = "host.9"',
            f"{FILE}: line 7: points: no point reads pin 3 (id) of host against pin 2 (n0); add one with "
            'plus = "host.3" and minus = "host.2"\n'
            f"{FILE}: line 14: points.id.plus: there is no pin 9 in the connector of host; it has 3",
            id="no-such-pin",
        ),
        pytest.param(
            FILE,
            'minus = "host.2"\nscanner = 3\ncontact = [13, 21]',
            'minus = "host.1"\nscanner = 3\ncontact = [13, 11]',
            f"{FILE}: line 7: points: no point reads pin 3 (id) of host against pin 2 (n0); add one with "
            'plus = "host.3" and minus = "host.2"',
            id="not-against-the-return",
        ),
        pytest.param(
            FILE,
            'across = "host.1-host.2"',
            'across = "host.2-host.1"',
            f"{FILE}: line 5: discharge.across: no point lies across 'host.2-host.1'; write the plus and minus of one: "
            "host.1-host.2, host.3-host.2",
            id="discharge-nowhere",
        ),
        pytest.param(
            FILE,
            "scanner = 3\n",
            "scanner = 31\n",
            f"{FILE}: line 16: points.id.scanner: channel 31 is used by discharge.scanner already; give each its own",
            id="channel-twice",
        ),
        pytest.param(
            FILE,
            "scanner = 3\n",
            "scanner = 40\n",
            f"{FILE}: line 16: points.id.scanner: channel 40 is the reference's in fixtures/benches/pretend.toml; "
            "take another",
            id="reference",
        ),
        pytest.param(
            FILE,
            "scanner = 3\n",
            "scanner = 3\nload = 2\n",
            f"{FILE}: line 17: points.id.load: there is no load channel 2 in fixtures/benches/pretend.toml; "
            "its load has 1",
            id="load-channel",
        ),
        pytest.param(
            FILE,
            'host = "host"',
            'host = "hots"',
            f"{FILE}: line 1: host: there is no 'hots' in fixtures/circuits/; did you mean 'host'?",
            id="circuit",
        ),
        pytest.param(
            FILE,
            'host = "host"',
            'host = "lamp"',
            f"{FILE}: line 1: host: lamp has no pin 'n0' to read the others against; name its return so",
            id="no-return",
        ),
        pytest.param(
            FILE,
            'within = "10 %"',
            "within = 10",
            f"{FILE}: line 4: mains.within: needs a value with its unit as a string, such as '2 %', got 10",
            id="unit",
        ),
        pytest.param(
            FILE,
            '"HS-[0-9]{3}"',
            '"[0-9/]{3}"',
            f"{FILE}: line 3: serials: could match what is no safe file name, by '[0-9/]{{3}}'; "
            "write such as VN-[0-9]{4}",
            id="serials",
        ),
        *(
            pytest.param(
                BENCH,
                'open_needles = ["TP2"]',
                f'hosts = {{ HS-001 = "{fault}", OTHER = "nonsense" }}',
                f"{BENCH}: line 10: simulation.hosts.HS-001: {says}",
                id=name,
            )
            for name, fault, says in (
                ("part", "RX open", "host has no part 'RX'; known: RH, RI"),
                ("pin", "pins 1-4 swapped", "there is no pin 4 in the connector of host; it has 3"),
                ("words", "swapped", "'swapped' is no part and how it fails; write such as 'R5B open'"),
                (
                    "board",
                    "board.R1 open",
                    "'board.R1 open' is a board's, and nothing is mated to a host; name a part of host",
                ),
            )
        ),
        *(
            pytest.param(
                BENCH,
                'open_needles = ["TP2"]',
                f"outlet = {{ {keys} }}",
                f"{BENCH}: line 10: simulation.outlet.{says}",
                id=name,
            )
            for name, keys, says in (
                ("outlet-part", 'part = "RA"', "part: there is no resistor 'RA' in host; known: RH, RI"),
                ("outlet-trip", 'trip = "100 mA"', "trip: 100 mA is not above hold, 200 mA; swap them"),
                ("outlet-window", 'r_min = "5 ohm"', "r1_max: 4 ohm is not above r_min, 5 ohm; swap them"),
                (
                    "outlet-time",
                    'trip_current = "300 mA"',
                    "trip_current: 300 mA is below trip, 400 mA, and need not trip it; "
                    "write the current of the data sheet's time to trip",
                ),
            )
        ),
        pytest.param(
            BENCH,
            '["TP2"]',
            '["host.9"]',
            f"{BENCH}: line 10: simulation.open_needles[0]: no point of {FILE} uses 'host.9'; did you mean 'host.3'?",
            id="needle",
        ),
    ],
)
def test_a_fault_says_where_it_is_and_what_to_write_instead(project: Project, file: str, old: str, new: str, says: str):
    """One thing wrong in an otherwise right project gives exactly this message."""
    project.replace(file, old, new)
    with pytest.raises(FileFaults, match=rf"^{re.escape(says)}$"):
        load_host_setup(project.root, "breakout", "pretend")


def test_what_a_harness_mixes_up_is_read_from_words():
    """Two pins and what is wrong with them; the fault of a part is none of it."""
    assert harness_fault("pins 5-7 swapped") == HarnessFault((5, 7), "swapped")
    assert harness_fault("pins 8-2 joined") == HarnessFault((8, 2), "joined")
    assert harness_fault("RACC open") is None
