"""Faces of multimeters."""

from __future__ import annotations

import math

from batchtest.simulated.faces.face import NUMBER, OVER_RANGE, Face, joined, phrase
from batchtest.simulated.scpi import ScpiError

#: What a style calls a function -> header of the simulated meter.
_HEADERS = {"VOLT:DC": "VOLT:DC", "RES": "RES", "DIOD": "DIOD", "DCV": "VOLT:DC", "OHM": "RES", "DIO": "DIOD"}
#: What the simulated meter calls a function -> its header.
_NAMES = {'"VOLT"': "VOLT:DC", '"RES"': "RES", '"DIOD"': "DIOD"}


class _MeterFace(Face):
    """Keeps function, range, integration and count, and has the simulated meter set to them before a reading."""

    def power_on(self) -> None:
        """Volts on the largest range."""
        self._mains_Hz = float(self.core.rack.bench.mains)
        self._function, self._nplc, self._count = "VOLT:DC", 10.0, 1
        self._ranges = {"VOLT:DC": 1000.0, "RES": 100e6}

    def _select(self, function: str) -> None:
        self._function = function
        range_ = self._ranges.get(function)
        self.tell(f"CONF:{function}" if range_ is None else f"CONF:{function} {range_:.9g}")
        self._integrate(self._nplc)

    def _integrate(self, cycles: float) -> None:
        self._nplc = cycles
        self.tell(f"SENS:{self._function}:NPLC {cycles:.9g}")

    def _values(self) -> list[float]:
        self.tell(f"SAMP:COUN {self._count}")
        return [_number(text) for text in self.ask("READ?").split(",")]

    def _held_function(self) -> str:
        """The function that the meter truly is in, as a header; somebody may have pressed a key."""
        return _NAMES[self.ask("FUNC?")]

    def _held_range(self) -> float:
        return self.number("VOLT:DC:RANG?")

    def _held_nplc(self) -> float:
        return self.number(f"{self._held_function()}:NPLC?")


def _number(text: str) -> float:
    """A value of the simulated meter; what is no number is over range."""
    try:
        return float(text)
    except ValueError:
        return math.inf


def _over(value: float) -> bool:
    return not abs(value) < OVER_RANGE


class SensFuncMeter(_MeterFace):
    """Quoted function names, aperture in seconds, colons in front, INITiate and FETCh; over range answers nothing."""

    ending = b"\r\n"
    prefix = ":"

    def power_on(self) -> None:
        """The front panel has control."""
        super().power_on()
        self._remote = False

    @phrase(r":SYST:REM")
    def enter_remote(self) -> None:
        """Take the meter from its front panel."""
        self._remote = True

    @phrase(r':SENS:FUNC "(VOLT:DC|RES|DIOD)"')
    def select(self, function: str) -> None:
        """Choose a function; its range stays what it was."""
        self._require_remote()
        self._select(function)

    @phrase(r":SENS:FUNC\?")
    def selected(self) -> str:
        """The function, quoted."""
        return f'"{self._held_function()}"'

    @phrase(rf":SENS:(VOLT:DC|RES):RANG {NUMBER}")
    def set_range(self, function: str, range_: str) -> None:
        """Choose a range by its value."""
        self._require_remote()
        self._ranges[function] = float(range_)
        self._select(function)

    @phrase(r":SENS:(?:VOLT:DC|RES):RANG\?")
    def range_(self) -> str:
        """The range."""
        return f"{self._held_range():.7E}"

    @phrase(r":SENS:(?:VOLT:DC|RES|DIOD):APER\?")
    def aperture(self) -> str:
        """How long it integrates, s."""
        return f"{self._held_nplc() / self._mains_Hz:.7E}"

    @phrase(r":SYST:LFR\?")
    def line_frequency(self) -> str:
        """The mains that it goes by, Hz."""
        return self.ask("SYST:LFR?")

    @phrase(rf":SENS:(?:VOLT:DC|RES|DIOD):APER {NUMBER}")
    def set_aperture(self, seconds: str) -> None:
        """Integrate so long."""
        self._integrate(float(seconds) * self._mains_Hz)

    @phrase(r":SAMP:COUN ([0-9]+)")
    def set_count(self, count: str) -> None:
        """How many values one reading has."""
        self._count = int(count)

    @phrase(r":TRIG:SOUR IMM")
    def set_trigger(self) -> None:
        """At once."""

    @phrase(r":INIT")
    def initiate(self) -> None:
        """Begin to measure; FETCh waits for it."""

    @phrase(r":FETC\?")
    def fetch(self) -> str:
        """The values; one over range is empty, and one alone a blank."""
        return joined("" if _over(value) else f"{value:+.7E}" for value in self._values()) or " "

    def _require_remote(self) -> None:
        if not self._remote:
            raise ScpiError(-221, "the front panel has control")


