"""The netlist reader: what it takes, and what it says of every fault."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.errors import FileFaults
from batchtest.files.circuit import Card, Netlist
from batchtest.files.netlist import parse_netlist, spice_number


def read(cards: str, ports: str = "a n0") -> Netlist:
    """A netlist of some cards; the cards begin on line 2."""
    return parse_netlist(f".subckt box {ports}\n{cards}\n.ends\n", "box.cir")


def faults(text: str) -> list[str]:
    """All faults of a text."""
    with pytest.raises(FileFaults) as caught:
        parse_netlist(text, "box.cir")
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.44k", 1440.0),
        ("10Meg", 1e7),
        ("10MEG", 1e7),
        ("5m", 5e-3),
        ("2.5n", 2.5e-9),
        ("1e-14", 1e-14),
        ("1E-14", 1e-14),
        (".5", 0.5),
        ("3.", 3.0),
        ("-24", -24.0),
        ("7f", 7e-15),
        ("7p", 7e-12),
        ("7u", 7e-6),
        ("7g", 7e9),
        ("7T", 7e12),
        ("1e3k", 1e6),
    ],
)
def test_numbers_with_suffixes(text, value):
    """Scale suffixes count in either case, and "meg" is not "m"."""
    assert spice_number(text) == pytest.approx(value)


@pytest.mark.parametrize(
    "text", ["", "k", "1,5k", "1.5kohm", "10 k", "1e", "0x10", "1e999", "--1", "nan", "inf", "1.2.3"]
)
def test_what_is_no_number_is_refused(text):
    """Units, commas and guesses are not read."""
    with pytest.raises(ValueError, match=r"is (not a number such as 1\.44k|out of range)"):
        spice_number(text)


def test_every_kind_of_card():
    """All six kinds are read with their nodes in lower case, names and models in upper case, and their lines."""
    netlist = read(
        "r1 A n0 1.2k\nV1 a n0 DC 24\nI1 a n0 1m\nD1 a n0 zener\nQ1 a b n0 Npn\nE1 x n0 a n0 0.795\n"
        ".model Zener D(IS=1e-14 BV = 12.8 IBV=5m)\n.model NPN npn is=1e-14 bf=200 va=50"
    )
    assert netlist.ports == ("a", "n0")
    assert netlist.cards == (
        Card("R1", "R", ("a", "n0"), 1200.0, None, 2),
        Card("V1", "V", ("a", "n0"), 24.0, None, 3),
        Card("I1", "I", ("a", "n0"), 1e-3, None, 4),
        Card("D1", "D", ("a", "n0"), 0.0, "ZENER", 5),
        Card("Q1", "Q", ("a", "b", "n0"), 0.0, "NPN", 6),
        Card("E1", "E", ("x", "n0", "a", "n0"), 0.795, None, 7),
    )
    assert netlist.models["ZENER"].parameters == {"IS": 1e-14, "BV": 12.8, "IBV": 5e-3}
    assert netlist.models["NPN"].kind == "NPN"
    assert netlist.models["NPN"].parameters == {"IS": 1e-14, "BF": 200.0, "VAF": 50.0}


def test_comments_and_continuations():
    """Whole-line and trailing comments go, continued lines join, and .end is no fault."""
    netlist = parse_netlist(
        "* a box\n.SUBCKT box a n0 ; two pins\n+ b\n* inside\nR1 a\n* between\n+ n0\n\n+ 1k $ the load\n"
        "R2 a n0 2k\r\n.ENDS box\n.model D D(IS=1n\n+ N=2)\n.end\n",
        "box.cir",
    )
    assert netlist.ports == ("a", "n0", "b")
    assert [(card.name, card.value, card.line) for card in netlist.cards] == [("R1", 1000.0, 5), ("R2", 2000.0, 10)]
    assert netlist.models["D"].parameters == {"IS": 1e-9, "N": 2.0}


def test_free_pins_and_single_ended_nodes_are_allowed():
    """A port that nothing uses is a free pin, and a node may have one connection."""
    assert read("R1 a stub 1k", "a n0 id").ports == ("a", "n0", "id")


@pytest.mark.parametrize(
    ("cards", "message"),
    [
        pytest.param("C1 a n0 1u", "line 2: C1: is no card that is known here; known: R V I D Q E", id="kind"),
        pytest.param("R-1 a n0 1k", "line 2: R-1: is no card that is known here", id="card-name"),
        pytest.param(
            "R1 a 1k", "line 2: R1: needs 2 nodes and one more word, such as 'R1 a b 1.2k', got 2", id="nodes"
        ),
        pytest.param("Q1 a b M", "line 2: Q1: needs 3 nodes and one more word", id="transistor-nodes"),
        pytest.param("R1 a n0 0", "line 2: R1: has the resistance 0; write one above zero", id="zero-ohm"),
        pytest.param("R1 a n0 -1k", "line 2: R1: has the resistance -1k", id="negative-ohm"),
        pytest.param("R1 a n0 1kohm", "line 2: R1: is not a number such as 1.44k", id="unit"),
        pytest.param("R1 a n0 1\nr1 a n0 2", "line 3: R1: is there twice (first on line 2)", id="duplicate"),
        pytest.param("R1 a 0 1k", "line 2: R1: uses the node '0', which is no net of a board", id="node-0"),
        pytest.param("R1 a b.c 1k", "line 2: R1: uses the node 'b.c'; write letters", id="node-name"),
        pytest.param(
            "D1 a n0 DREK\n.model DREC D",
            "line 2: D1: uses the model 'DREK', which is not defined; did you mean 'DREC'?",
            id="no-model",
        ),
        pytest.param("D1 a n0 M\n.model M NPN", "line 2: D1: uses M, a model of kind NPN; it needs D", id="model-kind"),
        pytest.param(
            "Q1 a b n0 M\n.model M D", "line 2: Q1: uses M, a model of kind D; it needs NPN or PNP", id="for-Q"
        ),
        pytest.param(".model M DD(IS=1)", "line 2: M: has the model kind 'DD'; did you mean 'D'?", id="model-unknown"),
        pytest.param(
            ".model M D(IBVV=1)", "line 2: M.IBVV: is no parameter of the model D; did you mean 'IBV'?", id="parameter"
        ),
        pytest.param(
            ".model M D(IS)",
            "line 2: M: has 'IS' where a parameter should be; write it such as IS=1e-14",
            id="no-value",
        ),
        pytest.param(".model M D(IS=1x)", "line 2: M.IS: is not a number", id="bad-parameter"),
        pytest.param(".model M D(IS=0)", "line 2: M.IS: is 0; it must be above zero", id="zero-parameter"),
        pytest.param(".model M D(RS=-1)", "line 2: M.RS: is -1; it must be above zero", id="negative-RS"),
        pytest.param(".model M D(N=1 N=2)", "line 2: M.N: is given twice; keep one", id="parameter-twice"),
        pytest.param(
            ".model M D\n.model m D", "line 3: M: is there twice (first on line 2); keep one", id="model-twice"
        ),
        pytest.param(".model", "line 2: has the model kind ''", id="model-bare"),
        pytest.param(
            ".modle M D", "line 2: '.modle' is no command that is known here; did you mean '.model'?", id="command"
        ),
        pytest.param(".subckt other a", "line 2: is a second .subckt (the first is on line 1)", id="second-subckt"),
    ],
)
def test_a_fault_names_its_line_and_the_cure(cards, message):
    """Each fault says where it is, what is wrong and what to write instead."""
    (fault,) = faults(f".subckt box a n0\n{cards}\n.ends\n")
    assert fault.startswith(f"box.cir: {message}")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        pytest.param("", "line 1: has no .subckt; begin with '.subckt NAME port1 port2 ...'", id="empty"),
        pytest.param(".subckt box a\nR1 a b 1\n", "line 3: .subckt box is not closed; end it with '.ends'", id="open"),
        pytest.param(".subckt\n.ends", "line 1: needs a name and its ports", id="bare"),
        pytest.param(".subckt box a a\n.ends", "line 1: .subckt: names the port 'a' twice", id="port-twice"),
        pytest.param(".subckt box a\n.ends\n.ends", "line 3: .ends closes no .subckt", id="second-ends"),
        pytest.param(".subckt box a\n.ends\nR1 a b 1", "line 3: R1: stands outside the .subckt", id="outside"),
        pytest.param("+ R1\n.subckt box a\n.ends", "line 1: goes on with '+' where no card came before", id="plus"),
    ],
)
def test_a_fault_of_the_frame_names_its_line(text, message):
    """What is wrong around the cards is said as clearly."""
    assert any(fault.startswith(f"box.cir: {message}") for fault in faults(text))


def test_all_faults_come_at_once_in_the_order_of_the_lines():
    """One pass mends the file."""
    found = faults(".subckt box a n0\nC1 a n0 1\nR1 a n0 x\nD1 a n0 M\nR2 a n0 -1\n.ends\n")
    assert [fault.split(": ")[1] for fault in found] == ["line 2", "line 3", "line 4", "line 5"]


_NODES = st.text("abcdefgh_0123456789", min_size=1, max_size=4).filter(lambda node: node != "0")


@given(
    st.lists(st.tuples(_NODES, _NODES, st.floats(1e-9, 1e12)), max_size=12),
    st.lists(_NODES, min_size=1, max_size=8, unique=True),
    st.booleans(),
)
def test_what_is_written_is_read_back(resistors, ports, upper):
    """Resistors survive the way through a text, in either case."""
    cards = [f"R{index} {one} {other} {ohms!r}" for index, (one, other, ohms) in enumerate(resistors)]
    text = "\n".join([f".subckt box {' '.join(ports)}", *cards, ".ends"])
    netlist = parse_netlist(text.upper() if upper else text, "box.cir")
    assert netlist.ports == tuple(ports)
    assert [(*card.nodes, card.value) for card in netlist.cards] == [
        (one, other, pytest.approx(ohms)) for one, other, ohms in resistors
    ]


_WORDS = st.sampled_from(
    [".subckt", ".ends", ".model", "R1", "D1", "Q1", "E1", "V1", "+", "*", ";", "$", "a", "0", "1k", "D("]
)


@given(st.one_of(st.text(), st.lists(st.lists(_WORDS, max_size=6).map(" ".join), max_size=8).map("\n".join)))
def test_no_text_does_worse_than_faults(text):
    """Whatever stands in the file, it is read, or refused with faults that have lines; numbers are finite."""
    try:
        netlist = parse_netlist(text, "box.cir")
    except FileFaults as error:
        lines = [fault.line for fault in error.faults]
    else:
        lines = [card.line for card in netlist.cards if math.isfinite(card.value)]
        assert len(lines) == len(netlist.cards)
    assert all(line >= 1 for line in lines)
