"""Files of outlets: what is read, and the whole message of every way to get one wrong."""

from __future__ import annotations

import re
import shutil
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stations import ROOT

from batchtest.capacity.model import FuseData
from batchtest.capacity.outlet import others_of
from batchtest.errors import FileFaults, SetupError
from batchtest.files.library import board_names, load_setup, outlet_names
from batchtest.files.outlet import Sweep
from batchtest.files.outlets import load_outlet_setup, lowest_rating

from .conftest import Project

FILE, FUSE = "fixtures/outlets/cabinet-outlet.toml", "fixtures/outlets/cabinet-outlet-fuse.toml"
LIMITS, FUSE_LIMITS = "limits/cabinet-outlet.toml", "limits/cabinet-outlet-fuse.toml"


@pytest.fixture
def demo(tmp_path: Path) -> Project:
    """The demo's files, free to be spoiled."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, tmp_path / name)
    return Project(tmp_path)


def test_the_demos_outlets_are_read_as_a_whole():
    """Outlet, limits, break-out, circuit and bench, with the hash of every file; the load lies across the outlet."""
    for name in ("cabinet-outlet", "cabinet-outlet-fuse"):
        setup = load_outlet_setup(ROOT, name, "simulated")
        wanted = {f"fixtures/outlets/{name}.toml", f"limits/{name}.toml", "fixtures/hosts/cabinet-breakout.toml"}
        assert wanted | {"fixtures/circuits/cabinet.cir", "fixtures/benches/simulated.toml"} <= set(setup.hashes)
        assert setup.fixture.points["accessory"].load == 1
    assert outlet_names(ROOT) == ["cabinet-outlet", "cabinet-outlet-fuse"]


def test_the_limits_of_an_outlet_are_no_boards():
    """They stand in the same folder, and no board is asked for by their name."""
    assert board_names(ROOT) == ["mist", "vent"]


def test_what_is_simulated_is_what_the_file_says():
    """A bench that does not say what is behind the outlet has what the outlet's file has."""
    fitted = {}
    for name in ("cabinet-outlet", "cabinet-outlet-fuse"):
        simulation = load_outlet_setup(ROOT, name, "simulated").bench.simulation
        assert simulation is not None
        assert simulation.outlet is not None
        fitted[name] = (simulation.outlet.part, simulation.outlet.variant)
    assert fitted == {"cabinet-outlet": ("RACC", "resistor"), "cabinet-outlet-fuse": ("RACC", "fuse")}


def test_the_lowest_rating_is_found_by_its_key():
    """1.5 A of the wire, not 2 A of connector and fuse."""
    assert lowest_rating(load_outlet_setup(ROOT, "cabinet-outlet", "simulated").outlet) == ("wire", Decimal("1.5"))


@pytest.mark.parametrize(
    ("name", "says"),
    [
        pytest.param("cabinet-outlt", "no outlet 'cabinet-outlt' in fixtures/outlets/; did you mean", id="near"),
        pytest.param("cabinet-breakout", "break-out plug, and no outlet: batchtest host cabinet-breakout", id="host"),
        pytest.param("vent", "'vent' is a board, and no outlet: batchtest boards", id="board"),
    ],
)
def test_a_name_that_is_no_outlet_is_met_with_the_right_one(name: str, says: str):
    """Before any file is read."""
    with pytest.raises(SetupError, match=re.escape(says)):
        load_outlet_setup(ROOT, name, "simulated")


def test_boards_on_an_outlet_are_met_with_the_right_command():
    """It is there, but it is another kind."""
    with pytest.raises(SetupError, match="is a host's outlet, and takes no boards: batchtest outlet cabinet-outlet"):
        load_setup(ROOT, "cabinet-outlet", "simulated")


