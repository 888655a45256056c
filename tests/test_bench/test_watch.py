"""What a guardian makes of its station's bytes and silence, without a station: off, or nothing at all."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread

import pytest

from batchtest.bench.charge import ARM, BEAT, END, SAFE, Charge, Report
from batchtest.bench.guardian import Watch
from test_bench.benches import ScriptedBench, scripted_bench
from test_bench.guarding import charged, wait_until

HEARTBEAT_S = 0.3


@dataclass
class Watched:
    """A watch at work in a thread: what is said to it, and what it told."""

    scripted: ScriptedBench
    voice: int
    thread: Thread = field(default_factory=Thread)
    told: list[Report] = field(default_factory=list)
    cried: list[str] = field(default_factory=list)

    def say(self, message: bytes) -> None:
        """As the station."""
        os.write(self.voice, message)

    def leave(self) -> None:
        """As a station that ends; waits until the watch has."""
        if self.voice >= 0:
            os.close(self.voice)
            self.voice = -1
        self.thread.join(10)
        assert not self.thread.is_alive()

    @property
    def acted(self) -> list[str]:
        """What it did."""
        return [report.said for report in self.told if report.kind == "acted"]

    @property
    def off(self) -> list[str]:
        """The "off" commands that load and supply have heard."""
        heard = [*self.scripted.instruments["load"].heard, *self.scripted.instruments["supply"].heard]
        return [message for message in heard if "OFF" in message]


@contextmanager
def watched(folder: Path) -> Iterator[Watched]:
    """A watch over the load and supply of a scripted bench."""
    with scripted_bench("200 ms") as scripted, charged(scripted) as outputs:
        ears, voice = os.pipe()
        charge = Charge(station=0, bench="try", folder=folder, heartbeat_s=HEARTBEAT_S, outputs=())
        found = Watched(scripted, voice)
        found.thread = Thread(target=Watch(charge, outputs, ears, found.told.append, found.cried.append).run)
        found.thread.start()
        try:
            yield found
        finally:
            found.leave()
            os.close(ears)


@pytest.mark.parametrize("before", [b"", ARM, ARM + SAFE, ARM + BEAT], ids=["new", "armed", "safe", "beating"])
def test_a_station_that_ends_without_a_word_has_its_outputs_switched_off(tmp_path: Path, before: bytes):
    """Whatever it said before: nobody knows what it did last. A person is told too."""
    with watched(tmp_path) as found:
        found.say(before)
        found.leave()
        assert [report.kind for report in found.told if report.kind != "armed"] == ["acting", "acted"]
        assert "has ended without switching off; load off, supply off, read back after" in found.acted[0]
        assert found.off == ["INP OFF,(@1,2,3)", "OUTP OFF"]
        assert found.cried == [f"guardian: {found.acted[0]}\n"]
        assert found.acted[0] in (tmp_path / "try.guardian.log").read_text()


@pytest.mark.parametrize("before", [b"", ARM + SAFE], ids=["new", "safe"])
def test_a_station_that_says_it_is_off_and_closed_is_let_go(tmp_path: Path, before: bytes):
    """Not a word is said to the instruments."""
    with watched(tmp_path) as found:
        found.say(before + END)
        found.leave()
        assert (found.acted, found.off) == ([], [])


def test_silence_with_nothing_on_is_no_hang(tmp_path: Path):
    """A person takes their time between two boards."""
    with watched(tmp_path) as found:
        found.say(ARM + SAFE)
        time.sleep(2 * HEARTBEAT_S)
        assert found.acted == []
        found.say(END)


def test_silence_with_outputs_on_is_acted_on_once_and_again_when_the_station_moves(tmp_path: Path):
    """Once for the silence; once more for what the station may have switched on before it knew."""
    with watched(tmp_path) as found:
        found.say(ARM)
        wait_until(lambda: len(found.acted) == 1)
        assert "has not moved for 0.3 s with outputs on; load off, supply off" in found.acted[0]
        time.sleep(2 * HEARTBEAT_S)
        assert len(found.acted) == 1
        found.say(BEAT)
        wait_until(lambda: len(found.acted) == 2)
        assert "moves again after a silence; load off, supply off" in found.acted[1]
        found.say(SAFE + END)


def test_beats_keep_the_outputs_on(tmp_path: Path):
    """Three times as long as silence may last."""
    with watched(tmp_path) as found:
        found.say(ARM)
        for _ in range(18):
            found.say(BEAT)
            time.sleep(HEARTBEAT_S / 6)
        assert found.acted == []
        found.say(SAFE + END)
