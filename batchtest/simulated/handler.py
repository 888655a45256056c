"""The simulated handler: it puts the board of a serial into the nest, and takes it out again."""

from __future__ import annotations

import re

from batchtest.errors import StationError
from batchtest.files.bench import Handler
from batchtest.simulated.on_bench import BenchInstrument
from batchtest.simulated.rack import Rack
from batchtest.simulated.scpi import ScpiError, string

#: Time that one move takes, s.
MOVE_S = 0.5
_SERIAL = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


class SimulatedHandler(BenchInstrument):
    """`NEST:PLAC "VN-0001"`, `NEST:EJEC`, `NEST:BOAR?`, `NEST:LID?` (1 is closed)."""

    def __init__(self, handler: Handler, rack: Rack) -> None:
        super().__init__("handler", handler, rack)
        self.add("NEST:PLACE", self._place, string)
        self.add("NEST:EJECT", self._eject)
        self.add("NEST:BOARD?", lambda: f'"{self.rack.board.serial if self.rack.board else ""}"')
        self.add("NEST:LID?", lambda: self.rack.lid_closed)

    def _place(self, serial: str) -> None:
        if not _SERIAL.fullmatch(serial):
            raise ScpiError(-224, f"{serial[:40]} is no serial")
        self.spend(MOVE_S)
        try:
            self.rack.place(serial, self.moment)
        except StationError as error:
            raise ScpiError(-240, str(error)[:200]) from error

    def _eject(self) -> None:
        self.spend(MOVE_S)
        self.rack.eject(self.moment)