WRONG = [
    pytest.param(
        FILE, 'host = "cabinet-breakout"', 'host = "cabinet-brakout"',
        "{file}: line {line}: host: there is no 'cabinet-brakout' in fixtures/hosts/; did you mean 'cabinet-breakout'?",
        id="host",
    ),
    pytest.param(
        FILE, 'point = "accessory"', 'point = "acessory"',
        "{file}: line {line}: point: there is no point 'acessory' in cabinet-breakout; did you mean 'accessory'?",
        id="point",
    ),
    pytest.param(
        FILE, 'part = "RACC"', 'part = "RAC"',
        "{file}: line {line}: part: there is no part 'RAC' in cabinet; did you mean 'RACC'?", id="part",
    ),
    pytest.param(
        FILE, "load = 1 ", "load = 4 ",
        "{file}: line {line}: load: there is no load channel 4; the bench's load has 3", id="channel",
    ),
    pytest.param(
        FILE, 'wire = "1.5 A"', 'wire = "240 mA"',
        "sweep.currents[5]: 250 mA is above ratings.wire, 240 mA; lower it", id="above-rating",
    ),
    pytest.param(
        FILE, '"20 mA", "50 mA"', '"50 mA", "20 mA"',
        "sweep.currents[1]: 20 mA does not rise above 50 mA before it; sort them upwards", id="not-rising",
    ),
    pytest.param(
        FILE, 'pulse = "100 ms"', 'pulse = "1 s"',
        "sweep.pulse: 1 s warms what it should find cold; take 300 ms or less", id="pulse",
    ),
    pytest.param(
        FILE, 'longest = "10 min"', 'longest = "30 s"',
        "sweep.longest: 30 s is no longer than within, 30 s; raise it", id="longest",
    ),
    pytest.param(
        FILE, 'margin = "90 %"', 'margin = "110 %"',
        "margin: 110 % promises nothing, or more than there is; take such as '90 %'", id="margin",
    ),
    pytest.param(
        FILE, 'none_at = "155 C"', 'none_at = "60 C"',
        "resistor.none_at: 60 C is not above full_to, 70 C; swap them", id="no-fall",
    ),
    pytest.param(
        FILE, 'length = "3 m"\narea = "0.25 mm2"', 'length = "3 m"',
        "budget[0].length: stands without the cross-section of a core; add area = \"0.25 mm2\", or awg = 24", id="lead",
    ),
    pytest.param(
        FILE, 'area = "0.25 mm2"', 'area = "0.25 mm2"\nawg = 24',
        "budget[0].awg: stands beside area; keep one of the two", id="lead-twice",
    ),
    pytest.param(
        FILE, 'peak = "70 mA"', 'peak = "40 mA"', "budget[0].peak: 40 mA is below current, 50 mA; swap them", id="peak"
    ),
    pytest.param(
        FILE, 'name = "router"', 'name = "display"',
        "budget[2].name: 'display' is there already; give each its own", id="twice",
    ),
    pytest.param(
        FILE, 'resistor = { resistance = "8.2 ohm", tolerance = "5 %", power = "2 W", source = "generic" }\n', "",
        "what_if[0]: needs exactly one of resistor, fuse and generic", id="what-if",
    ),
    pytest.param(
        FILE, 'ambient_max = "50 C"', 'ambient_max = "90 C"',
        "ambient_max: 90 C is beyond the derating table of what_if 'resettable fuse, 0.2 A hold', which ends at 85 C",
        id="what-if-hot",
    ),
    pytest.param(
        FUSE, 'ambient_max = "50 C"', 'ambient_max = "90 C"',
        "ambient_max: 90 C is beyond the derating table of [fuse], which ends at 85 C; add to the table", id="hot",
    ),
    pytest.param(
        FUSE, 'trip = "400 mA"', 'trip = "150 mA"', "fuse.trip: 150 mA is not above hold, 200 mA; swap them", id="trip"
    ),
    pytest.param(
        FUSE, 'at = "20 C"\n', 'at = "90 C"\n',
        "fuse.at: 90 C is beyond the derating table, which ends at 85 C; add to the table", id="at",
    ),
    pytest.param(
        FUSE, 'r1_max = "5 ohm"', 'r1_max = "1 ohm"',
        "fuse.r1_max: 1 ohm is not above r_min, 1.5 ohm; swap them", id="r1",
    ),
    pytest.param(
        FUSE, '{ current = "1 A", within', '{ current = "300 mA", within',
        "fuse.time_to_trip.current: 300 mA is not above trip, 400 mA; a time is stated at several times hold",
        id="time",
    ),
    pytest.param(
        FUSE, '{ at = "40 C", share = "83 %" }', '{ at = "10 C", share = "83 %" }',
        "fuse.derating[3].at: 10 C is not above 20 C before it; sort them upwards", id="derating-order",
    ),
    pytest.param(
        FUSE, 'share = "67 %"', 'share = "90 %"',
        "fuse.derating[4].share: 90 % is above 83 % of a cooler fuse; it must fall", id="derating-rises",
    ),
    pytest.param(
        FUSE, 'multiple = 5', 'multiple = 2',
        "trip.multiple: is 2: between hold and trip nobody knows what a fuse does; take 3 or more", id="multiple",
    ),
    pytest.param(
        FUSE, 'multiple = 5', 'multiple = 20',
        "trip.multiple: is 20 times 200 mA, 4 A: load and supply reach 3 A; lower it", id="too-much",
    ),
    pytest.param(
        FUSE, 'volts = "12 V"', 'volts = "27 V"',
        "trip.volts: 27 V is above the fuse's v_max or the supply's protection; lower it", id="volts",
    ),
    pytest.param(
        FUSE, '"160 mA", "190 mA"', '"160 mA", "210 mA"',
        "sweep.currents[5]: 210 mA is above the fuse's hold, 200 mA: a sweep must not trip it; lower it", id="hold",
    ),
    pytest.param(
        LIMITS, 'outlet = "cabinet-outlet"', 'outlet = "cabinet"',
        "limits/cabinet-outlet.toml: line 2: outlet: is 'cabinet' in the file of 'cabinet-outlet'", id="limits-name",
    ),
    pytest.param(
        LIMITS, "[usable]", '[fuse]\ntime_to_trip = "8 s"\n[usable]',
        "fuse: is for a resettable fuse, and fixtures/outlets/cabinet-outlet.toml has none; leave it out",
        id="limits-fuse",
    ),
    pytest.param(
        LIMITS, 'lower = "11.4 V"', 'lower = "14 V"',
        "open.lower: lower 14 V is above upper 13.2 V; swap them", id="limits-crossed",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "says"), WRONG)
