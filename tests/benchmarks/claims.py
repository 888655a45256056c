"""Eight processes that test one serial of one batch at the same moment: each attempt has its own number, none is lost.

Twice: eight stations, each with its own chain, and eight processes of one station, which share one. Reach: nothing
lost, unclosed, altered or forked. Run `python tests/benchmarks/claims.py [--json] [--processes N] [--attempts N]
[--folder F]`.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from claiming import race


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--processes", type=int, default=8, help="how many at once")
    parser.add_argument("--attempts", type=int, default=200, help="attempts of each")
    parser.add_argument("--folder", type=Path, default=Path.cwd(), help="a folder on the disk to be used")
    arguments = parser.parse_args()
    result: dict[str, object] = {"processes": arguments.processes}
    for kind in ("stations", "one_station"):
        names = [f"bench-{number if kind == 'stations' else 1}" for number in range(1, arguments.processes + 1)]
        with tempfile.TemporaryDirectory(dir=arguments.folder) as folder:
            found = asdict(race(Path(folder), names, arguments.attempts))
        found["seconds"] = round(found["seconds"], 1)
        found["ms_an_attempt"] = round(1000 * found["seconds"] / found["attempts"], 1)
        found["reached"] = not any(found[name] for name in ("lost", "unclosed", "altered", "forked"))
        result[kind] = found
    print(json.dumps(result) if arguments.json else "\n".join(f"{name}: {value}" for name, value in result.items()))


if __name__ == "__main__":
    main()
