"""A circuit's two files, read and checked against each other."""

from __future__ import annotations

from pathlib import Path

import pytest

from batchtest.errors import FileFaults
from batchtest.files.parts import load_circuit

DEMO = Path(__file__).parents[2] / "fixtures" / "circuits"

NETLIST = ".subckt box a n0\nR1 a b 1k\nD1 b n0 M\n.ends\n.model M D(IS=1e-14)\n"
PARTS = """circuit = "box"

[connector]
kind = "two poles"
pins = ["a", "n0"]

[part.R1]
role = "load"
place = ["6 mm", "12 mm"]
rating = { voltage = "200 V", power = "250 mW" }
tolerance = { value = "1 %" }
modes = ["open", "short"]
bridges = [{ net = "b", to = "n0", part = "D1" }]

[part.D1]
role = "clamp"
tolerance = { saturation_current = "30 %" }

[probe.TP1]
node = "b"
settle = "5 ms"
bleed = "100 ms"
"""


def load(folder: Path, netlist: str = NETLIST, parts: str = PARTS):
    """Write both files and read them."""
    (folder / "box.cir").write_text(netlist)
    (folder / "box.parts.toml").write_text(parts)
    return load_circuit(folder, "box")


def test_both_files_become_one_circuit(tmp_path):
    """Cards and parts come together, quantities in base units."""
    circuit = load(tmp_path)
    assert [card.name for card in circuit.netlist.cards] == ["R1", "D1"]
    assert float(circuit.parts.part["R1"].tolerance.value) == pytest.approx(0.01)
    assert [float(metres) for metres in circuit.parts.part["R1"].place] == [0.006, 0.012]
    assert float(circuit.parts.probe["TP1"].settle) == pytest.approx(0.005)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        pytest.param(
            "[part.D1]",
            "[part.D11]",
            "box.parts.toml: line 15: part.D11: is no card of box.cir; did you mean",
            id="part",
        ),
        pytest.param(
            "[part.D1]", "[part.D2]", "box.cir: line 3: D1: has no entry in box.parts.toml; add [part.D1]", id="card"
        ),
        pytest.param(
            '["a", "n0"]', '["n0", "a"]', "line 5: connector.pins: are not the ports of the netlist", id="pins"
        ),
        pytest.param(
            'node = "b"', 'node = "bb"', "line 20: probe.TP1.node: is 'bb', which is no node of the netlist", id="node"
        ),
        pytest.param(
            '"short"]', '"shrt"]', "line 12: part.R1.modes[1]: is 'shrt', no way for R1 to fail; did you", id="mode"
        ),
        pytest.param(
            'part = "D1"',
            'part = "D9"',
            "line 13: part.R1.bridges[0].part: is 'D9', which is no part",
            id="bridge-part",
        ),
        pytest.param(
            'net = "b"', 'net = "n0"', "line 13: part.R1.bridges[0].net: is 'n0', no net of R1", id="bridge-net"
        ),
        pytest.param(
            'circuit = "box"', 'circuit = "bx"', "line 1: circuit: is 'bx' in the file of 'box'", id="circuit"
        ),
    ],
)
def test_what_does_not_fit_names_file_line_and_cure(tmp_path, old, new, message):
    """Netlist and parts file must name the same parts, pins and nodes."""
    with pytest.raises(FileFaults) as caught:
        load(tmp_path, parts=PARTS.replace(old, new))
    assert any(message in str(fault) for fault in caught.value.faults)


def test_a_subcircuit_with_another_name_than_its_file_is_refused(tmp_path):
    """A copied netlist keeps no foreign name."""
    with pytest.raises(FileFaults, match=r"box\.cir: \.subckt is named 'bax'; name it 'box' as its file"):
        load(tmp_path, netlist=NETLIST.replace("box", "bax"))


def test_faults_of_both_files_come_at_once(tmp_path):
    """Neither file hides the other's faults."""
    with pytest.raises(FileFaults) as caught:
        load(tmp_path, netlist=NETLIST.replace("1k", "x"), parts=PARTS.replace('"1 %"', '"1"'))
    assert {fault.file for fault in caught.value.faults} == {"box.cir", "box.parts.toml"}


def test_a_missing_circuit_gets_the_nearest_name():
    """A misspelt circuit is told apart from one that is not there."""
    with pytest.raises(FileFaults, match=r"vant\.cir: is not there; did you mean 'vent'\?"):
        load_circuit(DEMO, "vant")


def test_a_netlist_that_is_no_text_is_refused(tmp_path):
    """Bytes that are not UTF-8 are named by their place."""
    (tmp_path / "box.parts.toml").write_text(PARTS)
    (tmp_path / "box.cir").write_bytes(b".subckt \xff")
    with pytest.raises(FileFaults, match=r"box\.cir: is not UTF-8 at byte 8"):
        load_circuit(tmp_path, "box")


def test_faults_are_named_from_the_root_of_the_project():
    """A file is called by its way from the project's folder."""
    with pytest.raises(FileFaults, match=r"fixtures/circuits/none\.cir: is not there"):
        load_circuit(DEMO, "none", DEMO.parents[1])


@pytest.mark.parametrize("name", ["vent", "mist", "cabinet", "vent-nest", "mist-nest"])
def test_the_demo_circuits_are_whole(name):
    """The shipped circuits fit together, and every pin of their connector has a test point entry."""
    circuit = load_circuit(DEMO, name)
    probed = {probe.node for probe in circuit.parts.probe.values()}
    assert set(circuit.netlist.ports) <= probed