def test_a_wrong_file_is_met_with_its_place_and_the_cure(demo: Project, file: str, old: str, new: str, says: str):
    """File, line, key, value and what to write instead."""
    demo.replace(file, old, new)
    written, first = (demo.root / file).read_text().splitlines(), new.partition("\n")[0]
    line = next(number for number, text in enumerate(written, 1) if first in text)
    with pytest.raises(FileFaults) as caught:
        load_outlet_setup(demo.root, Path(file).stem, "simulated")
    assert says.format(file=file, line=line) in str(caught.value)
    assert all(fault.line for fault in caught.value.faults)


#: The demo's second what_if, with a generic fuse in place of its resistor.
AS_GENERIC = (
    'resistor = { resistance = "15 ohm", tolerance = "5 %", power = "2 W", source = "the cabinet before its repair" }',
    'generic = "1812-020"',
)


def test_a_generic_fuse_is_taken_from_the_table(demo: Project):
    """By its name: 200 mA of hold current, at the table's 20 C."""
    demo.replace(FUSE, *AS_GENERIC)
    limiter = others_of(load_outlet_setup(demo.root, "cabinet-outlet-fuse", "simulated").outlet)[-1].limiter
    assert isinstance(limiter, FuseData)
    assert (limiter.hold_A, limiter.at_C) == (0.2, 20.0)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        pytest.param('"1812-020"', '"1812-02"', "generic fuse '1812-02'; did you mean '1812-020'?", id="name"),
        pytest.param('max = "50 C"', 'max = "90 C"', "which ends at 85 C; give it a fuse of its own", id="hot"),
    ],
)
def test_a_generic_fuse_that_is_none_or_too_hot_is_met_with_its_place(demo: Project, old: str, new: str, says: str):
    """A near miss with the right name, an ambient beyond the table with the cure; each with its line."""
    demo.replace(FUSE, *AS_GENERIC)
    demo.replace(FUSE, old, new)
    line = next(number for number, text in enumerate((demo.root / FUSE).read_text().splitlines(), 1) if new in text)
    with pytest.raises(FileFaults) as caught:
        load_outlet_setup(demo.root, "cabinet-outlet-fuse", "simulated")
    assert says in str(caught.value)
    assert line in [fault.line for fault in caught.value.faults]


def test_two_limiters_or_none_are_refused(demo: Project):
    """What stands in series is one thing."""
    demo.replace(FUSE, "[sweep]", '[resistor]\nresistance = "15 ohm"\npower = "2 W"\nsource = "drawing"\n\n[sweep]')
    with pytest.raises(
        FileFaults, match=r"needs what stands in series with the outlet: either \[resistor\] or \[fuse\]"
    ):
        load_outlet_setup(demo.root, "cabinet-outlet-fuse", "simulated")


def test_faults_of_all_files_come_at_once(demo: Project):
    """Outlet, limits and the host's fixture are mended in one pass."""
    demo.replace(FILE, 'part = "RACC"', 'part = "RAC"')
    demo.replace(LIMITS, 'outlet = "cabinet-outlet"', 'outlet = "cabinet"')
    demo.replace("fixtures/benches/simulated.toml", 'mains = "50 Hz"', 'mains = "50"')
    with pytest.raises(FileFaults) as caught:
        load_outlet_setup(demo.root, "cabinet-outlet", "simulated")
    assert len({fault.file for fault in caught.value.faults}) >= 2


@settings(deadline=None)
@given(st.lists(st.integers(1, 3000), min_size=3, max_size=8))
def test_a_sweep_takes_rising_currents_and_no_others(milliamperes: list[int]):
    """Whatever is written: it is read as it stands where it rises, and refused with the place where it does not."""
    table = {"currents": [f"{each} mA" for each in milliamperes]}
    if milliamperes == sorted(set(milliamperes)):
        assert [float(each) for each in Sweep.model_validate(table).currents] == [each / 1000 for each in milliamperes]
    else:
        with pytest.raises(ValueError, match="does not rise above"):
            Sweep.model_validate(table)
