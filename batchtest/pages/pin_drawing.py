"""A cable as a drawing: the numbered pins of both connectors, and every core between them with its colour code.

Two cables in one drawing: what both have is thin; a core that differs is thick, solid as the one leads it and dashed as
the other does, with an arrow at the host pin, a dark frame about its code and a dark ground at each pin concerned. It
reads in grey. A pin is the truth, a colour only the label on a core.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from batchtest.cables.wiring import differences, goes_to
from batchtest.files.cable import CableFile
from batchtest.pages.cores import (
    Ends,
    NamedCable,
    colour_at,
    colour_word,
    id_words,
    inks,
    pin_name,
    wire_in_words,
)
from batchtest.quantities import write

#: Drawing units, one a CSS pixel where the drawing is not scaled; a row is a pin.
_WIDTH, _ROW, _TOP = 380, 30, 30
_HOST, _BOARD = 62.0, 318.0
#: Where a core bends, from host to board; where the id resistor stands; middle and width of a core's label.
_BEND, _LANE, _LABEL = (104.0, 204.0), 86.0, (255.0, 90.0)
#: Letters that fit a label, and a pin's name; what is longer is cut there, and whole in the description.
_LETTERS, _NAME_LETTERS = 13, 5
#: Dashes of a core, and of its colour inside a dark edge on every side.
_DASHES = ' stroke-dasharray="12 6"', ' stroke-dasharray="9.6 8.4" stroke-dashoffset="-1.2"'
#: Styles of the cores in which two cables differ.
_THICK = ("one", "other")
#: How far beside the middle of a row thick cores run where they share a pin.
_APART = 5.0


@dataclass(frozen=True, slots=True)
class _Core:
    """One line from a board pin to a host pin. `style` is how it is drawn: plain, same (thin), one or other (thick)."""

    board: int
    host: int
    colour: str
    style: str


def cable_drawing(known: NamedCable, ends: Ends, name: str) -> Markup:
    """One cable with every wire and its id resistor.

    Parameters
    ----------
    name : begins the ids in the drawing; the page has no other of that name.
    """
    cores = tuple(_Core(wire.board, wire.host, wire.colour, "plain") for wire in known.cable.wires)
    said = [wire_in_words(known, pin, ends) for pin in goes_to(known.cable)]
    sketch = _Sketch((known,), ends, cores)
    return sketch.drawn(f"Pins of {known.name}", [*said, *_ids_in_words([known])], name)


def pair_drawing(one: NamedCable, other: NamedCable, ends: Ends, name: str) -> Markup:
    """Two cables laid over each other, the wires that differ brought out.

    Parameters
    ----------
    name : begins the ids in the drawing; the page has no other of that name.
    """
    differing = [difference.board_pin for difference in differences(one.cable, other.cable)]
    said = [wire_in_words(known, pin, ends) for pin in differing for known in (one, other)]
    sketch = _Sketch((one, other), ends, tuple(_cores_of_both(one.cable, other.cable)))
    said = said or ["Every wire is the same"]
    return sketch.drawn(f"Pins of {one.name} and {other.name}", [*said, *_ids_in_words([one, other])], name)


def line_sample(style: str) -> Markup:
    """A short line as a drawing has it for the "one" or the "other" cable of a pair; for the key beside a name."""
    line = "".join(_strokes("M3 7H51", ("#ffffff",), style))
    return Markup(
        f'<svg class="line-sample" viewBox="0 0 54 14" width="54" height="14" aria-hidden="true">{line}</svg>'
    )


def _cores_of_both(one: CableFile, other: CableFile) -> Iterator[_Core]:
    """Thin ones first, so that the thick ones lie on top."""
    ours, theirs = goes_to(one), goes_to(other)
    for pin in sorted({*ours, *theirs}):
        for host in ours.get(pin, ()):
            if host in theirs.get(pin, ()):
                yield _Core(pin, host, colour_at(one, pin), "same")
    for difference in differences(one, other):
        for style, hosts, others in (
            ("one", difference.right, difference.wrong),
            ("other", difference.wrong, difference.right),
        ):
            for host in hosts:
                if host not in others:
                    yield _Core(difference.board_pin, host, difference.colour, style)


def _ids_in_words(cables: Sequence[NamedCable]) -> list[str]:
    return [f"Id resistor of {known.name}: {id_words(known.cable)}" for known in cables]


@dataclass(frozen=True, slots=True)
class _Sketch:
    """What is to be drawn."""

    cables: tuple[NamedCable, ...]
    ends: Ends
    cores: tuple[_Core, ...]

    def drawn(self, title: str, said: Sequence[str], name: str) -> Markup:
        """The finished drawing with its description."""
        shapes = "".join(self._shapes())
        height = _TOP + _ROW * max(self._pins()) + 8
        text = escape(". ".join(said) + ".")
        return Markup(
            f'<svg class="pins" viewBox="0 0 {_WIDTH} {height}" role="img" aria-label="{escape(title)}" '
            f'aria-describedby="{name}-said"><title>{escape(title)}</title><desc id="{name}-said">{text}</desc>'
            f"{shapes}</svg>"
        )

    def _shapes(self) -> Iterator[str]:
        marked = [core for core in self.cores if core.style in _THICK]
        host_pins, board_pins = self._pins()
        yield _hood(1, host_pins, "host")
        yield _hood(_WIDTH - 79, board_pins, "board")
        for core in self.cores:
            yield from _line(core, *(self._shift(core, end) for end in ("board", "host")))
        yield from self._id_resistor()
        for core in {core.board: core for core in self.cores}.values():
            yield _label(core)
        for pin in range(1, host_pins + 1):
            yield _pin(_HOST, pin, pin_name(self.ends.host, pin), any(core.host == pin for core in marked))
        for pin in range(1, board_pins + 1):
            yield _pin(_BOARD, pin, pin_name(self.ends.board, pin), any(core.board == pin for core in marked))

    def _shift(self, core: _Core, end: str) -> float:
        """How far a core runs beside the middle of its row: thick ones that share a pin do not hide each other."""
        at = getattr(core, end)
        together = {known.style for known in self.cores if getattr(known, end) == at and known.style in _THICK}
        if core.style not in _THICK or len(together) < len(_THICK):
            return 0.0
        return -_APART if core.style == "one" else _APART

    def _pins(self) -> tuple[int, int]:
        """Pins to draw at the host's end, and at the board's."""
        resistors = [known.cable.id_resistor for known in self.cables]
        host = [core.host for core in self.cores] + [pin for known in resistors if known for pin in known.pins]
        host_pins, board_pins = max(len(self.ends.host), *host), max(len(self.ends.board), *self._board())
        return host_pins, board_pins

    def _board(self) -> list[int]:
        return [core.board for core in self.cores]

    def _id_resistor(self) -> Iterator[str]:
        """Between its host pins; two values stand one below the other where two cables differ in it."""
        values: dict[tuple[int, ...], list[str]] = {}
        for known in self.cables:
            if known.cable.id_resistor is not None:
                at = tuple(sorted(known.cable.id_resistor.pins))
                values.setdefault(at, []).append(write(known.cable.id_resistor.value, "ohm"))
        for (upper, lower), found in values.items():
            yield _resistor(_y(upper), _y(lower), list(dict.fromkeys(found)))


def _y(pin: int) -> float:
    return _TOP + _ROW * (pin - 0.5)


def _hood(x: float, pins: int, title: str) -> str:
    return (
        f'<rect x="{x:g}" y="{_TOP - 3}" width="78" height="{_ROW * pins + 6}" rx="10" class="hood"/>'
        f'<text x="{x + 39:g}" y="{_TOP - 11}" class="pin-end">{title}</text>'
    )


def _pin(x: float, pin: int, name: str, marked: bool) -> str:
    outside = x - 17 if x == _HOST else x + 17
    anchor = "end" if x == _HOST else "start"
    shape = f'<circle cx="{x:g}" cy="{_y(pin):g}" r="11" class="pin{" pin-marked" if marked else ""}"/>'
    number = f'<text x="{x:g}" y="{_y(pin) + 4.5:g}" class="pin-number{" on-dark" if marked else ""}">{pin}</text>'
    said = escape(_cut(name, _NAME_LETTERS))
    label = f'<text x="{outside:g}" y="{_y(pin) + 4:g}" class="pin-name" text-anchor="{anchor}">{said}</text>'
    return shape + number + (label if name else "")


def _line(core: _Core, board_shift: float, host_shift: float) -> Iterator[str]:
    """A core from the board to the host, with an arrow at the host pin where it is a differing one."""
    board, host, middle = _y(core.board) + board_shift, _y(core.host) + host_shift, sum(_BEND) / 2
    end = _HOST + (20 if core.style in _THICK else 11)
    curve = f"C{middle:g} {board:g} {middle:g} {host:g} {_BEND[0]:g} {host:g}"
    yield from _strokes(f"M{_BOARD - 10:g} {board:g}H{_BEND[1]:g}{curve}H{end:g}", inks(core.colour), core.style)
    if core.style in _THICK:
        hollow = " hollow" if core.style == "other" else ""
        yield f'<path d="M{_HOST + 10:g} {host:g}l13 -5.5v11z" class="pin-arrow{hollow}"/>'


def _strokes(path: str, colours: tuple[str, ...], style: str) -> Iterator[str]:
    """White beneath, so that a crossing shows; then a dark edge, the colour, and dashes of a second colour."""
    wide = {"plain": 4.0, "same": 2.0}.get(style, 5.0)
    edge, colour = _DASHES if style == "other" else ("", "")
    yield f'<path d="{path}" fill="none" stroke="#ffffff" stroke-width="{wide + 5:g}"/>'
    yield f'<path d="{path}" fill="none" stroke="#14202b" stroke-width="{wide + 2.4:g}"{edge}/>'
    yield f'<path d="{path}" fill="none" stroke="{colours[0]}" stroke-width="{wide:g}"{colour}/>'
    if len(colours) > 1 and style != "other":
        second = f'stroke="{colours[1]}" stroke-width="{wide:g}" stroke-dasharray="6 10"'
        yield f'<path d="{path}" fill="none" {second}/>'


def _label(core: _Core) -> str:
    """The colour code and word on a core, near the board, since cores are named by their board pin."""
    middle, width = _LABEL
    differs = " differs" if core.style in _THICK else ""
    said = colour_word(core.colour)
    said = escape(said if len(said) <= _LETTERS else _cut(core.colour, _LETTERS))
    return (
        f'<rect x="{middle - width / 2:g}" y="{_y(core.board) - 10:g}" width="{width:g}" height="20" rx="4" '
        f'class="core-label{differs}"/>'
        f'<text x="{middle:g}" y="{_y(core.board) + 4.5:g}" class="core-text{differs}">{said}</text>'
    )


def _resistor(upper: float, lower: float, values: Sequence[str]) -> str:
    """A box across two pins in the hood at the host end, joined to their cores by dots."""
    middle = (upper + lower) / 2
    said = escape(" / ".join(values))
    return (
        f'<path d="M{_HOST:g} {upper:g}H{_LANE:g}V{lower:g}H{_HOST:g}" class="id-line"/>'
        f'<rect x="{_LANE - 5:g}" y="{middle - 8:g}" width="10" height="16" class="id-body"/>'
        f'<circle cx="{_LANE:g}" cy="{upper:g}" r="3.2" class="ink"/>'
        f'<text x="{_LANE + 11:g}" y="{lower + 4:g}" class="id-text">id {said}</text>'
    )


def _cut(text: str, letters: int) -> str:
    return text if len(text) <= letters else f"{text[: letters - 2]}.."
