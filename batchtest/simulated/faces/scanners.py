"""Faces of relay scanners."""

from __future__ import annotations

import re

from batchtest.simulated.faces.face import Face, phrase


class CloseWordsScanner(Face):
    """Plain words and plain lists, each command answered with "OK"."""

    echo = "OK"

    @phrase(r"CLOSE ([0-9]+(?:,[0-9]+)*)")
    def close(self, channels: str) -> None:
        """Close relays, and leave the others."""
        self.tell(f"ROUT:CLOS (@{channels})")

    @phrase(r"OPEN")
    def open_all(self) -> None:
        """Open all relays."""
        self.tell("ROUT:OPEN:ALL")

    @phrase(r"CLOSED\?")
    def closed(self) -> str:
        """What is closed; a lone comma for nothing."""
        return self.ask("ROUT:CLOS:STAT?").strip("(@)") or ","


class SlotScanner(Face):
    """Channels are called slot!number, closed one by one, and asked for as a range that answers with flags."""

    prefix = ":"
    ending = b"\r\n"

    @phrase(r":ROUT:CLOS \(@([1-9])!([0-9]{2})\)")
    def close(self, slot: str, number: str) -> None:
        """Close one relay, and leave the others."""
        self.tell(f"ROUT:CLOS (@{slot}{number})")

    @phrase(r":ROUT:OPEN:ALL")
    def open_all(self) -> None:
        """Open all relays."""
        self.tell("ROUT:OPEN:ALL")

    @phrase(r":ROUT:CLOS:STAT\? \(@([1-9]![0-9]{2}):([1-9]![0-9]{2})\)")
    def closed(self, first: str, last: str) -> str:
        """A 1 for each relay of a range that is closed, else 0."""
        numbers = range(int(re.sub("!", "", first)), int(re.sub("!", "", last)) + 1)
        closed = self.ask("ROUT:CLOS:STAT?").strip("(@)").split(",")
        return ",".join("1" if str(number) in closed else "0" for number in numbers)
