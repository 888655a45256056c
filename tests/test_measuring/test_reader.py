"""The reader: a value with its uncertainty, a proven bound, or nothing; off at once beyond an abort bound."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from batchtest.errors import InstrumentRefused, InstrumentReplyError, OutputsNotOff, SafetyTrip, SetupError
from batchtest.measuring.raw import INTERLOCK
from batchtest.nouns import Limit, Measurand, Phase
from test_measuring.readers import EACH_S, OHMS, VOLTS, reading


def test_a_reading_is_the_mean_with_its_uncertainty(tmp_path: Path) -> None:
    """The point's channel is closed, the raw values are averaged, and the accuracy table and the noise make U."""
    with reading(tmp_path) as on:
        on.shows(lambda now: 5.0 if now < 0.02 else 5.0003)
        found = on.reader.read(VOLTS)
        assert on.scripted.relays.closed == [103]
        assert (found.count, found.nplc, found.settled) == (3, 1.0, True)
        assert found.value == pytest.approx(5.0002, abs=1e-4)
        table = 2 * (5.0002 * 0.0035e-2 + 10 * 0.0005e-2) / math.sqrt(3)
        assert found.uncertainty is not None
        assert found.uncertainty == pytest.approx(math.hypot(table, 2 * (found.spread or 0) / math.sqrt(3)), rel=1e-3)
        assert found.raw.count(",") == 2


def test_the_channel_is_closed_only_where_it_is_not(tmp_path: Path) -> None:
    """Reading a point again moves no relay."""
    with reading(tmp_path) as on:
        on.shows(lambda _: 5.0)
        on.reader.read(VOLTS)
        heard = on.scripted.instruments["scanner"].heard
        heard.clear()
        on.reader.read(VOLTS)
        assert set(heard) == {"ROUT:CLOS:STAT?;:SYST:ERR?"}


def test_an_unknown_point_names_the_nearest(tmp_path: Path) -> None:
    """A point that the fixture does not have is a slip in a file."""
    with (
        reading(tmp_path) as on,
        pytest.raises(SetupError, match="no point 'lgic' in the fixture; did you mean 'logic'"),
    ):
        on.reader.read(replace(VOLTS, point="lgic"))


@pytest.mark.parametrize(
    ("shown", "value"), [(1000.0, 1000.0), (0.125, 0.125), (math.inf, None)], ids=["closed", "bridged", "open"]
)
def test_the_interlock_is_read_on_its_own_channel(tmp_path: Path, shown: float, value: float | None) -> None:
    """It has no needles: an open loop is no value and no bound, even where all needles of the board were proven."""
    loop = replace(OHMS, name="interlock", point=INTERLOCK)

    def change(table: dict[str, Any]) -> None:
        table["interlock"] = {"scanner": 141, "resistance": {"lower": "900 ohm", "upper": "1.1 kohm"}}

    with reading(tmp_path, change) as on:
        on.prove("logic")
        on.shows(lambda _: shown)
        for found in (on.reader.read(loop), on.reader.settled(loop)):
            assert on.scripted.relays.closed == [141]
            assert (found.value, found.beyond, found.unit) == (value, None, "ohm")


def test_a_bench_without_an_interlock_says_what_to_add(tmp_path: Path) -> None:
    """Asking for it is a slip in the bench file, not in the fixture."""
    with reading(tmp_path) as on, pytest.raises(SetupError, match=r"the bench file has no \[interlock\]; add"):
        on.reader.read(replace(OHMS, point=INTERLOCK))


def test_volts_over_range_are_read_on_the_next_range(tmp_path: Path) -> None:
    """The uncertainty is then that of the range in use."""
    with reading(tmp_path) as on:
        on.scripted.values.read = lambda function: "+2.4E+01" if function.endswith(" 100") else "+9.9E+37"
        found = on.reader.read(VOLTS)
        assert found.value == 24.0
        assert found.uncertainty is not None
        assert found.uncertainty > 2 * (24 * 0.005e-2 + 100 * 0.0007e-2) / math.sqrt(3) * 0.999


@pytest.mark.parametrize("reply", ["+9.9E+37", "-9.9E+37", "9.91E37", "OL"])
def test_volts_over_every_range_are_unread(tmp_path: Path, reply: str) -> None:
    """There is no value and no bound."""
    with reading(tmp_path) as on:
        on.prove("logic")
        on.scripted.values.read = lambda function: reply
        found = on.reader.read(VOLTS)
        assert (found.value, found.beyond, found.uncertainty) == (None, None, None)
        assert reply in found.raw


