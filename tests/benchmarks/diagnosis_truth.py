"""Is the failed part found? Records of simulated boards whose fault is known, beside a bound and two baselines.

Run as `python tests/benchmarks/diagnosis_truth.py`; `--json` prints one object, `--fixture mist-nest` takes the other
demo, `--boards N` fewer boards. Seeds are used nowhere in the tests. The table is made anew unless `--tables FOLDER`
names where one is kept.

- `table_s`, `table_cpu_s`: making the table; `diagnosis_ms`, `diagnosis_ms_most`: one diagnosis, median and most.
- `invisible`: faults that lie in no reading, `within_limits`: those that move readings and fail no limit; `passed`: of
  the boards, how many passed. All others are `visible`.
- `first`: of the visible, the part of the likeliest hypothesis is the true one; `first_three`: it is in one of the
  first three causes; `group_size`: parts in the cause that holds it; `measurements`: readings by hand until the
  diagnosis ends, with `isolated`: how many then name the true part.
- `bound_...`: the same by a Bayes classifier that knows the true distributions: which faults there are and how often,
  the temperature, normal tails, no needles, cables or instruments at fault, nothing unknown. `bound_ratio` is first
  over its first. It shares the linearised distributions of the table, which `linear_mean` and `linear_sigma` hold
  against 200 drawn boards of some faults: largest difference of a mean, and of a standard deviation, in standard
  deviations (of 200 boards alone some 0.25 and 0.17 where 900 readings are looked at).
- `frequent_first`, `nearest_first`: the most frequent part, and the nearest mean without covariance.
- `unknown_told`, `confident_wrong`: on boards with two faults or one outside the table, how often the answer is
  "unknown", and how often a part that is none of the faults is named with confidence.
- `causes_on_pass`, `false_accusations`: on good boards, causes of a pass; and with a meter biased beyond its
  specification, of those that fail, how often a part of the board is named with confidence.
- `brier`, `reliability`: of the likeliest cause's probability against whether it holds the true part.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
from diagnosis_boards import Board, Desk, by_hand

from batchtest.circuits import with_fault
from batchtest.circuits.elements import Element
from batchtest.diagnosis import CONFIDENT, NEW, Diagnosis, FaultTable, Kind, Probed, coverage, diagnose
from batchtest.diagnosis import likelihood as likelihoods
from batchtest.diagnosis.faults import Fault, faults
from batchtest.diagnosis.kept import load_or_build
from batchtest.diagnosis.likelihood import Likelihood
from batchtest.diagnosis.observed import observed_of
from batchtest.diagnosis.readings import plan_of
from batchtest.diagnosis.solving import JUNCTION_C, JUNCTION_SD_C
from batchtest.files.library import load_setup
from batchtest.nouns import Line
from batchtest.procedure import derive

ROOT = Path(__file__).resolve().parents[2]
#: Boards of each experiment draw their seeds from here on.
SINGLE, ODD, GOOD, LINEAR, CHOICE = 4_100_000, 4_300_000, 4_500_000, 4_700_000, 4_900_000
RACK_C = 27.0
PROBED, MOST_PROBES = 150, 8
Label = tuple[Kind, tuple[str, ...]]


class Bench:
    """A demo with its table, all single faults, and the bound's table."""

    def __init__(self, fixture: str, folder: Path) -> None:
        self.setup = load_setup(ROOT, fixture, "simulated")
        self.procedure = derive(self.setup)
        self.plan = plan_of(self.setup, self.procedure)
        began, spent = time.perf_counter(), _children_s()
        self.table = load_or_build(self.setup, self.procedure, folder)
        self.table_s, self.table_cpu_s = time.perf_counter() - began, _children_s() - spent
        self.desk = Desk(self.setup, self.procedure)
        self.faults = [one for one in faults(self.setup) if one.hypothesis.kind in (Kind.BOARD, Kind.FIXTURE)]
        self.good = next(faults(self.setup))
        self.known = self._known()

    def _known(self) -> FaultTable:
        """The true distributions: only the faults there are, at the rack's temperature, the supply as it is set."""
        table = self.table
        rows = [row for row, one in enumerate(table.hypotheses) if one.kind in (Kind.BOARD, Kind.FIXTURE)]
        spread = table.spread[[0, *rows]].copy()
        mean = table.mean[[0, *rows]] + spread[:, :, self._knob(0)] * (RACK_C - JUNCTION_C) / JUNCTION_SD_C
        spread[:, :, [self._knob(0), self._knob(1)]] = 0.0
        columns = tuple(replace(one, noise=min(one.noise, 1e-9)) for one in table.columns)
        hypotheses = tuple(table.hypotheses[row] for row in (0, *rows))
        picked = {name: getattr(table, name)[[0, *rows]] for name in ("rough", "over", "limiting")}
        return replace(table, hypotheses=hypotheses, mean=mean, spread=spread, columns=columns, **picked)

    def _knob(self, number: int) -> int:
        """Column of the temperature (0) and of the supply (1) among the unknowns."""
        loads = sum(point.load is not None for point in self.setup.fixture.points.values())
        return self.table.spread.shape[2] - 2 - loads - 2 + number


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def label(one: object) -> Label:
    """What would be changed."""
    return one.kind, one.parts  # type: ignore[attr-defined]


