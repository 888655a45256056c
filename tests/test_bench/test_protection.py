"""What instruments guard against by themselves: set and read back on the simulated bench, and how a trip is cleared."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from dialects import in_styles
from stations import demo_setup

from batchtest.bench import Bench
from batchtest.clock import VirtualClock
from batchtest.errors import InstrumentRefused, SetupError
from batchtest.files.bench import LoadProtection, SupplyProtection
from batchtest.files.library import Setup
from batchtest.simulated import RunningBench, start_bench
from batchtest.simulated.log import Kind


@dataclass(frozen=True)
class Opened:
    """A simulated bench, and the bench that was opened on it."""

    running: RunningBench
    bench: Bench


@contextmanager
def opened(folder: Path, setup: Setup) -> Iterator[Opened]:
    """Start and open the bench of a setup."""
    clock = VirtualClock()
    with start_bench(setup, clock) as running, Bench.open(running.bench_file, "try", clock, folder) as bench:
        yield Opened(running, bench)


GUARDED = {"current": "80 mA", "power": "900 mW", "under_voltage": "1.5 V", "on_timer": "90 s"}
LIMITED = {"voltage": "25 V", "current": "700 mA", "watchdog": "20 s"}


def guarded(*styles: str, slew: str | None = None, sense: str | None = None) -> Any:
    """The demo with everything asked for that a dialect may have."""
    load = {"protection": LoadProtection.model_validate(GUARDED), "sense": sense}
    if slew is not None:
        load["slew"] = slew
    supply = {"protection": SupplyProtection.model_validate(LIMITED), "sense": sense}
    return in_styles(demo_setup(), *styles, load=load, supply=supply)


def test_all_that_a_bench_file_asks_for_is_set(tmp_path: Path) -> None:
    """Own limits, under-voltage stop, timer, slew and sense of every channel; supply protections and watchdog."""
    with opened(tmp_path, guarded("load-modes", "supply-named", slew=2e4, sense="remote")) as on:  # type: ignore[arg-type]
        on.bench.make_safe()
        for load in on.running.rack.loads.values():
            assert (load.trip_A, load.trip_W, load.under_V, load.timer_s) == pytest.approx((0.08, 0.9, 1.5, 90))
            assert (load.rising_A_s, load.falling_A_s, load.sense, load.on) == (pytest.approx(2e4), 2e4, True, False)
        supply = on.running.rack.supply
        assert (supply.trip_V, supply.trip_A, supply.watchdog_s) == pytest.approx((25, 0.7, 20))
        assert (supply.sense, supply.on, supply.volts) == (True, False, 0.0)


@pytest.mark.parametrize("style", ["load-modes", "load-frames"])
def test_what_is_not_asked_for_is_set_all_the_same(tmp_path: Path, style: str) -> None:
    """A load that can stop itself is told to, and a watchdog is wound up; sense is left alone."""
    with opened(tmp_path, in_styles(demo_setup(), style, "supply-named")) as on:
        on.bench.make_safe()
        for load in on.running.rack.loads.values():
            assert (load.under_V, load.timer_s, load.sense) == (pytest.approx(0.5), 600, False)
        assert on.running.rack.supply.watchdog_s == 60


@pytest.mark.parametrize(
    ("styles", "missing"),
    [
        pytest.param(
            ("load-chanlist", "supply-named"), "load: .*protection.under_voltage, protection.on_timer, ", id="load"
        ),
        pytest.param(
            ("load-integers", "supply-named"), "load: .* asks for protection.on_timer, and dialect", id="timer"
        ),
        pytest.param(
            ("load-modes", "supply-text"), "supply: .* asks for protection.watchdog, and dialect", id="watchdog"
        ),
    ],
)
def test_a_protection_that_cannot_be_set_is_refused(tmp_path: Path, styles: tuple[str, ...], missing: str) -> None:
    """Nobody may rely on what the instrument does not have."""
    with pytest.raises(SetupError, match=missing), opened(tmp_path, guarded(*styles, slew=2e4)):  # type: ignore[arg-type]
        pass


@pytest.mark.parametrize(
    ("styles", "off", "level", "clear"),
    [
        (("load-chanlist", "supply-outp"), "INP OFF,(@2)", "CURR 0,(@2)", "INP:PROT:CLE (@2)"),
        (("load-modes", "supply-named"), "INP OFF,(@2)", "CURR 0,(@2)", "INP:PROT:CLE (@2)"),
        (("load-frames", "supply-text"), "INP OFF,(@2)", "CURR 0,(@2)", "INP:PROT:CLE (@2)"),
    ],
    ids=["plain", "modes", "frames"],
)
def test_a_trip_is_cleared_only_with_the_output_off_and_at_zero(
    tmp_path: Path, styles: tuple[str, ...], off: str, level: str, clear: str
) -> None:
    """Off, 0 A or 0 V, clear, off again and read back: an output that comes back with the clearing draws nothing."""
    with opened(tmp_path, in_styles(demo_setup(), *styles)) as on:
        rack = on.running.rack
        rack.loads[2].tripped, rack.supply.tripped = "current", True
        on.running.log._entries.clear()
        on.bench.make_safe()
        heard = on.running.log.commands("load")
        at = heard.index(clear)
        before, after = heard[:at], heard[at + 1 :]
        assert off in before
        assert level in before[before.index(off) :]
        assert off in after
        assert (rack.loads[2].tripped, rack.supply.tripped) == ("", False)
        sent = on.running.log.commands("supply")
        at = sent.index("OUTP:PROT:CLE")
        assert any(message.startswith("OUTP 0") or message == "OUTP OFF" for message in sent[at + 1 :])
        assert any(message in ("VOLT 0", "VOLT 0.00") for message in sent[:at])


def test_what_was_before_a_trip_was_cleared_is_no_event_after_it(tmp_path: Path) -> None:
    """Event registers are read once more, so that the next load point does not show the last board's trip."""
    with opened(tmp_path, in_styles(demo_setup(), "load-modes")) as on:
        on.running.rack.loads[2].tripped = "under-voltage"
        on.bench.make_safe()
        status = on.bench.load.status(2)
        assert (status.raw, status.tripped) == ("load-events=0 load=0", False)


