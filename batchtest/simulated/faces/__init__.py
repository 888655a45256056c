"""Faces of simulated instruments: each speaks like one kind of instrument, by its `dialect` in the bench file."""

from __future__ import annotations

from typing import Literal

from batchtest.errors import SetupError, nearest
from batchtest.simulated.faces.face import Cutter, Face
from batchtest.simulated.faces.frames import FrameLoad
from batchtest.simulated.faces.loads import IntegerLoad, ModeLoad
from batchtest.simulated.faces.meters import RateMeter, ResolutionMeter, SensFuncMeter
from batchtest.simulated.faces.scanners import CloseWordsScanner, SlotScanner
from batchtest.simulated.faces.supplies import NamedSupply, SetOutSupply, TextSupply
from batchtest.simulated.on_bench import BenchInstrument

__all__ = ["FACES", "PLAIN", "Cutter", "Face", "Served", "ending_of", "face_of"]

#: What a transport serves.
Served = BenchInstrument | Face

#: Styles that simulated instruments speak themselves.
PLAIN = ("meter-confread", "load-chanlist", "supply-outp", "scanner-routclos", "handler-nest")
#: Styles that a face speaks.
FACES: dict[str, type[Face]] = {
    "meter-sensfunc": SensFuncMeter,
    "meter-rate": RateMeter,
    "meter-resolution": ResolutionMeter,
    "load-modes": ModeLoad,
    "load-integers": IntegerLoad,
    "load-frames": FrameLoad,
    "supply-named": NamedSupply,
    "supply-setout": SetOutSupply,
    "supply-text": TextSupply,
    "scanner-words": CloseWordsScanner,
    "scanner-slots": SlotScanner,
}
_ENDINGS: dict[bytes, Literal["LF", "CR", "CRLF", "none"]] = {b"\n": "LF", b"\r": "CR", b"\r\n": "CRLF", b"": "none"}


def face_of(style: str, core: BenchInstrument) -> BenchInstrument | Face:
    """What answers in a style on behalf of a simulated instrument.

    Raises
    ------
    SetupError : no simulated instrument speaks it, or it is another role's.
    """
    if style in PLAIN and style.startswith(core.role):
        return core
    if style in FACES and style.startswith(core.role):
        return FACES[style](core)
    known = [name for name in (*PLAIN, *FACES) if name.startswith(core.role)]
    raise SetupError(f"{core.role}: no simulated instrument speaks {style!r}; {nearest(style, known)}")


def ending_of(style: str) -> Literal["LF", "CR", "CRLF", "none"]:
    """What the messages of a style end with, as bench files write it."""
    return _ENDINGS[FACES[style].ending] if style in FACES else "LF"