def board_of(fault: Fault, seed: int) -> Board:
    """A board with a fault of the table."""
    return Board(seed=seed, fault=fault.hypothesis.name, assembly=fault.assembly, scales=fault.scales)


def bound_posterior(bench: Bench, lines: Sequence[Line]) -> np.ndarray:
    """Probability of each fault that there is, each as likely as any other, by the true distributions."""
    freedom, likelihoods.FREEDOM = likelihoods.FREEDOM, 1e9
    try:
        scores = Likelihood(bench.known, observed_of(bench.known, lines)).scores().hypothesis[1:]
    finally:
        likelihoods.FREEDOM = freedom
    weights = np.exp(scores - scores.max())
    return weights / weights.sum()


def single_faults(bench: Bench, count: int) -> dict[str, object]:
    """Boards with one random fault each."""
    random = Random(CHOICE)
    chosen = [random.choice(bench.faults) for _ in range(count)]
    boards = [board_of(fault, SINGLE + number) for number, fault in enumerate(chosen)]
    true = {one.seed: fault.hypothesis for one, fault in zip(boards, chosen, strict=True)}
    frequent = Counter(label(one.hypothesis) for one in bench.faults).most_common(1)[0][0]
    marks: list[dict[str, float]] = []
    times, told, passed, probed = [], [], 0, []
    for board, lines in bench.desk.records(boards):
        truth = label(true[board.seed])
        began = time.process_time()
        found = diagnose(bench.table, lines, NEW)
        times.append(time.process_time() - began)
        if found.advice == "nothing":
            passed += 1
            continue
        marks.append({**_marks(found, truth), **_bound_marks(bench, lines, truth)})
        marks[-1]["frequent_first"] = truth == frequent
        marks[-1]["nearest_first"] = _nearest(bench, lines) == truth
        told.append((_probability(found), truth in _labels(found, 0)))
        if len(probed) < PROBED:
            probed.append(_probe_on(bench, board, lines, truth))
    means = {name: float(np.mean([one[name] for one in marks])) for name in marks[0]}
    return {
        "boards": count,
        "passed": passed,
        "visible": len(marks),
        **means,
        "bound_ratio": means["first"] / means["bound_first"],
        "measurements": float(np.mean([steps for steps, _ in probed])),
        "isolated": float(np.mean([right for _, right in probed])),
        "diagnosis_ms": 1e3 * float(np.median(times)),
        "diagnosis_ms_most": 1e3 * max(times),
        **_calibration(told),
    }


def _labels(found: Diagnosis, place: int) -> set[Label]:
    return {label(one) for one in found.causes[place].hypotheses} if place < len(found.causes) else set()


def _probability(found: Diagnosis) -> float:
    return found.causes[0].probability if found.causes else 0.0


def _likeliest(found: Diagnosis) -> Label | None:
    members = [
        (share, one) for cause in found.causes for share, one in zip(cause.shares, cause.hypotheses, strict=True)
    ]
    sums: Counter[Label] = Counter()
    for share, one in members:
        sums[label(one)] += share  # type: ignore[assignment]
    return sums.most_common(1)[0][0] if sums and sum(sums.values()) >= found.unknown else None


def _marks(found: Diagnosis, truth: Label) -> dict[str, float]:
    holding = [place for place in range(len(found.causes)) if truth in _labels(found, place)]
    return {
        "first": _likeliest(found) == truth,
        "first_group": bool(holding) and holding[0] == 0,
        "first_three": bool(holding) and holding[0] < 3,
        "group_size": len(_labels(found, holding[0])) if holding else float(len(_labels(found, 0))),
        "unknown_on_known": found.advice == "unknown",
    }


def _bound_marks(bench: Bench, lines: Sequence[Line], truth: Label) -> dict[str, float]:
    chances = bound_posterior(bench, lines)
    sums: dict[Label, float] = {}
    for one, chance in zip(bench.known.hypotheses[1:], chances, strict=True):
        sums[label(one)] = sums.get(label(one), 0.0) + float(chance)
    ordered = sorted(sums, key=lambda one: -sums[one])
    share = np.array(sorted(sums.values(), reverse=True))
    return {
        "bound_first": ordered[0] == truth,
        "bound_first_three": truth in ordered[:3],
        "bound_group_size": float(2.0 ** -(share[share > 0] * np.log2(share[share > 0])).sum()),
    }


