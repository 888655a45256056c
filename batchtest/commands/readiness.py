"""Whether the instruments may be believed: calibrated, and warm. Asked before a batch; a waiver may excuse it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.bench import Bench
    from batchtest.files.bench import BenchFile
    from batchtest.nouns import InstrumentIdentity, Waiver


def require_ready(bench: Bench, waivers: Sequence[Waiver], today: date | None = None) -> None:
    """See that every instrument whose readings count is calibrated and warm.

    Parameters
    ----------
    waivers : those in force; one that names "calibration of meter" or "warm-up of meter" excuses that.

    Raises
    ------
    SetupError : all that is not so and not excused, each with its cure.
    """
    from batchtest.records.excuse import excusing

    today = today or datetime.now().astimezone().date()
    faults = [
        f"{why}, or have two people waive {name!r}"
        for name, why in _faults(bench, today)
        if excusing(waivers, name) is None
    ]
    if faults:
        raise SetupError("\n".join(faults))


def excusable(file: BenchFile) -> list[str]:
    """What a waiver may name of the instruments of a bench."""
    from batchtest.files.bench import instruments
    from batchtest.files.calibration import must_be_calibrated

    present = instruments(file)
    calibrated = [calibration_of(role) for role, instrument in present.items() if must_be_calibrated(instrument)]
    return calibrated + [warm_up_of(role) for role, instrument in present.items() if instrument.warm_up]


def calibration_of(role: str) -> str:
    """What a waiver names to excuse the calibration of an instrument."""
    return f"calibration of {role}"


def warm_up_of(role: str) -> str:
    """What a waiver names to excuse the warm-up of an instrument."""
    return f"warm-up of {role}"


def cold_s(known: InstrumentIdentity) -> float:
    """Seconds that an instrument still had to warm up when the bench was opened."""
    return 0.0 if known.warm_up_s is None else max(0.0, known.warm_up_s - (known.on_for_s or 0.0))


def _faults(bench: Bench, today: date) -> Iterator[tuple[str, str]]:
    from batchtest.files.bench import instruments
    from batchtest.files.calibration import calibration_fault

    for role, instrument in instruments(bench.file).items():
        why = calibration_fault(role, instrument, today)
        if why is not None:
            yield calibration_of(role), why
    for known in bench.identities:
        left_s = cold_s(known)
        if left_s:
            yield warm_up_of(known.role), f"{known.role}: still warming up; start again in {left_s / 60:.0f} min"
