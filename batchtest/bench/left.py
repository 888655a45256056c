"""What is not as it was left stops: a key was pressed, an instrument has restarted, or a protection has acted."""

from __future__ import annotations

from collections.abc import Collection

from batchtest.bench.dialect import AnySetting, Condition
from batchtest.bench.registers import TRIPS, Status
from batchtest.bench.settings import agrees, unit_of
from batchtest.errors import InstrumentRefused
from batchtest.quantities import show

_TOUCHED = "was it touched, or has it restarted?"


def refuse_tripped(name: str, status: Status, *, but: Collection[Condition] = ()) -> None:
    """Raise InstrumentRefused where a protection has acted: what is read under it says nothing of the board.

    Parameters
    ----------
    but : what a bad board does to an instrument in order.
    """
    found = (status.conditions & TRIPS).difference(but)
    if found:
        raise InstrumentRefused(
            f"{name}: its own protection has acted ({', '.join(sorted(found))}; {status.raw}); find out why"
        )


def refuse_switched(name: str, *, on: bool, wanted: bool) -> None:
    """Raise InstrumentRefused where an output is not as it was left."""
    if on is not wanted:
        now, then = ("on", "off") if on else ("off", "on")
        raise InstrumentRefused(f"{name}: is {now} and was left {then}; {_TOUCHED}")


def refuse_moved(name: str, setting: AnySetting, held: float | None, wanted: float | None) -> None:
    """Raise InstrumentRefused where a setting is not what it was set to; `None` was not asked, or nobody has set it."""
    if held is not None and wanted is not None and not agrees(setting, held, wanted):
        unit = unit_of(setting)
        raise InstrumentRefused(f"{name}: holds {show(held, unit)} and was set to {show(wanted, unit)}; {_TOUCHED}")
