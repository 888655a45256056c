"""The bench: opened whole or not at all, one program at a time, off on every way out."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import pyvisa

from batchtest.bench import Bench
from batchtest.bench.identity import parse_identity
from batchtest.bench.occupancy import occupied
from batchtest.bench.switching import switch_off
from batchtest.clock import VirtualClock
from batchtest.errors import (
    BenchError,
    InstrumentLost,
    InstrumentRefused,
    InstrumentReplyError,
    InstrumentTimeout,
    OutputsNotOff,
)
from batchtest.nouns import Measurand, Role
from test_bench.benches import ScriptedBench, scripted_bench


def open_bench(scripted: ScriptedBench, folder: Path, name: str = "try") -> Any:
    """Open the bench of a scripted one."""
    return Bench.open(scripted.file, name, VirtualClock(), folder)


def test_opening_proves_who_is_on_the_bench(tmp_path: Path) -> None:
    """Each instrument has told maker, model and serial; calibration goes along into the record."""
    with scripted_bench() as scripted, open_bench(scripted, tmp_path) as bench:
        found = {identity.role: identity for identity in bench.identities}
        assert set(found) == set(Role)
        meter = found[Role.METER]
        assert (meter.maker, meter.model, meter.serial) == ("Glasshouse Bench Works", "meter", "S-meter")
        assert (meter.firmware, meter.dialect, str(meter.due)) == ("1.0", "meter-confread", "2027-03-02")
        assert bench.contact == 0


def test_a_bench_may_have_no_handler(tmp_path: Path) -> None:
    """Without a handler a person is asked."""
    with scripted_bench() as scripted:
        del scripted.table["handler"]
        with open_bench(scripted, tmp_path) as bench:
            assert bench.handler is None
            assert bench.contact == 0


@pytest.mark.parametrize(
    ("identity", "message"),
    [
        pytest.param("Glasshouse Bench Works,meter,S-9,1.0", "serial S-9, the bench file wants .*S-meter", id="serial"),
        pytest.param("Glasshouse Bench Works,other,S-meter,1.0", "'other', serial", id="model"),
        pytest.param("Another,meter,S-meter,1.0", "'Another' 'meter'", id="maker"),
        pytest.param("Glasshouse Bench Works,meter,0,1.0", "serial which it does not tell", id="not-told"),
        pytest.param("Glasshouse Bench Works,meter,,1.0", "serial which it does not tell", id="left-out"),
        pytest.param("Glasshouse Bench Works,meter", "is not maker, model, serial and firmware", id="two-fields"),
        pytest.param("", "is not maker, model, serial and firmware", id="empty"),
    ],
)
def test_another_instrument_is_refused(tmp_path: Path, identity: str, message: str) -> None:
    """Maker, model and serial must be the bench file's; the message shows both and the cure."""
    with scripted_bench() as scripted:
        scripted.instruments["meter"].misbehave("*IDN?", identity.encode() + b"\n")
        with pytest.raises(BenchError, match=message), open_bench(scripted, tmp_path):
            pass


