"""Faces of bench supplies; what is on and tripped is the simulated supply's."""

from __future__ import annotations

from batchtest.simulated.faces.face import NUMBER, Face, Lost, phrase
from batchtest.simulated.faces.loads import SELECT_S
from batchtest.simulated.scpi import ScpiError

#: The output that is wired to the nest.
_WIRED = "P35V"


def _regulation(face: Face) -> str:
    """CV, CC or OFF."""
    rack = face.core.rack
    if not rack.supply.on:
        return "OFF"
    return "CC" if rack.supply_limiting(face.moment) else "CV"


class NamedSupply(Face):
    """Outputs have names and are chosen first; the long way to a level; bit 0 says "not regulated"; a watchdog."""

    _OTHERS = {
        "VOLT:PROT": "VOLT:PROT",
        "CURR:PROT": "CURR:PROT",
        "OUTP:WATC:DEL": "OUTP:WATC",
        "OUTP:STAT": "OUTP",
        "SENS:REM": "VOLT:SENS",
    }

    def power_on(self) -> None:
        """The other output is chosen."""
        self._chosen, self._ready_s = "P6V", 0.0

    @phrase(r"INST (P6V|P35V)")
    def choose(self, name: str) -> None:
        """Choose an output, which takes its time."""
        self._chosen, self._ready_s = name, self.moment + SELECT_S

    @phrase(r"INST\?")
    def chosen(self) -> str:
        """The output."""
        return self._chosen

    @phrase(rf"SOUR:(VOLT|CURR):LEV:IMM:AMPL {NUMBER}")
    def set_level(self, which: str, value: str) -> None:
        """Voltage, or current limit."""
        self._require()
        self.tell(f"{which} {value}")

    @phrase(r"SOUR:(VOLT|CURR):LEV:IMM:AMPL\?")
    def level(self, which: str) -> str:
        """The same."""
        return self._of_chosen(f"{which}?")

    @phrase(rf"(VOLT:PROT|CURR:PROT|OUTP:WATC:DEL|OUTP:STAT|SENS:REM) {NUMBER}")
    def set_other(self, header: str, value: str) -> None:
        """Protections, watchdog (s), output, sense."""
        self._require()
        self.tell(f"{self._OTHERS[header]} {value}")

    @phrase(r"(VOLT:PROT|CURR:PROT|OUTP:WATC:DEL|OUTP:STAT|SENS:REM)\?")
    def other(self, header: str) -> str:
        """The same."""
        return self._of_chosen(f"{self._OTHERS[header]}?")

    @phrase(r"MEAS:(VOLT|CURR):DC\?")
    def measure(self, which: str) -> str:
        """What it reads of itself."""
        return self._of_chosen(f"MEAS:{which}?")

    @phrase(r"STAT:QUES:INST:COND\?")
    def status(self) -> str:
        """Bit 0 not regulated in voltage, 1 regulated, 9 over-voltage, 10 over-current, 11 silence."""
        self._listen()
        if self._chosen != _WIRED:
            return "0"
        supply = self.core.rack.supply
        word = {"CC": 1, "CV": 2, "OFF": 0}[_regulation(self)]
        bit = {"voltage": 9, "current": 10, "silence": 11}[supply.trip]
        return str(word | (1 << bit if supply.tripped else 0))

    @phrase(r"VOLT:PROT:CLE")
    def clear(self) -> None:
        """Clear a protection that has tripped."""
        self._require()
        self.tell("OUTP:PROT:CLE")

    def _listen(self) -> None:
        """What comes too soon after an output was chosen is lost."""
        if self.moment < self._ready_s - 1e-9:
            raise Lost

    def _require(self) -> None:
        self._listen()
        if self._chosen != _WIRED:
            raise ScpiError(-241, f"nothing is wired to {self._chosen}")

    def _of_chosen(self, query: str) -> str:
        """What the output that is wired answers; the other is off and at zero."""
        self._listen()
        return self.ask(query) if self._chosen == _WIRED else "0"


