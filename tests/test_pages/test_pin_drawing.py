"""The drawings of cables: every core where the file leads it, and what differs told without colour."""

from __future__ import annotations

import re
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stations import ROOT

from batchtest.cables.wiring import differences, goes_to
from batchtest.files.cable import CableFile
from batchtest.files.library import load_cable
from batchtest.pages.cores import Ends, NamedCable, colour_word, differing_wires, id_words, inks, wire_in_words
from batchtest.pages.pin_drawing import cable_drawing, line_sample, pair_drawing

SVG = "{http://www.w3.org/2000/svg}"
ENDS = Ends(("ka", "p24", "kb", "pos", "sg", "acc", "n0", "id"), ("da", "p24", "db", "pos", "sg", "sg2", "n0", "id"))
VENT, MIST, LONG = (NamedCable(name, load_cable(ROOT, name)) for name in ("vent-lead", "mist-lead", "long-lead"))

pins = st.integers(1, 12)
wires = st.dictionaries(pins, st.tuples(pins, st.text(max_size=20)), min_size=1, max_size=10)


def _cable(known: dict[int, tuple[int, str]], **changes: object) -> CableFile:
    wired = [{"board": board, "host": host, "colour": colour} for board, (host, colour) in known.items()]
    return CableFile.model_validate(
        {"takes": ["vent"], "length": "1 m", "per_metre": "80 mohm/m", "contact": "10 mohm", "wires": wired, **changes}
    )


def _shapes(drawing: str) -> ElementTree.Element:
    return ElementTree.fromstring(str(drawing).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def _texts(drawing: str, kind: str) -> list[str]:
    return [text.text or "" for text in _shapes(drawing).iter(f"{SVG}text") if kind in text.get("class", "").split()]


def _arrows(drawing: str) -> list[tuple[str, str]]:
    """Class and height of every arrow at a host pin."""
    found = re.findall(r'<path d="M\d+ ([\d.]+)l13[^"]*" class="([^"]*)"', drawing)
    return [(kind, height) for height, kind in found]


def test_every_pin_has_its_number_and_name_at_both_ends():
    """Eight pins at either end, as the connectors name them."""
    drawing = cable_drawing(VENT, ENDS, "a")
    assert _texts(drawing, "pin-number") == [str(pin) for pin in (*range(1, 9), *range(1, 9))]
    assert _texts(drawing, "pin-name") == [*ENDS.host, *ENDS.board]


def test_every_core_has_its_code_and_word():
    """Code and word of IEC 60757 stand on each core, at its board pin."""
    assert _texts(cable_drawing(VENT, ENDS, "a"), "core-text") == [
        "WH white", "BN brown", "GN green", "YE yellow", "GY grey", "PK pink", "BU blue",
    ]  # fmt: skip


@pytest.mark.parametrize("known", [VENT, MIST, LONG], ids=lambda known: known.name)
def test_a_core_ends_at_the_pins_that_the_file_says(known):
    """From the row of its board pin to the row of its host pin, whatever the cable."""
    found = re.findall(
        r'<path d="M308 ([\d.]+)H204C[^"]* 104 ([\d.]+)H73" fill="none" stroke="#14202b"',
        cable_drawing(known, ENDS, "a"),
    )
    rows = [((float(board) - 15) / 30, (float(host) - 15) / 30) for board, host in found]
    assert rows == [(wire.board, wire.host) for wire in known.cable.wires]


def test_only_the_differing_core_is_brought_out():
    """vent-lead and mist-lead differ in board pin 6: one frame, one solid arrow at host 5, one hollow at host 6."""
    drawing = pair_drawing(VENT, MIST, ENDS, "a")
    assert _texts(drawing, "differs") == ["PK pink"]
    assert _arrows(drawing) == [("pin-arrow", "165"), ("pin-arrow hollow", "195")]
    assert drawing.count("pin-marked") == 3
    assert _texts(drawing, "on-dark") == ["5", "6", "6"]


def test_the_other_cable_is_dashed():
    """Solid and dashed tell the two apart on a grey print; without a difference nothing is dashed."""
    assert pair_drawing(VENT, MIST, ENDS, "a").count("stroke-dasharray") == 2
    assert "stroke-dasharray" not in pair_drawing(VENT, NamedCable("twin", VENT.cable), ENDS, "a")
    assert "stroke-dasharray" in line_sample("other")
    assert "stroke-dasharray" not in line_sample("one")


def test_cores_that_share_a_pin_do_not_hide_each_other():
    """Swapped cores: at each pin the solid one runs above the dashed one."""
    heights = {(kind, float(height)) for kind, height in _arrows(pair_drawing(VENT, LONG, ENDS, "a"))}
    assert heights == {("pin-arrow", 40), ("pin-arrow hollow", 50), ("pin-arrow", 100), ("pin-arrow hollow", 110)}


def test_a_wire_that_only_one_has_is_drawn_as_its():
    """A cut wire is solid, or dashed, and nothing is drawn for the cable without it."""
    cut = NamedCable("cut", VENT.cable.model_copy(update={"wires": VENT.cable.wires[:6]}))
    assert [kind for kind, _ in _arrows(pair_drawing(VENT, cut, ENDS, "a"))] == ["pin-arrow"]
    assert [kind for kind, _ in _arrows(pair_drawing(cut, VENT, ENDS, "a"))] == ["pin-arrow hollow"]


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [
        pytest.param(VENT, MIST, "id 1 kohm / 2.2 kohm", id="differ"),
        pytest.param(VENT, VENT, "id 1 kohm", id="same"),
        pytest.param(VENT, NamedCable("bare", _cable({1: (1, "WH")})), "id 1 kohm", id="one-has-none"),
    ],
)
def test_the_id_resistor_shows_with_its_values(one, other, said):
    """Both values where they differ, one where they are the same or only one cable has it."""
    assert _texts(pair_drawing(one, other, ENDS, "a"), "id-text") == [said]


