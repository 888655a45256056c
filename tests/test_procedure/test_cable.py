"""The fixture's cable as the gate will know it, or a refusal that names the cure."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from stations import ROOT
from test_cables.bench_views import suspects

from batchtest.cables import APART
from batchtest.cables.ids import E24
from batchtest.errors import FileFaults
from batchtest.files.library import Setup, load_cable, load_setup
from batchtest.nouns import Limit, Measurand, Measurement, Phase
from batchtest.procedure import derive
from batchtest.procedure.cable import harness_of, suspects_of, with_checks

#: The feed, what each kind of wire shows at, and where an id resistor is read.
POINTS = ("feed", "id", "spare", "drive-a", "drive-b-reversed")
BOUND = Limit(lower=1.0)
_RESISTOR = re.compile(r"(?ms)^\[id_resistor\].*?^pins = .*?\n")


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """The demo's files, free to be spoiled."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, tmp_path / name)
    return tmp_path


def change(path: Path, how: Callable[[str], str]) -> None:
    """Change a file."""
    before = path.read_text()
    after = how(before)
    assert after != before, f"nothing to change in {path.name}"
    path.write_text(after)


def take_out(project: Path, *cables: str) -> None:
    """Take the id resistor out of some cables."""
    for name in cables:
        change(project / "fixtures" / "cables" / f"{name}.toml", lambda text: _RESISTOR.sub("", text))


def leave_out_identify(project: Path) -> None:
    """Take out that the fixture reads an id resistor, as for a cable that has none."""
    change(project / "fixtures" / "vent-nest.toml", lambda text: re.sub(r"(?m)^identify = .*\n", "", text))


def few_points(root: Path, *points: str) -> Setup:
    """The vent's setup with some of its points only, which is solved sooner."""
    setup = load_setup(root, "vent-nest", "simulated")
    kept = {name: setup.fixture.points[name] for name in points or POINTS}
    return replace(setup, fixture=setup.fixture.model_copy(update={"points": kept}))


def test_the_demos_cable_is_known_among_all_of_the_library():
    """By the distance that is wanted, from each of the others."""
    found = suspects_of(few_points(ROOT))
    assert found.signature.cable == "vent-lead"
    assert set(found.signature.distances) == {"mist-lead", "long-lead"}
    assert min(found.signature.distances.values()) >= APART
    assert found.cables["mist-lead"] == load_cable(ROOT, "mist-lead")


def test_without_its_id_resistor_a_look_alike_is_refused_and_with_the_proposed_one_accepted(project: Path):
    """The refusal names file, line, cable, how near it is and the cure; following the cure to the letter mends it."""
    take_out(project, "vent-lead", "long-lead")
    leave_out_identify(project)
    with pytest.raises(FileFaults) as refused:
        derive(few_points(project))
    (fault,) = refused.value.faults
    written = (project / "fixtures" / "vent-nest.toml").read_text().splitlines()
    assert fault.file == "fixtures/vent-nest.toml"
    assert written[fault.line - 1].startswith('cable = "vent-lead"')
    said = re.fullmatch(
        r"no cold reading of this fixture tells vent-lead from long-lead \(the best, pin map [^,]+(?:, [^,]+)?, "
        r"by 0\.\d U\); 10 expanded uncertainties are wanted; fit an id resistor of (\d\.\d kohm), 1 %, between host "
        r"pins 8 and 7 of vent-lead: it keeps it apart from every other cable by at least (\d+) U",
        fault.message,
    )
    assert said is not None, fault.message
    assert said[1].removesuffix(" kohm") in E24
    assert float(said[2]) >= APART

    resistor = f'[id_resistor]\nvalue = "{said[1]}"\ntolerance = "1 %"\npins = [8, 7]\n\n[[wires]]'
    change(project / "fixtures" / "cables" / "vent-lead.toml", lambda text: text.replace("[[wires]]", resistor, 1))
    change(project / "fixtures" / "vent-nest.toml", lambda text: 'identify = "id"\n' + text)
    mended = suspects_of(few_points(project)).signature
    assert mended.like == ()
    assert set(mended.distances) == {"mist-lead", "long-lead"}
    assert min(mended.distances.values()) >= APART


def test_one_resistor_among_two_look_alikes_is_enough(project: Path):
    """With it out of the long lead alone, that one reads open where the vent's reads 1 kohm."""
    take_out(project, "long-lead")
    found = suspects_of(few_points(project)).signature
    assert found.like == ()
    assert found.best["long-lead"].name == "id resistor of vent-lead"
    assert found.best["long-lead"].expected["long-lead"].value is None
    assert found.distances["long-lead"] >= APART


def test_a_cable_without_a_resistor_is_accepted_where_other_readings_tell_it(project: Path):
    """The mist's lead has none: it is told from the vent's by its wire to the pin that the vent's leaves free."""
    take_out(project, "mist-lead")
    found = suspects_of(few_points(project)).signature
    assert found.best["mist-lead"].reading.point == "spare"


def test_without_a_place_for_a_resistor_a_point_is_asked_for(project: Path):
    """Every cable that is like is named; the cure is a point across a free pin."""
    take_out(project, "vent-lead", "mist-lead", "long-lead")
    leave_out_identify(project)
    with pytest.raises(FileFaults) as refused:
        suspects_of(few_points(project, "feed", "logic"))
    (fault,) = refused.value.faults
    assert re.search(r"tells vent-lead from long-lead \(.* U\) and mist-lead \(.* U\); 10 expanded", fault.message)
    assert fault.message.endswith(
        "add a point across a host pin that no cable has a wire on, and fit an id resistor there"
    )


def test_a_harness_is_the_setups_board_in_its_fixture():
    """With the setup's meter."""
    setup = load_setup(ROOT, "vent-nest", "simulated")
    found = harness_of(setup)
    assert (found.host.name, found.board.name) == ("vent-nest", "vent")
    assert found.cold.fixture == setup.fixture


def check(point: str, measurand: Measurand, range_: float, limit: Limit | None = BOUND) -> Measurement:
    """A cold check of the board."""
    return Measurement(
        name=f"{point}-check", phase=Phase.GATE, point=point, measurand=measurand, unit="any", range=range_, limit=limit
    )


def test_the_boards_cold_checks_are_told_to_the_suspects():
    """Each with the meter's reading on its range, and its own limit; what is not judged tells nothing."""
    known = suspects()
    found = with_checks(
        known,
        [
            check("logic", Measurand.RESISTANCE, 1e4),
            check("analog", Measurand.DIODE, 5.0),
            check("core", Measurand.RESISTANCE, 1e4, limit=None),
            check("bias", Measurand.VOLTAGE, 1.0),
        ],
    )
    assert [(one.name, one.reading.point, one.reading.unit, one.reading.range) for one in found.checks] == [
        ("logic-check", "logic", "ohm", 1e4),
        ("analog-check", "analog", "V", 5.0),
    ]
    assert {one.limit for one in found.checks} == {BOUND}
    assert (found.signature, found.harness) == (known.signature, known.harness)
