"""The simulated handler: it brings the board or host of a serial to the bench, changes the cable, switches the host."""

from __future__ import annotations

import re

from batchtest.errors import StationError, nearest
from batchtest.files.bench import Handler
from batchtest.simulated.host_rack import HostRack
from batchtest.simulated.on_bench import BenchInstrument
from batchtest.simulated.outlet import OutletRack
from batchtest.simulated.rack import Rack
from batchtest.simulated.scpi import ScpiError, boolean, string

#: Time that one move takes, s.
MOVE_S = 0.5
_SERIAL = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


class _Mover(BenchInstrument):
    """`NEST:PLAC "VN-0001"`, `NEST:EJEC`, and `NEST:LID?` (1 is closed)."""

    rack: Rack | HostRack

    def __init__(self, handler: Handler, rack: Rack | HostRack) -> None:
        super().__init__("handler", handler, rack)
        self.add("NEST:PLACE", self._place, string)
        self.add("NEST:EJECT", self._eject)
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


class SimulatedHandler(_Mover):
    """The handler at a nest: `NEST:BOAR?`, and `NEST:CABL "vent-lead"`.

    It takes the cable out of the drawer of that name: `NEST:CABL?` tells which it believes is fitted, and no more.
    """

    rack: Rack

    def __init__(self, handler: Handler, rack: Rack) -> None:
        super().__init__(handler, rack)
        self.add("NEST:BOARD?", lambda: f'"{self.rack.board.serial if self.rack.board else ""}"')
        self.add("NEST:CABLE", self._fit_cable, string)
        self.add("NEST:CABLE?", lambda: f'"{self.rack.cable_asked}"')

    def _fit_cable(self, name: str) -> None:
        known = self.rack.setup.cables
        if name not in known:
            raise ScpiError(-224, f"no cable {name[:40]!r}; {nearest(name, list(known))}")
        self.spend(MOVE_S)
        try:
            self.rack.fit_cable(name, self.moment)
        except StationError as error:
            raise ScpiError(-240, str(error)[:200]) from error


class SimulatedHostHandler(_Mover):
    """The handler at a host: it puts the break-out plug into the one placed, and switches its mains, `NEST:HOST ON`."""

    rack: HostRack

    def __init__(self, handler: Handler, rack: HostRack) -> None:
        super().__init__(handler, rack)
        self.add("NEST:BOARD?", lambda: f'"{self.rack.host.serial if self.rack.host else ""}"')
        self.add("NEST:HOST", self._switch, boolean)
        self.add("NEST:HOST?", lambda: self.rack.live)

    def _switch(self, on: bool) -> None:
        if self.rack.host is None:
            raise ScpiError(-221, "the plug is in no host; place one first")
        self.spend(MOVE_S)
        try:
            self.rack.switch(on, self.moment)
        except StationError as error:
            raise ScpiError(-221, str(error)[:200]) from error


class SimulatedOutletHandler(SimulatedHostHandler):
    """At a host's outlet it takes the fuse out of the host into a holder on the bench as well, and back.

    `NEST:FUSE ON` is out, between the bench supply and the load; `NEST:FUSE?` tells.
    """

    rack: OutletRack

    def __init__(self, handler: Handler, rack: OutletRack) -> None:
        super().__init__(handler, rack)
        self.add("NEST:FUSE", self._take_out, boolean)
        self.add("NEST:FUSE?", lambda: self.rack.alone)

    def _take_out(self, out: bool) -> None:
        self.spend(MOVE_S)
        try:
            self.rack.take_out(out, self.moment)
        except StationError as error:
            raise ScpiError(-221, str(error)[:200]) from error