class RateMeter(_MeterFace):
    """Ranges by number, slow, medium or fast, one value at a time with its unit, blank lines before replies."""

    ending = b"\r"
    echo = "OK"
    blank_line = True
    _RANGES = {"DCV": [0.1, 1, 10, 100, 1000], "OHM": [1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8]}
    _CYCLES = {"S": 10.0, "M": 1.0, "F": 0.1}
    _UNITS = {"VOLT:DC": "VDC", "RES": "OHM", "DIOD": "V"}

    def power_on(self) -> None:
        """Volts."""
        super().power_on()
        self._word = "DCV"

    @phrase(r"FUNC (DCV|OHM|DIO)")
    def select(self, word: str) -> None:
        """Choose a function."""
        self._word = word
        self._select(_HEADERS[word])

    @phrase(r"FUNC\?")
    def selected(self) -> str:
        """The function."""
        held = self._held_function()
        return next(word for word in ("DCV", "OHM", "DIO") if _HEADERS[word] == held)

    @phrase(r"RANGE ([1-9])")
    def set_range(self, number: str) -> None:
        """Choose a range by its number, counted from 1."""
        ranges = self._RANGES.get(self._word, [])
        if int(number) > len(ranges):
            raise ScpiError(-222, number)
        self._ranges[self._function] = ranges[int(number) - 1]
        self._select(self._function)

    @phrase(r"RANGE\?")
    def range_(self) -> str:
        """The number of the range, counted from 1."""
        held = self._held_range()
        return str(1 + sum(range_ < 0.999 * held for range_ in self._RANGES.get(str(self.selected()), [])))

    @phrase(r"RATE ([SMF])")
    def set_rate(self, word: str) -> None:
        """Slow, medium or fast."""
        self._integrate(self._CYCLES[word])

    @phrase(r"RATE\?")
    def rate(self) -> str:
        """Slow, medium or fast."""
        held = self._held_nplc() * 1.000001
        return next(word for word, cycles in self._CYCLES.items() if cycles <= held)

    @phrase(r"VAL\?")
    def value(self) -> str:
        """One value."""
        value = self._values()[0]
        return "OL" if _over(value) else f"{value:+.7E} {self._UNITS[self._function]}"


class ResolutionMeter(_MeterFace):
    """The resolution sets the integration; no blank after commas; decimal commas, and -1 for over range."""

    #: Resolution as a share of the range -> power-line cycles that it takes.
    _CYCLES = ((1e-4, 0.02), (1e-5, 0.2), (3e-6, 1.0), (1e-6, 10.0), (3e-7, 100.0))

    @phrase(rf"CONF:(VOLT:DC|RES) {NUMBER},{NUMBER}")
    def configure(self, function: str, range_: str, resolution: str) -> None:
        """Choose function, range and resolution."""
        self._ranges[function] = float(range_)
        share = float(resolution) / float(range_)
        self._nplc = next((cycles for least, cycles in self._CYCLES if least <= share * 1.000001), 100.0)
        self._select(function)

    @phrase(r"CONF:DIOD")
    def configure_diode(self) -> None:
        """The diode function, always 10 cycles."""
        self._nplc = 10.0
        self._select("DIOD")

    @phrase(r"FUNC\?")
    def selected(self) -> str:
        """The function, quoted."""
        return f'"{self._held_function()}"'

    @phrase(r"(?:VOLT:DC|RES):RANG\?")
    def range_(self) -> str:
        """The range."""
        return f"{self._held_range():.7E}".replace(".", ",")

    @phrase(r"SYST:LFR\?")
    def line_frequency(self) -> str:
        """The mains that it goes by, Hz."""
        return f"{self.number('SYST:LFR?'):.0f}"

    @phrase(r"CONF\?")
    def configuration(self) -> str:
        """Function and range."""
        return f'"{self._function} {self._ranges.get(self._function, 5.0):.7E}"'

    @phrase(r"SAMP:COUN ([0-9]+)")
    def set_count(self, count: str) -> None:
        """How many values one reading has."""
        self._count = int(count)

    @phrase(r"SAMP:COUN\?")
    def count(self) -> str:
        """How many values one reading has."""
        return str(self._count)

    @phrase(r"MEAS\?")
    def measure(self) -> str:
        """The values."""
        return joined(("-1" if _over(value) else f"{value:+.7E}".replace(".", ",") for value in self._values()), ";")