@pytest.mark.parametrize("measurand", [Measurand.RESISTANCE, Measurand.DIODE])
def test_over_range_is_a_bound_only_where_contact_was_proven(tmp_path: Path, measurand: Measurand) -> None:
    """An open needle reads over range too; only proven contact makes it say something of the board."""
    measurement = replace(OHMS, measurand=measurand, range=5.0 if measurand is Measurand.DIODE else 1000.0)
    with reading(tmp_path) as on:
        on.shows(lambda _: math.inf)
        assert on.reader.read(measurement).beyond is None
        on.prove("logic")
        assert on.reader.proven("logic")
        on.shows(lambda _: math.inf)
        for found in (on.reader.read(measurement), on.reader.settled(measurement)):
            assert (found.value, found.beyond) == (None, measurement.range)
        on.reader.forget()
        assert on.reader.read(measurement).beyond is None


@pytest.mark.parametrize("reply", ["-9.9E+37", "9.91E37"])
def test_only_over_range_upwards_is_a_bound(tmp_path: Path, reply: str) -> None:
    """A negative infinity or no number at all is not "more than the range"."""
    with reading(tmp_path) as on:
        on.prove("logic")
        on.scripted.values.read = lambda function: reply
        assert on.reader.read(OHMS).beyond is None


@pytest.mark.parametrize(
    ("ohms", "proven"),
    [
        pytest.param(0.2, True, id="touches"),
        pytest.param(4.999, False, id="within-the-uncertainty"),
        pytest.param(6.0, False, id="too-much"),
        pytest.param(math.inf, False, id="open"),
        pytest.param(-1.0, False, id="negative"),
    ],
)
def test_contact_is_proven_by_a_value_surely_below_the_limit(tmp_path: Path, ohms: float, proven: bool) -> None:
    """No reading is not a proof, and neither is a resistance that cannot be."""
    with reading(tmp_path) as on:
        on.shows(lambda _: ohms)
        contact = replace(OHMS, name="contact", measurand=Measurand.CONTACT, range=100.0)
        for channel in (203, 302):
            on.reader.contact(contact, channel)
        assert on.scripted.relays.closed == [302]
        assert on.reader.proven("logic") is proven
        assert not on.reader.proven("feed")


def test_a_contact_proof_is_withdrawn_by_a_later_failure(tmp_path: Path) -> None:
    """The last check of a channel counts."""
    with reading(tmp_path) as on:
        on.prove("logic")
        on.shows(lambda _: math.inf)
        on.reader.contact(replace(OHMS, measurand=Measurand.CONTACT, range=100.0), 203)
        assert not on.reader.proven("logic")


def test_a_lost_link_withdraws_every_contact_proof(tmp_path: Path) -> None:
    """After a link was brought back into step nobody knows what is connected."""
    with reading(tmp_path) as on:
        on.prove("logic")
        on.scripted.servers["scanner"].drop()
        with pytest.raises(Exception, match="connection lost"):
            on.bench.scanner.close(101)
        assert not on.reader.proven("logic")


def test_the_reference_is_read_on_its_own_channel(tmp_path: Path) -> None:
    """The known voltage comes through meter and scanner."""
    with reading(tmp_path) as on:
        on.shows(lambda _: 5.0)
        assert on.reader.reference(replace(VOLTS, point="reference")).value == pytest.approx(5.0)
        assert on.scripted.relays.closed == [140]


ABORT = replace(VOLTS, abort=Limit(lower=-0.5, upper=5.6))


@pytest.mark.parametrize(
    ("values", "message"),
    [
        pytest.param([5.0, 5.7, 5.0], r"logic @ load point 1: 5\.7000 V is above its abort bound 5\.6", id="one-value"),
        pytest.param([-1.0, 5.0, 5.0], r"-1\.0000 V is below its abort bound -500", id="below"),
        pytest.param([math.inf] * 3, "over range is above its abort bound", id="over-range"),
        pytest.param([-math.inf] * 3, "over range is below its abort bound", id="over-range-below"),
    ],
)
@pytest.mark.parametrize("settled", [False, True], ids=["read", "settled"])
def test_every_raw_value_is_held_against_the_abort_bounds(
    tmp_path: Path, values: list[float], message: str, settled: bool
) -> None:
    """One raw value beyond a bound switches everything off before anything else is done."""
    with reading(tmp_path) as on:
        on.bench.supply.on()
        on.bench.load.on(2)
        left = iter(values)
        on.shows(lambda _: next(left))
        with pytest.raises(SafetyTrip, match=message) as told:
            (on.reader.settled if settled else on.reader.read)(ABORT)
        assert on.scripted.power.held["OUTP"] == "OFF"
        assert on.scripted.loads.held["INP2"] == "OFF"
        assert told.value.measurement == ABORT
        assert told.value.reading is not None
        beyond = next(value for value in values if not -0.5 <= value <= 5.6)
        assert told.value.reading.value == (beyond if math.isfinite(beyond) else None)


