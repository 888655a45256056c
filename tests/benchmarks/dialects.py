"""Does it matter what the instruments speak? Every combination of the shipped dialects tests the same boards.

Run as `python tests/benchmarks/dialects.py`; `--json` prints one object, `--sample N` takes every Nth combination. All
runs in this process, on the virtual clock.

- `combinations`: meters x loads x supplies x scanners.
- `different_outcomes`, `different_verdicts`: of combination x board, and of combination x board x judged reading, how
  many differ from the plain bench. Must be 0.
- `outputs_left_on`: by the simulated bench's own state, after each combination. Must be 0.
- `slowest_ratio`: messages of the most talkative combination over those of the plain one.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from dialects import STYLES, in_styles, verdicts
from stations import demo_setup, stand

#: A good board, one that is switched off in its soft start, and one that is wrong at full load only.
BOARDS = {"VN-0001": "", "VN-0006": "DZ12 open", "VN-0014": "RS12 short"}
#: How long each reply is waited for, real seconds: a busy machine is no difference between dialects.
PATIENCE_S = Decimal(60)


@dataclass(frozen=True)
class Seen:
    """What came of the boards on one combination, and how much was said for it."""

    boards: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    messages: int
    left_on: int


def tested(styles: Sequence[str]) -> Seen:
    """Test the boards on instruments that speak these dialects."""
    found = []
    setup = in_styles(demo_setup(BOARDS), *styles, **{role: {"reply": PATIENCE_S} for role in STYLES})
    with tempfile.TemporaryDirectory() as folder, stand(Path(folder), setup) as on:
        for serial in BOARDS:
            on.watcher.lines.clear()
            (attempt,) = on.test(serial)
            outcome, lines = verdicts(attempt, on.watcher.lines)
            found.append((outcome, tuple(lines)))
        return Seen(tuple(found), len(on.running.log), len(on.outputs_on))


@cache
def _plain() -> Seen:
    return tested(())


def compare(styles: Sequence[str]) -> dict[str, object]:
    """Differences of one combination from the plain bench."""
    plain, seen = _plain(), tested(styles)
    pairs = list(zip(plain.boards, seen.boards, strict=True))
    return {
        "styles": "+".join(styles),
        "outcomes": sum(one[0] != other[0] for one, other in pairs),
        "verdicts": sum(len(set(one[1]) ^ set(other[1])) for one, other in pairs),
        "left_on": seen.left_on,
        "ratio": seen.messages / plain.messages,
    }


def main() -> None:
    """Run all, or a sample of them."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--sample", type=int, default=1, metavar="N")
    options = parser.parse_args()
    combinations = list(product(*STYLES.values()))[:: options.sample]
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(compare, combinations))
    result = {
        "combinations": len(found),
        "boards": len(BOARDS),
        "readings_judged": sum(len(lines) for _, lines in _plain().boards) * len(found),
        "different_outcomes": sum(int(str(one["outcomes"])) for one in found),
        "different_verdicts": sum(int(str(one["verdicts"])) for one in found),
        "outputs_left_on": sum(int(str(one["left_on"])) for one in found),
        "slowest_ratio": round(max(float(str(one["ratio"])) for one in found), 2),
        "differing": [one["styles"] for one in found if one["verdicts"] or one["outcomes"]],
    }
    if options.json:
        print(json.dumps(result))
        return
    for name, value in result.items():
        print(f"{name:<20} {value}")


if __name__ == "__main__":
    main()
