"""The status model: standard event, questionable and operation registers, status byte (SCPI-99 volume 1, 9)."""

from __future__ import annotations

#: Bits of the standard event status register (IEEE 488.2, 11.5.1).
EVENT_BITS = {"OPC": 1, "RQC": 2, "QYE": 4, "DDE": 8, "EXE": 16, "CME": 32, "URQ": 64, "PON": 128}
#: Bits of the status byte (IEEE 488.2, 11.2; SCPI-99 volume 1, 9).
STATUS_BITS = {"error queue": 4, "questionable": 8, "MAV": 16, "ESB": 32, "RQS/MSS": 64, "operation": 128}

_FIFTEEN_BITS = 0x7FFF


class EventRegister:
    """Condition, transition filters, event and enable: one of SCPI's 16-bit registers, bit 15 unused."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.enable = 0
        self.rising = _FIFTEEN_BITS
        self.falling = 0

    def see(self, condition: int) -> None:
        """Take the condition as it is now; its changes that the filters let through are latched as events."""
        rose, fell = condition & ~self.condition, self.condition & ~condition
        self.event |= (rose & self.rising) | (fell & self.falling)
        self.condition = condition

    def take_event(self) -> int:
        """The latched events; reading clears them."""
        event, self.event = self.event, 0
        return event

    def preset(self) -> None:
        """As `STATus:PRESet` leaves it: nothing enabled, rising changes pass."""
        self.enable, self.rising, self.falling = 0, _FIFTEEN_BITS, 0

    @property
    def summary(self) -> bool:
        """Whether an enabled event is latched."""
        return bool(self.event & self.enable)


class Status:
    """All registers of one instrument. Power was just switched on."""

    def __init__(self) -> None:
        self.events = EVENT_BITS["PON"]
        self.event_enable = 0
        self.service_enable = 0
        self.questionable = EventRegister()
        self.operation = EventRegister()

    def power_on(self) -> None:
        """As after power-on: nothing enabled, only the power-on bit set (IEEE 488.2, 11.5.1.1.2)."""
        self.clear()
        self.events = EVENT_BITS["PON"]
        self.event_enable = self.service_enable = 0

    def take_events(self) -> int:
        """The standard event register; reading clears it."""
        events, self.events = self.events, 0
        return events

    def clear(self) -> None:
        """What `*CLS` clears here: all event registers, no enable."""
        self.events = self.questionable.event = self.operation.event = 0

    def byte(self, *, errors: bool, message_available: bool) -> int:
        """The status byte as `*STB?` gives it, with bit 6 as master summary."""
        named = {
            "error queue": errors,
            "questionable": self.questionable.summary,
            "MAV": message_available,
            "ESB": bool(self.events & self.event_enable),
            "operation": self.operation.summary,
        }
        byte = sum(STATUS_BITS[name] for name, is_set in named.items() if is_set)
        return byte | (STATUS_BITS["RQS/MSS"] if byte & self.service_enable else 0)