def test_a_firmware_that_the_dialect_does_not_know_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A dialect may say which firmware it was tried on."""
    from batchtest.bench import opening as module

    load = module.load_dialect
    narrow = {"identity": r".*,2\..*"}
    monkeypatch.setattr(module, "load_dialect", lambda name, kind: load(name, kind).model_copy(update=narrow))
    said = r"does not match .* of dialect 'load-chanlist'"
    with scripted_bench() as scripted, pytest.raises(BenchError, match=said), open_bench(scripted, tmp_path):
        pass


def test_identities_are_read_as_the_standard_has_them() -> None:
    """Four fields joined by commas (IEEE 488.2 10.14, as in the reference file), blanks round them dropped."""
    assert parse_identity("ACME, DMM6 ,MY123,A.02-B") == ("ACME", "DMM6", "MY123", "A.02-B")
    with pytest.raises(InstrumentReplyError, match="is not maker, model, serial and firmware"):
        parse_identity("A,B,C")


def test_a_refused_port_stops_the_opening(tmp_path: Path) -> None:
    """A bench with a dead instrument does not open; the lock is given back."""
    with scripted_bench() as scripted:
        scripted.servers["scanner"].stop()
        said = r"scanner: connection lost at 'open TCPIP.*refused"
        for _ in range(2):
            with pytest.raises(InstrumentLost, match=said), open_bench(scripted, tmp_path):
                pass


def test_a_host_that_never_answers_stops_the_opening(tmp_path: Path) -> None:
    """A port that listens and stays silent is a time-out of its own, within its reply time."""
    with scripted_bench("50 ms") as scripted, socket.create_server(("127.0.0.1", 0)) as silent:
        scripted.table["supply"]["address"] = f"TCPIP0::127.0.0.1::{silent.getsockname()[1]}::SOCKET"
        began = time.monotonic()
        said = r"supply: no whole reply to '\*IDN\?'"
        with pytest.raises(InstrumentTimeout, match=said), open_bench(scripted, tmp_path):
            pass
        assert time.monotonic() - began < 1.0


def test_outputs_are_reset_before_anything_else_is_opened(tmp_path: Path) -> None:
    """Whatever was on when the station started is off before the meter is even looked for."""
    with scripted_bench("50 ms") as scripted:
        scripted.servers["meter"].stop()
        with pytest.raises(BenchError), open_bench(scripted, tmp_path):
            pass
        for role in ("load", "supply"):
            assert "*RST" in scripted.instruments[role].heard


def test_a_bench_in_use_names_its_holder(tmp_path: Path) -> None:
    """A second program is refused before it opens anything, and told who holds the bench and since when."""
    program = (
        "import sys, time; from pathlib import Path; from batchtest.bench.occupancy import occupied\n"
        "with occupied('try', Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        said = f"bench 'try' is in use by process {holder.pid} since {datetime.now():%Y-%m-%d}"
        with scripted_bench() as scripted, pytest.raises(BenchError, match=said), open_bench(scripted, tmp_path):
            pass
        assert scripted.servers["load"].connections == 0
        holder.kill()
    with occupied("try", tmp_path):
        pass


def test_a_bench_in_use_by_this_very_process_is_refused_too(tmp_path: Path) -> None:
    """Two benches of one name in one program would share instruments; another name is another bench."""
    said = f"process {os.getpid()} since"
    with (
        occupied("try", tmp_path),
        occupied("other", tmp_path),
        pytest.raises(BenchError, match=said),
        occupied("try", tmp_path),
    ):
        pass


def test_a_holder_that_has_not_said_who_it_is_is_still_respected(tmp_path: Path) -> None:
    """The lock decides, not the note beside it."""
    with occupied("try", tmp_path):
        (tmp_path / "try.holder.json").write_text("{")
        with pytest.raises(BenchError, match="has not said who it is"), occupied("try", tmp_path):
            pass


def test_the_manager_is_closed_once_and_last(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Outputs off, then the instruments, then the manager, once; pyvisa closes what is open with its manager."""
    closed: list[str] = []
    close_manager, close_resource = pyvisa.ResourceManager.close, pyvisa.Resource.close

    def manager_closes(self: pyvisa.ResourceManager) -> None:
        closed.append("manager")
        close_manager(self)

    def resource_closes(self: pyvisa.Resource) -> None:
        closed.append("instrument")
        close_resource(self)

    monkeypatch.setattr(pyvisa.ResourceManager, "close", manager_closes)
    monkeypatch.setattr(pyvisa.Resource, "close", resource_closes)
    with scripted_bench() as scripted, open_bench(scripted, tmp_path):
        pass
    assert closed.count("manager") == 1
    assert closed[:6] == ["instrument"] * 5 + ["manager"]


@pytest.mark.parametrize("way_out", [None, KeyboardInterrupt, ZeroDivisionError])
def test_outputs_are_off_on_every_way_out(tmp_path: Path, way_out: type[BaseException] | None) -> None:
    """However the bench is left, load and supply are off."""
    with scripted_bench() as scripted:
        with suppress(KeyboardInterrupt, ZeroDivisionError), open_bench(scripted, tmp_path) as bench:
            bench.supply.on()
            bench.load.on(1)
            if way_out is not None:
                raise way_out
        assert scripted.power.held["OUTP"] == "OFF"
        assert scripted.loads.held["INP1"] == "OFF"


def test_load_goes_off_before_the_supply_and_both_before_reading_back(tmp_path: Path) -> None:
    """Two messages switch everything off; nothing is waited for between them."""
    with scripted_bench() as scripted:
        said: list[tuple[str, str]] = []

        def trace(name: str, _kind: str, message: str, _reply: str, _expected_s: float) -> None:
            said.append((name, message))

        with Bench.open(scripted.file, "try", VirtualClock(), tmp_path, trace) as bench:
            said.clear()
            bench.off()
            assert said == [
                ("load", "INP OFF,(@1,2,3)"),
                ("supply", "OUTP OFF"),
                *[("load", f"INP? (@{channel})") for channel in (1, 2, 3)],
                ("supply", "OUTP?"),
            ]


def test_supply_goes_off_although_the_load_is_dead(tmp_path: Path) -> None:
    """Each output is tried although the other failed; the message names the one that is not off."""
    with scripted_bench("50 ms") as scripted, suppress(OutputsNotOff), open_bench(scripted, tmp_path) as bench:
        bench.supply.on()
        scripted.servers["load"].stop()
        with pytest.raises(OutputsNotOff, match=r"load channel 1 cannot be read back.*Treat the board as live") as told:
            bench.off()
        assert "supply" not in str(told.value).partition("Treat")[0]
        assert scripted.power.held["OUTP"] == "OFF"


