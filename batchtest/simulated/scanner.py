"""The simulated relay scanner: one signal at a time to the meter, the discharge resistor beside it."""

from __future__ import annotations

from batchtest.files.bench import BenchFile
from batchtest.files.fixture import Reached
from batchtest.simulated.on_bench import BenchInstrument
from batchtest.simulated.scpi import ChannelList, ScpiError
from batchtest.simulated.wired import Wired

#: Relays of common scanners, from the command to the settled contact, and to open, s (common practice, no source).
CLOSE_S, OPEN_S = 0.015, 0.001


def channels_of(bench: BenchFile, fixture: Reached) -> frozenset[int]:
    """All channels that are wired: points, their contact channels, discharge resistor, reference and interlock."""
    points = fixture.points.values()
    wired = {channel for point in points for channel in (point.scanner, *point.contact)}
    wired |= {bench.reference.scanner} | ({fixture.discharge.scanner} if fixture.discharge else set())
    return frozenset(wired if bench.interlock is None else wired | {bench.interlock.scanner})


class SimulatedScanner(BenchInstrument):
    """`ROUT:CLOS`, `ROUT:OPEN`, `ROUT:OPEN:ALL`, `ROUT:CLOS:STAT?`.

    Two signals on the meter's bus at once would join them: that is refused with -221, and nothing moves.
    """

    def __init__(self, bench: BenchFile, rack: Wired) -> None:
        super().__init__("scanner", bench.scanner, rack)
        channels = ChannelList(channels_of(bench, rack.fixture))
        self.add("ROUTE:CLOSE", self._close, channels)
        self.add("ROUTE:CLOSE?", lambda asked: [channel in self.rack.closed for channel in asked], channels)
        self.add("ROUTE:CLOSE:STATE?", lambda: f"(@{','.join(map(str, self.rack.closed))})")
        self.add("ROUTE:OPEN", self._open, channels)
        self.add("ROUTE:OPEN:ALL", self.reset)
        self.reset()

    def reset(self) -> None:
        """All relays open."""
        self._open(self.rack.closed)

    def _close(self, channels: tuple[int, ...]) -> None:
        closed = tuple(dict.fromkeys((*self.rack.closed, *channels)))
        discharge = self.rack.fixture.discharge
        signals = [channel for channel in closed if discharge is None or channel != discharge.scanner]
        if len(signals) > 1:
            raise ScpiError(-221, f"{signals[0]} and {signals[1]} would be joined; open first")
        self.spend(CLOSE_S)
        self.rack.set_relays(closed, self.moment)

    def _open(self, channels: tuple[int, ...]) -> None:
        self.spend(OPEN_S)
        self.rack.set_relays(tuple(channel for channel in self.rack.closed if channel not in channels), self.moment)