def _nearest(bench: Bench, lines: Sequence[Line]) -> Label:
    """The fault whose mean lies nearest, each reading in a good board's standard deviations; over range is far."""
    table, observed = bench.table, observed_of(bench.table, lines)
    sigma = np.linalg.norm(table.spread[0].astype(float), axis=1) + 1e-6
    read = ~np.isnan(observed.values)
    off = (observed.values - table.mean)[:, read] / np.maximum(sigma[read], 1e-3 * np.abs(table.mean[0, read]))
    far = np.nan_to_num(np.minimum(np.abs(off), 100.0), nan=100.0)
    mixed = 100.0 * (np.nan_to_num(table.over[:, observed.over], nan=0.5) < 0.5)
    row = int(((far**2).sum(axis=1) + (mixed**2).sum(axis=1))[1:].argmin()) + 1
    return label(table.hypotheses[row])


def _probe_on(bench: Bench, board: Board, lines: Sequence[Line], truth: Label) -> tuple[int, bool]:
    """Follow what is suggested until the diagnosis ends: how many readings by hand, and whether it names the part."""
    held = observed_of(bench.table, lines).held
    values = by_hand(bench.desk, board, bench.plan, held)
    probes: list[Probed] = []
    found = diagnose(bench.table, lines, NEW)
    while found.next and found.advice == "measure" and len(probes) < MOST_PROBES:
        step = found.next[0]
        name = f"{step.spot.name} @ {step.state}" if step.unit == "V" else f"{step.spot.name} cold"
        value = values[name]
        rounded = None if value is None else float(f"{value:.3g}")
        probes.append(Probed(spot=step.spot.name, value=rounded, unit=step.unit, state=step.state))
        found = diagnose(bench.table, lines, NEW, probes)
    return len(probes), truth in _labels(found, 0)


def _calibration(told: Sequence[tuple[float, bool]]) -> dict[str, object]:
    chances, right = np.array([one for one, _ in told]), np.array([one for _, one in told], float)
    edges = [0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0001]
    rows = []
    for low, high in pairwise(edges):
        inside = (chances >= low) & (chances < high)
        if inside.any():
            rows.append(
                [low, min(high, 1.0), int(inside.sum()), float(chances[inside].mean()), float(right[inside].mean())]
            )
    return {"brier": float(((chances - right) ** 2).mean()), "reliability": rows}


def odd_faults(bench: Bench, count: int) -> dict[str, object]:
    """Boards with two faults, or with one that no table has: a leak, a value far from any in the drawer."""
    random = Random(CHOICE + 1)
    boards, true = [], {}
    for number in range(count):
        board, labels = _two(bench, random, ODD + number) if number % 2 else _outside(bench, random, ODD + number)
        boards.append(board)
        true[board.seed] = labels
    unknown = wrong = visible = named = 0
    for board, lines in bench.desk.records(boards):
        found = diagnose(bench.table, lines, NEW)
        if found.advice == "nothing":
            continue
        visible += 1
        unknown += found.advice == "unknown"
        if _probability(found) >= CONFIDENT and found.causes[0].hypotheses[0].kind is Kind.BOARD:
            right = {part for one in found.causes[0].hypotheses for part in one.parts} & true[board.seed]
            wrong, named = wrong + (not right), named + bool(right)
    return {
        "odd_boards": count,
        "odd_visible": visible,
        "unknown_told": unknown / visible,
        "one_of_two_named": named / visible,
        "confident_wrong": wrong / visible,
    }


def _two(bench: Bench, random: Random, seed: int) -> tuple[Board, set[str]]:
    """Two faults of the parts file at once."""
    parts = bench.setup.board_circuit.parts.part
    names = random.sample([name for name, part in parts.items() if part.modes], 2)
    assembly = bench.good.assembly
    said = [f"{name} {random.choice(parts[name].modes)}" for name in names]
    for one in said:
        assembly = with_fault(assembly, f"board.{one}")
    return Board(seed=seed, fault=" and ".join(said), assembly=assembly), set(names)


def _outside(bench: Bench, random: Random, seed: int) -> tuple[Board, set[str]]:
    """A leak of some ohms between two nets, or a resistor that has drifted."""
    good = bench.good.assembly
    nets = sorted({node for one in good.elements if one.name.startswith("board.") for node in one.nodes})
    if random.random() < 0.5:
        pair, ohms = random.sample(nets, 2), 10 ** random.uniform(1.0, 3.0)
        leak = Element("board.leak", "R", (pair[0], pair[1]), {"value": ohms})
        beside = {one.name.removeprefix("board.") for one in good.elements if set(pair) <= set(one.nodes)}
        name = f"{ohms:.0f} ohm from {pair[0]} to {pair[1]}"
        return Board(seed=seed, fault=name, assembly=good.with_elements([*good.elements, leak], name)), beside
    resistors = [one for one in good.elements if one.kind == "R" and one.name.startswith("board.")]
    part = random.choice(resistors)
    column = part.parameters["value"]
    factor = random.choice((0.3, 0.45, 1.9, 3.0, 30.0))
    name = part.name.removeprefix("board.")
    return Board(seed=seed, fault=f"{name} x {factor}", assembly=good, scales={column.index: factor}), {name}  # type: ignore[union-attr]