def test_off_works_on_a_dirty_link(tmp_path: Path) -> None:
    """A late reply does not keep the outputs on, and is not taken for the answer to "are you off"."""
    with scripted_bench("60 ms") as scripted, open_bench(scripted, tmp_path) as bench:
        bench.supply.on()
        scripted.instruments["supply"].misbehave("MEAS:VOLT?", 0.08, b"1\n")
        with pytest.raises(InstrumentTimeout):
            bench.supply.measured()
        bench.off()
        assert scripted.power.held["OUTP"] == "OFF"
        assert not bench.supply.is_on()


def test_off_is_said_again_where_it_may_not_have_arrived(tmp_path: Path) -> None:
    """A link that broke as "off" was sent is opened anew, and "off" is said once more."""
    with scripted_bench("60 ms") as scripted, open_bench(scripted, tmp_path) as bench:
        bench.supply.on()
        scripted.servers["supply"].drop()
        time.sleep(0.02)
        bench.off()
        assert scripted.power.held["OUTP"] == "OFF"
        assert bench.contact >= 1


class FlakyOutput:
    """An output whose "off" is interrupted once, or which does not answer."""

    def __init__(self, *troubles: BaseException) -> None:
        self.troubles = list(troubles)
        self.is_off = False

    def send_off(self) -> None:
        """Fail as long as there is trouble, then be off."""
        if self.troubles:
            raise self.troubles.pop()
        self.is_off = True

    def confirm_off(self) -> None:
        """Fail where it is not off."""
        if not self.is_off:
            raise OutputsNotOff("it is on")


def test_ctrl_c_is_held_back_until_everything_is_off() -> None:
    """An interrupt in the middle leaves nothing on; it arrives once all is off."""
    first, second = FlakyOutput(KeyboardInterrupt()), FlakyOutput()
    with pytest.raises(KeyboardInterrupt):
        switch_off((first, second))
    assert first.is_off
    assert second.is_off


def test_an_output_that_is_on_outweighs_an_interrupt() -> None:
    """Where an output stays on that is what is told."""
    dead = FlakyOutput(*[InstrumentLost("gone")])
    with pytest.raises(OutputsNotOff, match=r"it is on\. Treat the board as live") as told:
        switch_off((dead, FlakyOutput(KeyboardInterrupt())))
    assert isinstance(told.value.__cause__, KeyboardInterrupt)


def test_making_safe_sets_every_protection_and_reads_it_back(tmp_path: Path) -> None:
    """Outputs off, relays open, the load's limits of current and power, the supply's of voltage, and 0 V."""
    with scripted_bench() as scripted, open_bench(scripted, tmp_path) as bench:
        scripted.relays.closed = [101]
        scripted.loads.held |= {"INP2": "ON", "CURR2": "5"}
        scripted.power.held |= {"OUTP": "ON", "VOLT": "24"}
        bench.make_safe()
        assert scripted.relays.closed == []
        assert {scripted.loads.held[f"{key}{n}"] for n in (1, 2, 3) for key in ("INP",)} == {"OFF"}
        assert {scripted.loads.held[f"CURR:PROT{n}"] for n in (1, 2, 3)} == {"0.1"}
        assert {scripted.loads.held[f"POW:PROT{n}"] for n in (1, 2, 3)} == {"1"}
        assert {scripted.loads.held[f"CURR{n}"] for n in (1, 2, 3)} == {"0"}
        assert scripted.power.held["VOLT:PROT"] == "26"
        assert (scripted.power.held["OUTP"], scripted.power.held["VOLT"]) == ("OFF", "0")


@pytest.mark.parametrize(
    ("role", "key"), [("loads", "POW:PROT2"), ("loads", "CURR:PROT3"), ("power", "VOLT:PROT"), ("power", "VOLT")]
)
def test_a_protection_that_is_not_taken_stops(tmp_path: Path, role: str, key: str) -> None:
    """Without its own limits an instrument is not made safe."""
    with scripted_bench() as scripted, open_bench(scripted, tmp_path) as bench:
        getattr(scripted, role).stuck[key] = "300"
        with pytest.raises(InstrumentRefused, match="and holds 300"):
            bench.make_safe()


def test_another_instrument_after_a_lost_link_is_refused(tmp_path: Path) -> None:
    """Whoever answers at the address after a break must be the instrument that was proven at opening."""
    with scripted_bench("60 ms") as scripted, suppress(OutputsNotOff), open_bench(scripted, tmp_path) as bench:
        scripted.instruments["supply"].identity = "Glasshouse Bench Works,supply,S-9,1.0"
        scripted.servers["supply"].drop()
        with pytest.raises(OutputsNotOff, match=r"opened anew, it is '.*S-9,1\.0' and no longer '.*S-supply"):
            bench.off()


def test_a_lost_link_changes_the_contact_count(tmp_path: Path) -> None:
    """A proof dies with contact: the count is up as soon as a link is out of step, and stays up."""
    with scripted_bench("50 ms") as scripted, open_bench(scripted, tmp_path) as bench:
        scripted.instruments["meter"].misbehave("READ?")
        with pytest.raises(InstrumentTimeout):
            bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, 3)
        assert bench.contact == 1
        bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, 3)
        assert bench.contact == 1
