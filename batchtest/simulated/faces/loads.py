"""Faces of electronic loads that speak text; what is on, drawn and tripped is the simulated load's."""

from __future__ import annotations

from batchtest.simulated.faces.face import NUMBER, Face, Lost, phrase
from batchtest.simulated.scpi import ScpiError

#: How long a style truly hears nothing after a channel was chosen, s; its manual asks for twice as much.
SELECT_S = 0.1
#: Reverse voltage is seen below this, V.
_REVERSE_V = -0.1
#: Bits of a status word of these styles.
_TRIP_BITS = {"current": 1, "power": 4, "under-voltage": 64, "time": 128}


def channel_word(face: Face, channel: int) -> int:
    """Status of a channel: 1 over-current, 4 over-power, 8 reverse voltage, 64 under-voltage, 128 its time is over."""
    rack = face.core.rack
    word = _TRIP_BITS.get(rack.loads[channel].tripped, 0)
    return word | (8 if rack.load_volts(channel, face.moment) < _REVERSE_V else 0)


class ModeLoad(Face):
    """Channels are chosen first; modes with their range, L1 levels, units in replies, two slew rates in A/us."""

    ending = b"\r\n"
    _LARGEST_A = {"CCL": 0.05, "CCH": 5.0}

    def power_on(self) -> None:
        """Channel 1, all in the high range."""
        self._channel, self._ready_s = 1, 0.0
        self._modes = dict.fromkeys(self.core.rack.loads, "CCH")
        self._events = dict.fromkeys(self.core.rack.loads, 0)

    @phrase(r"CHAN ([1-9])")
    def choose(self, channel: str) -> None:
        """Choose a channel, which takes its time."""
        if int(channel) not in self.core.rack.loads:
            raise ScpiError(-222, channel)
        self._channel, self._ready_s = int(channel), self.moment + SELECT_S

    @phrase(r"CHAN\?")
    def chosen(self) -> str:
        """The channel."""
        return str(self._channel)

    @phrase(r"MODE (CCL|CCH|CV)")
    def set_mode(self, mode: str) -> None:
        """Constant current with its range, or constant voltage."""
        self._wait()
        self.tell(f"FUNC {'VOLT' if mode == 'CV' else 'CURR'},{self._at}")
        self._modes[self._channel] = mode

    @phrase(r"MODE\?")
    def mode(self) -> str:
        """The mode."""
        self._wait()
        return self._modes[self._channel] if self.ask(f"FUNC? {self._at}") == "CURR" else "CV"

    @phrase(r"LOAD (ON|OFF)")
    def switch(self, word: str) -> None:
        """Switch the input."""
        self._wait()
        self.tell(f"INP {word},{self._at}")

    @phrase(r"LOAD\?")
    def switched(self) -> str:
        """Whether the input is on."""
        self._wait()
        return "ON" if self.ask(f"INP? {self._at}") == "1" else "OFF"

    @phrase(rf"CURR:STAT:L1 {NUMBER}")
    def set_level(self, amperes: str) -> None:
        """Level 1, within the mode's range."""
        self._wait()
        if float(amperes) > self._LARGEST_A.get(self._modes[self._channel], 0.0):
            raise ScpiError(-222, amperes)
        self.tell(f"CURR {amperes},{self._at}")

    @phrase(r"CURR:STAT:L1\?")
    def level(self) -> str:
        """Level 1 with its unit."""
        self._wait()
        return f"{self.number(f'CURR? {self._at}'):.5f}A"

    @phrase(rf"(CONF:CURR:LIM|CONF:POW:LIM|CONF:VOLT:STOP|CONF:TIME|CURR:STAT:RISE|CURR:STAT:FALL) {NUMBER}")
    def set_other(self, header: str, value: str) -> None:
        """Limits, under-voltage stop, load-on time (s) and slew rates (A/us)."""
        self._wait()
        header, factor, _ = _OTHERS[header]
        self.tell(f"{header} {float(value) * factor:.9g},{self._at}")

    @phrase(r"(CONF:CURR:LIM|CONF:POW:LIM|CONF:VOLT:STOP|CONF:TIME|CURR:STAT:RISE|CURR:STAT:FALL)\?")
    def other(self, header: str) -> str:
        """The same, with their units."""
        self._wait()
        header, factor, unit = _OTHERS[header]
        return f"{self.number(f'{header}? {self._at}') / factor:.6g}{unit}"

    @phrase(r"CONF:REM (ON|OFF)")
    def set_sense(self, word: str) -> None:
        """Sense at the far end, or at the terminals."""
        self._wait()
        self.tell(f"INP:SENS {word},{self._at}")

    @phrase(r"CONF:REM\?")
    def sense(self) -> str:
        """Whether it senses at the far end."""
        self._wait()
        return "ON" if self.ask(f"INP:SENS? {self._at}") == "1" else "OFF"

    @phrase(r"FETC:(VOLT|CURR)\?")
    def fetch(self, which: str) -> str:
        """What the channel sees or draws, with its unit."""
        self._wait()
        return f"{self.number(f'MEAS:{which}? {self._at}'):.5f}{which[0].replace('C', 'A')}"

    @phrase(r"FETC:STAT\?")
    def status(self) -> str:
        """The status word of the channel."""
        self._wait()
        return str(channel_word(self, self._channel))

    @phrase(r"FETC:EVEN\?")
    def events(self) -> str:
        """Status of the channel since it was last read, which clears it."""
        self._wait()
        word, self._events[self._channel] = self._events[self._channel], 0
        return str(word)

    @phrase(r"LOAD:PROT:CLE")
    def clear(self) -> None:
        """Clear a protection that has tripped."""
        self._wait()
        self.tell(f"INP:PROT:CLE {self._at}")

    @property
    def _at(self) -> str:
        return f"(@{self._channel})"

    def _wait(self) -> None:
        """What comes too soon after a channel was chosen is lost. Events are seen whenever anything is asked."""
        if self.moment < self._ready_s - 1e-9:
            raise Lost
        for channel in self._events:
            self._events[channel] |= channel_word(self, channel)


