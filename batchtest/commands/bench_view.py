"""The instruments of a bench as a table: who each is, its dialect, how old its calibration is, whether it is warm."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from batchtest.commands.readiness import cold_s

if TYPE_CHECKING:
    from rich.table import Table

    from batchtest.bench import Bench
    from batchtest.nouns import InstrumentIdentity


def instrument_table(bench: Bench) -> Table:
    """The table, one row for each instrument."""
    from rich.table import Table
    from rich.text import Text

    from batchtest.commands.screen import clean

    table = Table("role", "who answers", "dialect", "calibrated", "on for", box=None, pad_edge=False)
    today = datetime.now().astimezone().date()
    for known in bench.identities:
        cells = (
            (known.role.value,),
            (f"{known.model} {known.serial}", known.maker),
            (known.dialect, f"firmware {known.firmware}"),
            _calibration(bench, known, today),
            _warmth(known),
        )
        table.add_row(*(Text("\n".join(clean(line) for line in cell if line)) for cell in cells))
    return table


def mains_line(bench: Bench) -> str:
    """The mains that the bench file names, and whether the meter goes by them."""
    said = f"mains {float(bench.file.mains):g} Hz"
    return f"{said}, the meter was not asked" if bench.meter_mains_Hz is None else f"{said}, the meter goes by them"


def instruments_as_json(bench: Bench) -> list[dict[str, Any]]:
    """The same for machines: each identity, with the days that its calibration holds and the seconds it is cold."""
    from dataclasses import asdict

    today = datetime.now().astimezone().date()
    return [
        {**asdict(known), "calibration_left_d": _left_d(bench, known, today), "cold_s": cold_s(known)}
        for known in bench.identities
    ]


def _left_d(bench: Bench, known: InstrumentIdentity, today: date) -> float | None:
    from batchtest.files.bench import instruments
    from batchtest.files.calibration import days_left

    left = days_left(instruments(bench.file)[known.role], today)
    return None if left is None or left == float("inf") else left


def _calibration(bench: Bench, known: InstrumentIdentity, today: date) -> tuple[str, ...]:
    from batchtest.files.bench import instruments
    from batchtest.files.calibration import must_be_calibrated

    if not must_be_calibrated(instruments(bench.file)[known.role]):
        return ("none needed",)
    made = "not known"
    if known.calibrated is not None:
        made = f"{known.calibrated.isoformat()}, {(today - known.calibrated).days} d ago"
    elif known.calibration_age_d is not None:
        made = f"{known.calibration_age_d:.0f} d ago"
    left = _left_d(bench, known, today)
    remaining = "" if left is None else f"{left:.0f} d left" if left >= 0 else f"OUT OF DATE by {-left:.0f} d"
    return made, f"due {known.due.isoformat()}" if known.due else "", remaining


def _warmth(known: InstrumentIdentity) -> tuple[str, ...]:
    if known.warm_up_s is None:
        return ("not asked",)
    on = f"{(known.on_for_s or 0.0) / 60:.0f} min"
    return on, f"COLD for {cold_s(known) / 60:.0f} min more" if cold_s(known) else "warm"
