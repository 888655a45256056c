"""A bench file that is like another: its tables are taken from there, and faults name the file where they stand."""

from __future__ import annotations

from hashlib import sha256

import pytest

from batchtest.errors import FileFaults
from batchtest.files.library import load_bench

from .conftest import Project

NEAR = "fixtures/benches/near.toml"
PRETEND = "fixtures/benches/pretend.toml"
TEXT = """\
like = "pretend"
station = "near"
mains = "60 Hz"

[simulation]
fixture = "nest"
seed = 8
"""


@pytest.fixture
def near(project: Project) -> Project:
    """The example project with a bench that is like "pretend"."""
    (project.root / NEAR).write_text(TEXT)
    return project


def test_tables_are_taken_and_plain_keys_are_not(near: Project) -> None:
    """A table that is written is taken whole, so that nothing of the other one hides in it."""
    near.replace(PRETEND, 'mains = "50 Hz"', 'mains = "50 Hz"\nambient = "25 C"\nchallenge_every = "7 d"')
    bench, other = load_bench(near.root, "near"), load_bench(near.root, "pretend")
    assert (bench.station, bench.mains, bench.ambient, bench.challenge_every) == ("near", 60, None, None)
    assert (bench.meter, bench.load, bench.supply) == (other.meter, other.load, other.supply)
    assert (bench.scanner, bench.reference) == (other.scanner, other.reference)
    assert bench.simulation is not None
    assert (bench.simulation.seed, bench.simulation.boards, bench.simulation.open_needles) == (8, {}, ())


def test_both_files_have_their_hashes(near: Project) -> None:
    """A record says with what the board was tested, to the last file."""
    hashes = near.load("near").hashes
    for file in (NEAR, PRETEND):
        assert hashes[file] == sha256((near.root / file).read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        pytest.param(NEAR, "seed = 8", "seed = true", f"{NEAR}: line 7: simulation.seed: needs a whole", id="own"),
        pytest.param(
            PRETEND, '"14 V"', '"14"', f"{PRETEND}: line 31: supply.protection.voltage: has no unit", id="other"
        ),
        pytest.param(NEAR, 'station = "near"\n', "", f"{NEAR}: line 1: station: is missing; add it", id="missing"),
        pytest.param(PRETEND, "[scanner]", "[scanners]", f"{PRETEND}: line 37: scanners: is no known", id="unknown"),
        pytest.param(NEAR, "seed = 8", "seed = 8\n[seed]", f"{NEAR}: line 8: seed: is no known key", id="own-table"),
        pytest.param(NEAR, '"nest"', '"nets"', f"{NEAR}: line 6: simulation.fixture: there is no fixture", id="check"),
        pytest.param(PRETEND, "scanner = 40", "scanner = 2", "fixtures/nest.toml: line ", id="between-files"),
        pytest.param(PRETEND, "[load]", "[load", f"{PRETEND}: line 22: needs a closing ]", id="no-toml"),
        pytest.param(
            PRETEND,
            '"90 d"',
            '"90 d"\naddress = "GPIB0::5::INSTR"',
            f"{PRETEND}: line 16: meter.address: stands beside [simulation]",
            id="rule",
        ),
    ],
)
def test_a_fault_names_the_file_where_it_stands(near: Project, file: str, old: str, new: str, says: str) -> None:
    """File and line are those of the text that has to be mended."""
    near.replace(file, old, new)
    with pytest.raises(FileFaults) as caught:
        near.load("near")
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        pytest.param(
            '"pretend"', '"pretent"', "there is no other file 'pretent' beside it; did you mean 'pretend'?", id="slip"
        ),
        pytest.param(
            '"pretend"', '"near"', "there is no other file 'near' beside it; known: pretend, table", id="itself"
        ),
        pytest.param('"pretend"', '"../nest"', "there is no other file '../nest' beside it; ", id="path"),
        pytest.param('"pretend"', "3", "needs text in quotes", id="number"),
    ],
)
def test_a_file_that_cannot_be_meant_is_refused(near: Project, old: str, new: str, says: str) -> None:
    """With the line of the key and the nearest name."""
    near.replace(NEAR, old, new)
    with pytest.raises(FileFaults, match=r"^fixtures/benches/near\.toml: line 1: like: ") as caught:
        near.load("near")
    assert says in str(caught.value)


def test_what_is_like_another_is_not_taken_from(near: Project) -> None:
    """One look at one other file must tell what a bench is."""
    (near.root / "fixtures" / "benches" / "far.toml").write_text(TEXT.replace("pretend", "near"))
    with pytest.raises(
        FileFaults, match=r"far\.toml: line 1: like: names 'near', which is like 'pretend' itself; name one that writes"
    ):
        near.load("far")


def test_files_of_other_kinds_have_no_such_key(project: Project) -> None:
    """A cable is written out, pin by pin."""
    project.replace("fixtures/cables/lead.toml", "takes", 'like = "lead"\ntakes')
    with pytest.raises(FileFaults, match=r"lead\.toml: line 1: like: is no known key"):
        project.load()