#: Header of this style -> header of the simulated load, factor to its unit, and the unit of replies.
_OTHERS = {
    "CONF:CURR:LIM": ("CURR:PROT", 1.0, "A"),
    "CONF:POW:LIM": ("POW:PROT", 1.0, "W"),
    "CONF:VOLT:STOP": ("VOLT:UND", 1.0, "V"),
    "CONF:TIME": ("INP:TIM", 1.0, "S"),
    "CURR:STAT:RISE": ("CURR:SLEW:POS", 1e6, "A/us"),
    "CURR:STAT:FALL": ("CURR:SLEW:NEG", 1e6, "A/us"),
}


class IntegerLoad(Face):
    """The channel is a digit; whole numbers in tenths of mA, mV and mW; shut is off; all that it sees in one reply."""

    echo = "OK"
    #: Word of this style -> header of the simulated load, and how many of its units make one of the base unit.
    _SETTINGS = {
        "SET{}:A": ("CURR", 10000),
        "LIM{}:I": ("CURR:PROT", 10000),
        "LIM{}:P": ("POW:PROT", 1000),
        "LOW{}:V": ("VOLT:UND", 1000),
        "RAMP{}:M": ("CURR:SLEW:POS", 1),
    }

    @phrase(r"([A-Z]+)([1-9])(:[A-Z]) ([0-9]+)")
    def set_value(self, word: str, channel: str, part: str, number: str) -> None:
        """Set a whole number; RAMP counts in A/ms."""
        header, per_unit = self._known(word + "{}" + part)
        factor = 1000.0 if word == "RAMP" else 1 / per_unit
        self.tell(f"{header} {int(number) * factor:.9g},(@{channel})")

    @phrase(r"([A-Z]+)([1-9])(:[A-Z])\?")
    def value(self, word: str, channel: str, part: str) -> str:
        """A whole number, with leading zeros."""
        header, per_unit = self._known(word + "{}" + part)
        factor = 0.001 if word == "RAMP" else per_unit
        return f"{round(self.number(f'{header}? (@{channel})') * factor):05d}"

    @phrase(r"MODE([1-9]) (I|V)")
    def set_mode(self, channel: str, mode: str) -> None:
        """Constant current or voltage."""
        self.tell(f"FUNC {'CURR' if mode == 'I' else 'VOLT'},(@{channel})")

    @phrase(r"MODE([1-9])\?")
    def mode(self, channel: str) -> str:
        """The mode."""
        return self.ask(f"FUNC? (@{channel})")[:1].replace("C", "I")

    @phrase(r"RANG([1-9]) (LOW|HIGH)")
    def set_range(self, channel: str, word: str) -> None:
        """The low range holds 50 mA, and cuts the current limit to that."""
        if word == "LOW":
            limit_A = min(0.05, self.number(f"CURR:PROT? (@{channel})"))
            self.tell(f"CURR:PROT {limit_A:.9g},(@{channel})")

    @phrase(r"SHUT([1-9]) ([01])")
    def shut(self, channel: str, word: str) -> None:
        """Shut the input (1), or open it (0)."""
        self.tell(f"INP {'OFF' if word == '1' else 'ON'},(@{channel})")

    @phrase(r"SHUT([1-9])\?")
    def is_shut(self, channel: str) -> str:
        """Whether the input is shut."""
        return "0" if self.ask(f"INP? (@{channel})") == "1" else "1"

    @phrase(r"MEAS([1-9])\?")
    def measure(self, channel: str) -> str:
        """Status word, mV, and tenths of mA."""
        volts, amperes = (self.number(f"MEAS:{which}? (@{channel})") for which in ("VOLT", "CURR"))
        return f"{channel_word(self, int(channel))},{round(volts * 1000)},{round(amperes * 10000)}"

    @phrase(r"CLR([1-9])")
    def clear(self, channel: str) -> None:
        """Clear a protection that has tripped."""
        self.tell(f"INP:PROT:CLE (@{channel})")

    def _known(self, word: str) -> tuple[str, int]:
        if word not in self._SETTINGS:
            raise ScpiError(-113, word)
        return self._SETTINGS[word]
