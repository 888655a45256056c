"""What a kept record of an earlier format says, told from its text alone: no line of batchtest is used to read it.

`python -m tests.test_records.old_facts tests/test_records/old/<version>` prints what `expected.json` there must hold.
It is run once, on the day the records are put there, and never again: what it printed then must hold for ever.
"""

from __future__ import annotations

import csv
import json
import sys
from collections import Counter
from collections.abc import Iterable
from decimal import Decimal, localcontext
from pathlib import Path
from typing import Any

OLD = Path(__file__).parent / "old"
#: Columns whose numbers are added up, digit by digit as they are written.
SUMMED = ("value", "uncertainty", "lower", "upper", "guard", "load_A", "elapsed_s")


def expected(version: Path) -> dict[str, Any]:
    """Every record of a version by its path: outcome, first cause, verdicts, exact sums of what is written."""
    return {
        str(path.relative_to(version / "reports")): _facts(path) for path in sorted(version.glob("reports/*/*.csv"))
    }


def exact_sum(numbers: Iterable[str]) -> str:
    """The sum of numbers as they are written, every digit of it, without trailing noughts."""
    with localcontext(prec=400):
        return format(sum(map(Decimal, numbers), Decimal()).normalize(), "f")


def _facts(path: Path) -> dict[str, Any]:
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    block = json.loads(path.with_name(f"{path.name}-metadata.json").read_text())["urn:batchtest:record"]
    return {
        "outcome": block["outcome"],
        "first_cause": block["first_cause"],
        "sha256": block["sha256"],
        "lines": len(rows),
        "verdicts": dict(sorted(Counter(row["verdict"] or "not judged" for row in rows).items())),
        "sums": {name: exact_sum(row[name] or "0" for row in rows) for name in SUMMED},
    }


if __name__ == "__main__":
    print(json.dumps(expected(Path(sys.argv[1])), indent=1, ensure_ascii=False))
