"""Is anything powered that must not be, and is a good board ever refused? By the simulated bench's own log.

Run as `python tests/benchmarks/gate.py`; `--json` prints one object, `--boards N` takes fewer good boards. Everything
goes over real sockets on the virtual clock.

- `powered_when_wrong`: of every wrong cable truly fitted x board, how often supply or a load was ever on. Must be 0.
  The fixture names the right cable in all of them, as a bar code scanned for the wrong one would.
- `powered_when_shorted`: the same for boards with a short at each rail. Must be 0; `shorts_not_failed` too.
- `false_refusals`: of good boards on benches of their own (parts of board, nest and cable drawn anew), how many were
  refused, failed or doubted by the gate. Must be 0.
- `host_faults`: every single open and short of the nest's own parts, and what caught it.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from batchtest.errors import NotProven
from batchtest.files.library import Setup, load_setup
from batchtest.nouns import Attempt, Outcome, Phase
from batchtest.sequencer import Job
from batchtest.sequencer.attempt import try_gate
from batchtest.sequencer.batch import run_one
from tests.stations import ROOT, Stand, Watcher, stand

#: Fixture -> its serials, and a short at each of its rails.
FIXTURES = {
    "vent-nest": ("VN", ("RL12 short", "RL5 short", "RL33 short", "DTVS short", "RB33 short", "DZ12 short")),
    "mist-nest": ("MS", ("RL5 short", "RL33 short", "DTVS short", "RB33 short", "DZ12 short", "DZ5 short")),
}
GOOD_BOARDS, BOARDS_A_BENCH = 1000, 20


def main() -> None:
    """Measure everything and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--boards", type=int, default=GOOD_BOARDS)
    wanted = parser.parse_args()
    found: dict[str, object] = {**wrong_cables(), **shorted(), **good(wanted.boards), "host_faults": host_faults()}
    if wanted.json:
        print(json.dumps(found))
        return
    for name, value in found.items():
        if isinstance(value, dict):
            print(f"{name}:")
            for key, told in value.items():
                print(f"  {key:<24} {told}")
        else:
            print(f"{name:<24} {value}")


@contextmanager
def standing(fixture: str, **simulation: object) -> Iterator[Stand]:
    """A station with a simulated bench in this process, with all boards good unless said otherwise."""
    setup = load_setup(ROOT, fixture, "simulated")
    assert setup.bench.simulation is not None
    changed = setup.bench.simulation.model_copy(update={"defect_rate": 0, "boards": {}, **simulation})
    folder = Path(tempfile.mkdtemp(dir="/dev/shm" if Path("/dev/shm").is_dir() else None))
    try:
        with stand(folder, replace(setup, bench=setup.bench.model_copy(update={"simulation": changed}))) as found:
            yield found
    finally:
        shutil.rmtree(folder)


def was_powered(found: Stand) -> bool:
    """Whether any output was ever on, by the bench's own log."""
    return any(found.running.log.was_on(role) for role in outputs(found.station.setup))


def outputs(setup: Setup) -> list[str]:
    """Names of the outputs in the log."""
    return ["supply", *(f"load {channel}" for channel in range(1, setup.bench.load.channels + 1))]


def wrong_cables() -> dict[str, object]:
    """Every wrong cable x board."""
    cases, powered, named = 0, 0, 0
    for fixture, (prefix, _) in FIXTURES.items():
        for cable in sorted(load_setup(ROOT, fixture, "simulated").cables):
            with standing(fixture, cable=cable) as found:
                if cable == found.station.setup.fixture.cable:
                    continue
                cases += 1
                try:
                    found.test(f"{prefix}-0001")
                except NotProven as refusal:
                    named += refusal.looks_like == cable
                powered += was_powered(found)
    return {"wrong_cables": cases, "refused_by_name": named, "powered_when_wrong": powered}


def shorted() -> dict[str, object]:
    """Boards with a short at each rail."""
    cases, powered, missed = 0, 0, 0
    for fixture, (prefix, shorts) in FIXTURES.items():
        serials = {f"{prefix}-{number:04d}": fault for number, fault in enumerate(shorts, start=1)}
        with standing(fixture, boards=serials) as found:
            for serial in serials:
                cases += 1
                [attempt] = found.test(serial)
                missed += attempt.outcome is not Outcome.FAIL
            powered += was_powered(found)
    return {"shorted_boards": cases, "powered_when_shorted": powered, "shorts_not_failed": missed}


def good(count: int) -> dict[str, object]:
    """Good boards through the gate, on benches with parts of their own."""
    jobs = [(fixture, seed) for seed in range(count // (BOARDS_A_BENCH * len(FIXTURES))) for fixture in FIXTURES]
    with ProcessPoolExecutor(2) as pool:
        outcomes = sum(pool.map(good_on_one_bench, jobs), Counter())
    total = sum(outcomes.values())
    return {"good_boards": total, "false_refusals": total - outcomes[Outcome.PASS]}


def good_on_one_bench(job: tuple[str, int]) -> Counter[Outcome]:
    """Outcomes of the gate for some boards on one bench."""
    fixture, seed = job
    prefix, _ = FIXTURES[fixture]
    outcomes: Counter[Outcome] = Counter()
    with standing(fixture, seed=1000 + seed) as found:
        for number in range(1, BOARDS_A_BENCH + 1):
            attempt = through_gate(found, f"{prefix}-{number:04d}")
            outcomes[attempt.outcome] += 1
            if attempt.outcome is not Outcome.PASS:
                print(f"{fixture} seed {1000 + seed}: {attempt.serial}: {attempt.first_cause}", file=sys.stderr)
    return outcomes


def through_gate(found: Stand, serial: str) -> Attempt:
    """One attempt that ends with the gate."""
    handler = found.station.bench.handler
    assert handler is not None
    job = Job("good", "benchmark", found.reports, "batchtest under test")
    attempt, _ = run_one(found.station, job, serial, handler.place, Watcher(), try_gate)
    return attempt


def host_faults() -> dict[str, dict[str, str]]:
    """Every single open and short of each nest's own parts: by what it was caught."""
    table: dict[str, dict[str, str]] = {}
    for fixture, (prefix, _) in FIXTURES.items():
        parts = load_setup(ROOT, fixture, "simulated").fixture_circuit.parts.part
        faults = [f"host.{name} {mode}" for name, part in parts.items() for mode in part.modes]
        serials = {f"{prefix}-{number:04d}": fault for number, fault in enumerate(faults, start=1)}
        with standing(fixture, boards=serials) as found:
            told = {fault: caught_by(found, serial) for serial, fault in serials.items()}
        counts = Counter(word.split(":")[0] for word in told.values())
        table[fixture] = {**dict(sorted(counts.items())), **told}  # type: ignore[dict-item]
    return table


def caught_by(found: Stand, serial: str) -> str:
    """Phase in which an attempt was decided, and by what; "nothing" for a pass."""
    found.station.memory.proven = True
    try:
        [attempt] = found.test(serial)
    except NotProven as refusal:
        return f"cold, refused: {str(refusal).partition('.')[0]}"
    if attempt.outcome is Outcome.PASS:
        return "nothing"
    phases = {line.measurement.phase for line in attempt.lines}
    powered = "load" if Phase.LOAD in phases else "soft start" if Phase.SOFT_START in phases else "cold"
    return f"{powered}: {attempt.first_cause}"


if __name__ == "__main__":
    main()
