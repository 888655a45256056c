"""Hosts with a load at their outlet and a part in series with it that warms: setups for tests and benchmarks."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

from host_stands import host_setup

from batchtest.files.bench import SimulatedOutlet
from batchtest.files.hosts import HostSetup

#: What load and supply must reach here, A.
REACH = Decimal(3)


def outlet_setup(variant: str = "fuse", *, seed: int = 2026, hum: int = 0, **outlet: Any) -> HostSetup:
    """The demo's cabinet with load channel 1 at its outlet; other keys are of `[simulation.outlet]`."""
    told = SimulatedOutlet.model_validate({"part": "RACC", "variant": variant, **outlet})
    setup = host_setup(seed=seed, hum=hum, outlet=told)
    points = dict(setup.fixture.points)
    points["accessory"] = points["accessory"].model_copy(update={"load": 1})
    bench = setup.bench
    return replace(
        setup,
        fixture=setup.fixture.model_copy(update={"points": points}),
        bench=bench.model_copy(update={"load": _reaching(bench.load), "supply": _reaching(bench.supply)}),
    )


def _reaching(instrument: Any) -> Any:
    """The same instrument with one more row of its current, up to `REACH`."""
    rows = instrument.accuracy.current
    if rows[-1].range >= REACH:
        return instrument
    wider = (*rows, rows[-1].model_copy(update={"range": REACH}))
    return instrument.model_copy(update={"accuracy": instrument.accuracy.model_copy(update={"current": wider})})