class SetOutSupply(Face):
    """Colons in place of blanks, fixed decimals, a bare OUT1 or OUT0, "OK", status as a number beside CV or CC."""

    echo = "OK"
    _HEADERS = {"VSET1": "VOLT", "ISET1": "CURR", "OVP1": "VOLT:PROT", "OCP1": "CURR:PROT"}

    @phrase(r"(VSET1|ISET1|OVP1|OCP1):([0-9]{1,2}\.[0-9]{2,3})")
    def set_value(self, word: str, value: str) -> None:
        """Voltage with two decimals, current with three."""
        self.tell(f"{self._HEADERS[word]} {value}")

    @phrase(r"(VSET1|ISET1|OVP1|OCP1)\?")
    def value(self, word: str) -> str:
        """The same."""
        return f"{self.number(self._HEADERS[word] + '?'):.{2 if 'V' in word else 3}f}"

    @phrase(r"OUT([01])")
    def switch(self, word: str) -> None:
        """Switch the output."""
        self.tell(f"OUTP {word}")

    @phrase(r"OUT\?")
    def switched(self) -> str:
        """Whether the output is on."""
        return self.ask("OUTP?")

    @phrase(r"(V|I)OUT1\?")
    def measure(self, which: str) -> str:
        """What it reads of itself, with the unit."""
        header, unit = {"V": ("VOLT", "V"), "I": ("CURR", "A")}[which]
        return f"{self.number(f'MEAS:{header}?'):.4f}{unit}"

    @phrase(r"STATUS1\?")
    def status(self) -> str:
        """Mode, and a word: bit 0 voltage, 1 current, 3 power, 4 temperature, 11 mains, 12 unregulated."""
        supply = self.core.rack.supply
        word = {"voltage": 1, "current": 2, "silence": 2}[supply.trip] if supply.tripped else 0
        return f"{_regulation(self)},{word}"

    @phrase(r"CLR1")
    def clear(self) -> None:
        """Clear a protection that has tripped."""
        self.tell("OUTP:PROT:CLE")


class TextSupply(Face):
    """A digit behind OUTP and MEAS, decimal commas in replies, its status in words, sense by the system."""

    @phrase(rf"(VOLT|CURR|VOLT:PROT|CURR:PROT) {NUMBER}")
    def set_value(self, header: str, value: str) -> None:
        """Voltage, current limit, protections."""
        self.tell(f"{header} {value}")

    @phrase(r"(VOLT|CURR|VOLT:PROT|CURR:PROT)\?")
    def value(self, header: str) -> str:
        """The same, with a decimal comma."""
        return _with_comma(self.number(f"{header}?"))

    @phrase(r"OUTP1 (ON|OFF)")
    def switch(self, word: str) -> None:
        """Switch the output."""
        self.tell(f"OUTP {word}")

    @phrase(r"OUTP1\?")
    def switched(self) -> str:
        """Whether the output is on."""
        return "ON" if self.ask("OUTP?") == "1" else "OFF"

    @phrase(r"SYST:SENS (EXT|INT)")
    def set_sense(self, word: str) -> None:
        """Sense at the far end, or at the terminals."""
        self.tell(f"VOLT:SENS {'ON' if word == 'EXT' else 'OFF'}")

    @phrase(r"SYST:SENS\?")
    def sense(self) -> str:
        """Where it senses."""
        return "EXT" if self.ask("VOLT:SENS?") == "1" else "INT"

    @phrase(r"MEAS1:(VOLT|CURR)\?")
    def measure(self, which: str) -> str:
        """What it reads of itself, with a decimal comma."""
        return _with_comma(self.number(f"MEAS:{which}?"))

    @phrase(r"REG\?")
    def regulation(self) -> str:
        """CV, CC or OFF."""
        return _regulation(self)

    @phrase(r"FAULT\?")
    def fault(self) -> str:
        """OVP, OCP, or NONE."""
        supply = self.core.rack.supply
        return {"voltage": "OVP", "current": "OCP", "silence": "WDT"}[supply.trip] if supply.tripped else "NONE"

    @phrase(r"PROT:CLE")
    def clear(self) -> None:
        """Clear a protection that has tripped."""
        self.tell("OUTP:PROT:CLE")


def _with_comma(value: float) -> str:
    return f"{value:.5f}".replace(".", ",")