def test_an_input_that_clearing_switches_on_is_off_again(tmp_path: Path) -> None:
    """Some instruments go on where they were once a trip is cleared."""
    with opened(tmp_path, demo_setup()) as on:
        rack, load = on.running.rack, on.running.instruments.load

        def clear(channels: tuple[int, ...]) -> None:
            for channel in channels:
                rack.loads[channel].tripped, rack.loads[channel].on = "", True
            load.change(0.001)

        load.add("INPUT:PROTECTION:CLEAR", clear, load._channels)
        rack.loads[1].tripped = "power"
        on.bench.make_safe()
        drawn = [entry.text for entry in on.running.log if entry.kind is Kind.STATE and entry.role == "load 1"]
        assert drawn[-2:] == ["0 A on", "off"]
        assert not rack.loads[1].on


def test_a_mode_that_was_changed_at_the_front_panel_is_chosen_again(tmp_path: Path) -> None:
    """Constant current is read back before an input goes on; the current is set again with it."""
    with opened(tmp_path, in_styles(demo_setup(), "load-integers")) as on:
        bench, rack = on.bench, on.running.rack
        bench.make_safe()
        bench.load.set_current(2, 0.02)
        rack.loads[2].function, rack.loads[2].under_V = "VOLT", 0.0
        bench.load.on(2)
        assert (rack.loads[2].function, rack.loads[2].set_A, rack.loads[2].on) == ("CURR", pytest.approx(0.02), True)
        bench.load.off()


def test_a_silent_station_leaves_nothing_on(tmp_path: Path) -> None:
    """The supply's watchdog and the load's timer act without anybody's help, and the status tells."""
    with opened(tmp_path, guarded("load-modes", "supply-named")) as on:
        bench, rack = on.bench, on.running.rack
        bench.make_safe()
        bench.supply.set(5.0, 0.1)
        bench.supply.on()
        bench.clock.sleep(19)
        assert bench.supply.is_on()
        bench.clock.sleep(21)
        assert not bench.supply.is_on()
        assert rack.supply.trip == "silence"
        assert bench.supply.measured().status.conditions == {"silence"}
        rack.loads[1].under_V, rack.loads[2].under_V = 0.0, 0.0
        bench.load.on(1)
        bench.clock.sleep(100)
        assert not bench.load.is_on(1)
        assert "load-on time is over" in bench.load.status(1).conditions


def test_a_rail_below_the_stop_is_not_loaded(tmp_path: Path) -> None:
    """The load trips by itself, and does not go on before that is cleared."""
    with opened(tmp_path, guarded("load-frames", "supply-named")) as on:
        bench = on.bench
        bench.make_safe()
        with pytest.raises(InstrumentRefused, match="channel 1 does not switch on; has it tripped"):
            bench.load.on(1)
        assert bench.load.status(1).conditions == {"under-voltage"}


@pytest.mark.parametrize("style", ["load-frames", "load-integers", "load-modes"])
def test_a_rail_that_falls_below_the_stop_is_the_boards_doing(tmp_path: Path, style: str) -> None:
    """The input that the load switched off by itself is no touched key: what is read there is kept, and not judged."""
    protection = LoadProtection.model_validate({"current": "80 mA", "power": "900 mW"})
    with opened(tmp_path, in_styles(demo_setup(), style, load={"protection": protection})) as on:
        bench, load = on.bench, on.running.rack.loads[2]
        bench.make_safe()
        load.under_V = 0.0
        bench.load.set_current(2, 0.02)
        bench.load.on(2)
        load.on, load.tripped = False, "under-voltage"
        found = bench.confirm(drawing=2)
        assert not found.regulated
        assert "under-voltage" in found.conditions
        load.tripped = "current"
        with pytest.raises(InstrumentRefused, match=r"load channel 2: its own protection has acted \(over-current"):
            bench.confirm(drawing=2)