def good_boards(bench: Bench, count: int) -> dict[str, object]:
    """Good boards: on a good bench, and with one function of the meter biased beyond its specification."""
    random = Random(CHOICE + 2)
    plain = [Board(seed=GOOD + number, fault="", assembly=bench.good.assembly) for number in range(count)]
    on_pass = failed = 0
    for _, lines in bench.desk.records(plain):
        found = diagnose(bench.table, lines, NEW)
        failed += found.advice != "nothing"
        on_pass += found.advice == "nothing" and bool(found.causes)
    biased = []
    for number in range(count):
        by = random.choice((-1, 1)) * 10 ** random.uniform(-2.5, -0.7)
        function = random.choice(("volts", "ohms", "diode"))
        biased.append(replace(plain[number], seed=GOOD + count + number, bias={function: by}))
    stopped = accused = bench_told = unknown = 0
    for _, lines in bench.desk.records(biased):
        found = diagnose(bench.table, lines, NEW)
        if found.advice == "nothing":
            continue
        stopped += 1
        confident = _probability(found) >= CONFIDENT
        accused += confident and any(one.kind is Kind.BOARD for one in found.causes[0].hypotheses)
        bench_told += found.advice == "bench"
        unknown += found.advice == "unknown"
    return {
        "good_boards": count,
        "good_not_passed": failed,
        "causes_on_pass": on_pass,
        "biased_failed": stopped,
        "false_accusations": accused / max(stopped, 1),
        "bench_named": bench_told / max(stopped, 1),
        "bias_unknown": unknown / max(stopped, 1),
    }


def linear(bench: Bench, count: int = 4, drawn: int = 200) -> dict[str, object]:
    """The table's means and standard deviations against drawn boards, readings of the whole procedure at 27 C."""
    random = Random(CHOICE + 3)
    worst_mean, worst_sigma = 0.0, 0.0
    names = [one.name for one in bench.known.hypotheses]
    for number, fault in enumerate(random.sample(bench.faults, count)):
        boards = [board_of(fault, LINEAR + 1000 * number + each) for each in range(drawn)]
        values = np.array([observed_of(bench.known, lines).values for _, lines in bench.desk.records(boards)])
        row = names.index(fault.hypothesis.name)
        for place, column in enumerate(bench.known.columns):
            read = values[~np.isnan(values[:, place]), place] if len(values) else np.array([])
            if len(read) < drawn * 0.95 or column.state == "derived":
                continue
            own = float(np.linalg.norm(bench.known.spread[row, place].astype(float)))
            sigma = float(np.hypot(np.hypot(own, bench.known.rough[row, place]), column.gain * read.mean()))
            sigma = float(np.hypot(sigma, column.offset))
            worst_mean = max(worst_mean, abs(read.mean() - bench.known.mean[row, place]) / sigma)
            worst_sigma = max(worst_sigma, abs(read.std() / sigma - 1))
    return {"linear_mean": worst_mean, "linear_sigma": worst_sigma}


def main() -> None:
    """Measure everything and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--fixture", default="vent-nest")
    parser.add_argument("--boards", type=int, default=2000)
    parser.add_argument("--tables", type=Path)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(wanted.fixture, wanted.tables or Path(folder))
    sights = coverage(bench.table)
    found: dict[str, object] = {
        "fixture": wanted.fixture,
        "hypotheses": len(bench.table.hypotheses),
        "table_s": bench.table_s,
        "table_cpu_s": bench.table_cpu_s,
        "faults": len(bench.faults),
        "seen": len(sights.seen),
        "within_limits": [one.hypothesis.name for one in sights.within_limits],
        "invisible": [one.hypothesis.name for one in sights.invisible],
        **single_faults(bench, wanted.boards),
        **odd_faults(bench, wanted.boards // 4),
        **good_boards(bench, wanted.boards),
        **linear(bench),
    }
    if wanted.json:
        print(json.dumps(found))
        return
    for name, value in found.items():
        said = f"{len(value)}: {', '.join(map(str, value))}" if isinstance(value, list) else value
        print(f"{name:<20} {said:.4g}" if isinstance(said, float) else f"{name:<20} {said}")


if __name__ == "__main__":
    main()