def test_off_follows_the_bad_reply_at_once(tmp_path: Path) -> None:
    """Between the reply and the two "off" messages nothing else is said to anyone."""
    said: list[tuple[str, str]] = []
    with reading(tmp_path) as on:
        for instrument in (on.bench.meter, on.bench.load, on.bench.supply, on.bench.scanner):
            instrument.link._trace = lambda name, kind, message, *rest: said.append((name, message))
        on.shows(lambda _: 9.0)
        with pytest.raises(SafetyTrip):
            on.reader.read(ABORT)
    at = said.index(("meter", "READ?"))
    assert said[at + 1 : at + 3] == [("load", "INP OFF,(@1,2,3)"), ("supply", "OUTP OFF")]


def test_over_range_below_a_wider_bound_is_looked_at_on_the_next_range(tmp_path: Path) -> None:
    """More than 10 V is not more than 15 V: the next range decides."""
    wide = replace(VOLTS, abort=Limit(upper=15.0))
    with reading(tmp_path) as on:
        for volts, trips in ((13.0, False), (16.0, True)):
            shown = f"{volts:+.3E}"
            on.scripted.values.read = lambda function, shown=shown: shown if function.endswith(" 100") else "9.9E37"
            if trips:
                with pytest.raises(SafetyTrip, match=r"16\.000 V is above"):
                    on.reader.read(wide)
            else:
                assert on.reader.read(wide).value == 13.0


def test_a_trip_whose_outputs_stay_on_is_told_as_that(tmp_path: Path) -> None:
    """An output that is still on outweighs the trip, and the trip is named with it."""
    with reading(tmp_path) as on:
        on.scripted.power.stuck["OUTP"] = "1"
        on.shows(lambda _: 9.0)
        with pytest.raises(OutputsNotOff, match=r"9\.0000 V is above its abort bound .*, and supply is still on"):
            on.reader.read(ABORT)
        on.scripted.power.stuck.clear()


def test_the_supply_reads_its_own_current(tmp_path: Path) -> None:
    """Value, uncertainty from the supply's table, raw replies and status words."""
    current = replace(VOLTS, name="input", point="", measurand=Measurand.CURRENT, unit="A", range=1.0)
    with reading(tmp_path) as on:
        on.scripted.power.held |= {"MEAS:VOLT": "+2.4E+01", "MEAS:CURR": "+1.5E-01", "STAT:OPER:COND": "256"}
        half = 0.15 * 0.05e-2 + 1 * 0.3e-2
        for read in (on.reader.supply_current, on.reader.read, on.reader.settled):
            found = read(current)
            assert found.value == 0.15
            assert found.uncertainty == pytest.approx(2 * half / math.sqrt(3))
            assert found.status == "supply=256 supply-questionable=0 load=0"
        with pytest.raises(SafetyTrip, match="input: 150"):
            on.reader.supply_current(replace(current, abort=Limit(upper=0.1)))


def test_every_reading_carries_the_status_of_the_outputs(tmp_path: Path) -> None:
    """The raw words go into the record, and that a load does not hold its current; an unknown bit stops."""
    loaded = replace(VOLTS, load_A=0.02)
    with reading(tmp_path) as on:
        on.shows(lambda _: 5.0)
        on.scripted.loads.held["STAT:QUES:COND"] = "1024"
        found = on.reader.read(loaded)
        assert (found.status, found.regulated) == ("supply=0 supply-questionable=0 load=1024", False)
        on.scripted.loads.held["STAT:QUES:COND"] = "0"
        found = on.reader.read(VOLTS)
        assert (found.status, found.regulated) == ("supply=0 supply-questionable=0 load=0", True)
        on.scripted.loads.held["STAT:QUES:COND"] = "32"
        with pytest.raises(InstrumentRefused, match="bit 5 of 'load'"):
            on.reader.read(loaded)