def test_the_id_resistor_lies_between_its_pins():
    """A box between the rows of its two host pins, whichever is written first."""
    drawing = cable_drawing(
        NamedCable("a", _cable({1: (1, "WH")}, id_resistor={"value": "1 kohm", "tolerance": "1 %", "pins": [8, 2]})),
        Ends(),
        "a",
    )
    assert 'd="M62 75H86V255H62"' in drawing
    assert _texts(drawing, "pin-number") == [*"12345678", "1"]


def test_a_reader_hears_every_wire():
    """The description says where each wire goes and which id resistor there is; the drawing points to it."""
    shapes = _shapes(cable_drawing(MIST, ENDS, "cable-2"))
    said = shapes.find(f"{SVG}desc")
    assert said is not None
    assert (shapes.get("role"), shapes.get("aria-describedby")) == ("img", said.get("id"))
    assert shapes.get("aria-label") == shapes.findtext(f"{SVG}title") == "Pins of mist-lead"
    text = said.text or ""
    assert text.count("board pin") == 7
    assert "mist-lead: board pin 6 sg2, PK pink, goes to host pin 6 acc." in text
    assert "Id resistor of mist-lead: 2.2 kohm, 1 %, between host pins 8 and 7." in text


def test_a_reader_hears_what_differs_and_nothing_else():
    """The description of a pair has the differing wire of both cables."""
    said = _shapes(pair_drawing(VENT, MIST, ENDS, "a")).findtext(f"{SVG}desc") or ""
    assert "vent-lead: board pin 6 sg2, PK pink, goes to host pin 5 sg. mist-lead: board pin 6 sg2, PK pink" in said
    assert said.count("board pin") == 2
    assert "Every wire is the same" in pair_drawing(VENT, VENT, ENDS, "a")


def test_a_long_colour_is_cut_in_the_drawing_and_whole_in_the_description():
    """Nothing runs out of its frame, and nothing is lost."""
    known = NamedCable("odd", _cable({1: (1, "white with a blue spiral")}))
    assert _texts(cable_drawing(known, Ends(), "a"), "core-text") == ["white with .."]
    assert "white with a blue spiral" in wire_in_words(known, 1, Ends())


@given(wires, wires)
def test_any_two_cables_draw_and_agree_with_their_differences(ours, theirs):
    """Whatever pins and colours: well-formed, one frame for each differing board pin, one arrow for each way."""
    one, other = (NamedCable("<b>", _cable(known)) for known in (ours, theirs))
    legible = {letter for known in (ours, theirs) for _, colour in known.values() for letter in colour}
    drawing = pair_drawing(one, other, Ends(), "a")
    if all(letter.isprintable() for letter in legible):
        assert _shapes(drawing).tag == f"{SVG}svg"
    found = differences(one.cable, other.cable)
    assert drawing.count('class="core-label differs"') == len(found)
    assert len(_arrows(drawing)) == sum(len(difference.right) + len(difference.wrong) for difference in found)
    assert len(list(differing_wires(one, other, Ends()))) == len(found)


@pytest.mark.parametrize(
    ("code", "said", "many"),
    [
        pytest.param("PK", "PK pink", 1, id="one"),
        pytest.param("pk", "pk pink", 1, id="small"),
        pytest.param("WHBN", "WHBN white-and-brown", 2, id="two"),
        pytest.param("WH/BN", "WH/BN white-and-brown", 2, id="slash"),
        pytest.param("GNYE", "GNYE green-and-yellow", 2, id="earth"),
        pytest.param("XX", "XX", 1, id="unknown"),
        pytest.param("", "", 1, id="empty"),
    ],
)
def test_a_colour_code_is_told_in_words(code, said, many):
    """Codes of IEC 60757, alone and in twos; what is not known stays as it is, in one neutral ink."""
    assert colour_word(code) == said
    assert len(inks(code)) == many


def test_a_core_of_two_colours_shows_both():
    """The second colour lies in dashes over the first."""
    drawing = cable_drawing(NamedCable("a", _cable({1: (1, "GNYE")})), Ends(), "a")
    assert all(f'stroke="{ink}"' in drawing for ink in inks("GNYE"))


def test_a_pin_without_wire_is_said_so():
    """A wire that one cable lacks."""
    bare = NamedCable("bare", _cable({1: (1, "WH")}))
    assert wire_in_words(bare, 6, ENDS) == "bare: board pin 6 sg2 has no wire"
    assert dict(differing_wires(bare, NamedCable("two", _cable({1: (1, "WH"), 6: (9, "PK")})), ENDS)) == {
        "board pin 6 sg2, PK pink": "bare to host pin none, two to host pin 9"
    }


def test_an_id_resistor_is_told_with_its_pins():
    """Value, tolerance and place, or none."""
    assert id_words(LONG.cable) == "4.7 kohm, 1 %, between host pins 8 and 7"
    assert id_words(LONG.cable.model_copy(update={"id_resistor": None})) == "none"
    assert LONG.cable.id_resistor is not None
    assert LONG.cable.id_resistor.value == Decimal(4700)
    assert set(goes_to(LONG.cable)) == set(range(1, 8))
