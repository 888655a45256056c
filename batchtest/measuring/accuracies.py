"""Which accuracy table of the bench a reading is judged by, and the uncertainty that follows."""

from __future__ import annotations

import math
from collections.abc import Sequence

from batchtest.files.bench import AmperesAccuracy, BenchFile, OhmsAccuracy, VoltsAccuracy
from batchtest.judging.accuracy import pick_range, row_for
from batchtest.judging.spread import SpreadKey
from batchtest.judging.uncertainty import of_reading
from batchtest.nouns import Measurand

#: Temperature at which loads and supplies are calibrated, C (common practice, no source).
CALIBRATED_AT_C = 23.0
MeterRow = VoltsAccuracy | OhmsAccuracy
_FUNCTIONS = {
    Measurand.VOLTAGE: "volts_dc",
    Measurand.RESISTANCE: "ohms",
    Measurand.CONTACT: "ohms",
    Measurand.DIODE: "diode",
}


class Accuracies:
    """The accuracy tables of one bench at one ambient temperature."""

    def __init__(self, bench: BenchFile, ambient_C: float) -> None:
        self._bench, self._ambient_C = bench, ambient_C

    def meter_rows(self, measurand: Measurand) -> Sequence[MeterRow]:
        """Rows of the meter's function, in rising order of range."""
        rows: Sequence[MeterRow] = getattr(self._bench.meter.accuracy, _FUNCTIONS[measurand])
        return rows

    def next_range(self, measurand: Measurand, range_: float) -> float | None:
        """The next higher range of the meter, base unit; `None` at the top."""
        higher = [float(row.range) for row in self.meter_rows(measurand) if float(row.range) > range_]
        return min(higher, default=None)

    def noise(self, measurand: Measurand, range_: float, nplc: float) -> float:
        """The meter's own noise on a range, rms of one raw value, base unit: less the longer it integrates."""
        row = row_for(self.meter_rows(measurand), range_)
        return float(row.noise) * math.sqrt(float(row.integration) / nplc)

    @staticmethod
    def key(measurand: Measurand, range_: float, nplc: float) -> SpreadKey:
        """What a spread is pooled by."""
        return SpreadKey(_FUNCTIONS[measurand], range_, nplc)

    def of_meter(
        self, measurand: Measurand, range_: float, value: float, *, spread: float, count: int, nplc: float
    ) -> float:
        """Expanded uncertainty of a meter reading, k = 2, base unit."""
        return of_reading(
            row_for(self.meter_rows(measurand), range_),
            value,
            spread=spread,
            count=count,
            nplc=nplc,
            ambient_C=self._ambient_C,
            calibrated_at_C=float(self._bench.meter.calibrated_at),
        )

    def of_supply_current(self, amperes: float) -> float:
        """Expanded uncertainty of the supply's read-back of its current, k = 2, A."""
        return self._of_current(self._bench.supply.accuracy.current, amperes)

    def _of_current(self, rows: Sequence[AmperesAccuracy], amperes: float) -> float:
        row = row_for(rows, pick_range(rows, amperes))
        return of_reading(
            row,
            amperes,
            spread=float(row.noise),
            count=1,
            nplc=0.0,
            ambient_C=self._ambient_C,
            calibrated_at_C=CALIBRATED_AT_C,
        )