@pytest.mark.parametrize(
    ("held", "regulated"),
    [
        pytest.param({"CURR2": "0.05", "MEAS:CURR2": "0.0501"}, True, id="draws-it"),
        pytest.param({"CURR2": "0.05", "MEAS:CURR2": "0.012"}, False, id="draws-less"),
        pytest.param({"CURR2": "0.05", "MEAS:CURR2": "0.0501", "STAT:QUES:COND": "1024"}, False, id="says-so"),
    ],
)
def test_a_value_where_the_load_does_not_hold_its_current_is_kept_and_told(
    tmp_path: Path, held: dict[str, str], regulated: bool
) -> None:
    """By the status word, or by what the load says that it draws: the value is in the reading all the same."""
    with reading(tmp_path) as on:
        on.shows(lambda _: 5.0)
        on.bench.load.set_current(2, 0.05)
        on.bench.load.on(2)
        on.scripted.loads.held |= held
        found = on.reader.read(replace(VOLTS, load_A=0.05))
        assert (found.value, found.regulated) == (pytest.approx(5.0), regulated)


@pytest.mark.parametrize("true_tau_s", [0.002, 0.01, 0.05], ids=lambda tau: f"tau-{tau}")
@pytest.mark.parametrize("start", [0.0, 12.0], ids=["rising", "falling"])
def test_a_settled_value_is_where_the_point_ends(tmp_path: Path, true_tau_s: float, start: float) -> None:
    """Also where a board is slower than its circuit says: it is watched, not waited for blindly."""
    chance = random.Random(3)
    with reading(tmp_path) as on:
        on.shows(lambda now: 5.0 + (start - 5.0) * math.exp(-now / true_tau_s) + chance.gauss(0, 6e-6))
        found = on.reader.settled(VOLTS, since=0.0)
        assert found.settled
        assert found.value is not None
        assert found.uncertainty is not None
        assert abs(found.value - 5.0) < 0.5 * found.uncertainty
        assert found.settle_s == pytest.approx(on.clock.now() - 3 * EACH_S, abs=0.02)


def test_a_point_twenty_times_too_slow_is_never_called_settled_on_the_way(tmp_path: Path) -> None:
    """Its time is over before it has settled, and that is said."""
    with reading(tmp_path) as on:
        on.shows(lambda now: 5.0 - 5.0 * math.exp(-now / 0.2))
        found = on.reader.settled(VOLTS, since=0.0)
        assert not found.settled
        assert found.settle_s > 1.0


def test_a_settled_value_costs_one_set_where_the_circuit_is_right(tmp_path: Path) -> None:
    """Where the point settles as its circuit says, nothing is read twice."""
    with reading(tmp_path) as on:
        on.shows(lambda now: 5.0 - 5.0 * math.exp(-now / 0.01))
        on.reader.settled(VOLTS, since=0.0)
        assert on.scripted.instruments["meter"].heard.count("READ?") == 1
        assert on.clock.now() < 0.2


def test_points_share_one_settling(tmp_path: Path) -> None:
    """The wait counts from the change of state, so that a second point need not wait again."""
    with reading(tmp_path) as on:
        on.shows(lambda now: 5.0 + 1e-6 * now)  # never twice the same reply, which would be asked for again
        first = on.reader.settled(VOLTS, since=0.0)
        began = on.clock.now()
        on.reader.settled(replace(VOLTS, point="feed"), since=0.0)
        assert first.settle_s > 0.08
        assert on.clock.now() - began == pytest.approx(3 * EACH_S + 0.005)


def test_a_small_step_waits_less_than_a_large_one(tmp_path: Path) -> None:
    """Once a point was read, only the way from there is left to settle."""
    with reading(tmp_path) as on:
        on.shows(lambda _: 5.0)
        waits = [on.reader.settled(VOLTS, since=on.clock.now()).settle_s for _ in range(2)]
        on.reader.forget()
        waits.append(on.reader.settled(VOLTS, since=on.clock.now()).settle_s)
        assert waits[1] < 0.7 * waits[0]
        assert waits[2] == pytest.approx(waits[0])


def test_a_point_that_never_settles_is_given_up(tmp_path: Path) -> None:
    """A rail that goes on moving is told as not settled, in finite time; the verdict is the rule's."""
    with reading(tmp_path) as on:
        on.shows(lambda now: 4.0 + 0.5 * now)
        found = on.reader.settled(VOLTS, since=0.0)
        assert not found.settled
        assert found.value is not None
        assert on.clock.now() < 0.2 + 20 * VOLTS.settle_s + 1.0 + 0.2


def test_a_frozen_clock_does_not_keep_it_waiting(tmp_path: Path) -> None:
    """Integration counts by itself where the clock does not see it."""
    with reading(tmp_path) as on:
        steps = iter(range(10000))
        on.scripted.values.read = lambda function: f"{4.0 + 0.01 * next(steps):.6f}"
        assert not on.reader.settled(VOLTS, since=0.0).settled


def test_a_restless_rail_settles_with_its_own_spread(tmp_path: Path) -> None:
    """Noise far above the meter's own is no movement; it widens the uncertainty."""
    chance = random.Random(7)
    with reading(tmp_path) as on:
        on.shows(lambda now: chance.gauss(5.0, 0.01))
        for _ in range(6):
            found = on.reader.settled(VOLTS, since=on.clock.now())
            assert found.settled
        assert found.uncertainty is not None
        assert found.uncertainty > 0.005


def test_a_restless_rail_does_not_spoil_the_spread_of_others(tmp_path: Path) -> None:
    """What one rail does is not the noise of the meter on that range."""
    chance = random.Random(7)
    with reading(tmp_path) as on:
        on.shows(lambda now: chance.gauss(5.0, 6e-6))
        quiet = [on.reader.settled(VOLTS, since=on.clock.now()).uncertainty for _ in range(8)][-1]
        on.shows(lambda now: chance.gauss(5.0, 0.01))
        on.reader.settled(VOLTS, since=on.clock.now())
        on.shows(lambda now: chance.gauss(5.0, 6e-6))
        assert on.reader.settled(VOLTS, since=on.clock.now()).uncertainty == pytest.approx(quiet, rel=0.05)


def test_a_value_still_on_its_way_does_not_spoil_the_spread_of_others(tmp_path: Path) -> None:
    """A point that bleeds off is read with its own scatter, which tells nothing of the meter."""
    with reading(tmp_path) as on:
        on.shows(lambda now: 3.0 * math.exp(-now / 0.4))
        moving = on.reader.read(replace(VOLTS, phase=Phase.GATE))
        on.shows(lambda _: 5.0)
        still = on.reader.settled(VOLTS, since=0.0)
        assert moving.spread is not None
        assert moving.spread > 0.1
        assert still.spread == pytest.approx(6e-6)


@pytest.mark.parametrize("nplc", ["0.1", "0.5"])
def test_hum_below_a_line_cycle_is_not_taken_for_movement(tmp_path: Path, nplc: str) -> None:
    """Once hum is known from one point it is known for all, and it stays in the uncertainty."""

    def change(table: dict[str, Any]) -> None:
        table["meter"] = {**table["meter"], "integration": float(nplc)}

    with reading(tmp_path, change) as on:
        on.shows(lambda now: 5.0 + 0.005 * math.sin(2 * math.pi * 50.02 * now / 7))
        on.reader.reference(replace(VOLTS, point="reference"))
        found = on.reader.settled(replace(VOLTS, range=100.0), since=0.0)
        assert found.settled
        assert found.uncertainty is not None
        assert found.uncertainty > 0.001


def test_ohms_that_charge_up_to_over_range_are_a_bound_at_the_end(tmp_path: Path) -> None:
    """A capacitor reads low first; a mixture of values and over range is not settled."""
    with reading(tmp_path) as on:
        on.prove("logic")
        begins = on.clock.now()
        on.shows(lambda now: math.inf if now - begins > 0.15 else 2000 * (now - begins))
        found = on.reader.settled(OHMS)
        assert (found.value, found.beyond, found.settled) == (None, 1000.0, True)


def test_a_value_that_keeps_dropping_out_is_unread(tmp_path: Path) -> None:
    """A flickering over-range ends as no reading, not settled, and is no bound."""
    with reading(tmp_path) as on:
        on.prove("logic")
        flicker = iter(range(10000))
        on.shows(lambda _: math.inf if next(flicker) % 2 else 500.0)
        found = on.reader.settled(OHMS)
        assert (found.value, found.beyond, found.settled) == (None, None, False)


def test_over_range_must_be_said_twice_to_be_a_bound(tmp_path: Path) -> None:
    """A meter that reads a value when asked again has not shown anything to be open."""
    with reading(tmp_path) as on:
        on.prove("logic")
        shown = iter([math.inf] * 3 + [300.0] * 9)
        on.shows(lambda _: next(shown))
        with pytest.raises(InstrumentReplyError, match=r"logic-short reads .*, and asked again"):
            on.reader.read(OHMS)


def test_a_reply_like_the_one_before_is_asked_for_in_another_number_of_values(tmp_path: Path) -> None:
    """A reply that is handed out again would be of the old number; what comes is the reading."""
    with reading(tmp_path) as on:
        on.shows(lambda _: 5.0)
        assert [on.reader.read(VOLTS).count for _ in range(2)] == [3, 4]
        heard = on.scripted.instruments["meter"].heard
        assert [message for message in heard if message.startswith("SAMP")][-1] == "SAMP:COUN 4"
