"""Do the outcomes of many random boards agree with what the boards are?

The long form of tests/test_sequencer/test_truth.py.

Run as `python tests/benchmarks/truth.py`; `--json` prints one object, `--boards N` takes fewer or more. A third of the
boards has a fault each; everything goes over real sockets on the virtual clock.

- `disagreements`: boards that passed and must not, did not pass and must, or were refused where no cable fault could be
  read into them. Must be 0; they are listed.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from stations import demo_setup, stand
from test_sequencer.test_truth import disagreements

from batchtest.simulated import truth

BLOCK = 50


def main() -> None:
    """Test the boards, block by block on both cores, and print what disagreed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--boards", type=int, default=500)
    wanted = parser.parse_args()
    with ProcessPoolExecutor(2) as workers:
        found = [each for block in workers.map(tried, range(0, wanted.boards, BLOCK)) for each in block]
    if wanted.json:
        print(json.dumps({"boards": wanted.boards, "disagreements": len(found), "listed": found}))
        return
    print(f"{'boards':<24} {wanted.boards}\n{'disagreements':<24} {len(found)}")
    for each in found:
        print(f"  {each}")


def tried(first: int) -> list[str]:
    """What disagreed among one block of boards, tested on a bench of their own."""
    serials = [f"VN-{1001 + first + number}" for number in range(BLOCK)]
    setup = demo_setup(defect_rate=Decimal("0.33"), transport="tcp")
    with (
        tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder,
        stand(Path(folder), setup) as station,
    ):
        return disagreements(station, truth(setup, station.procedure, serials))


if __name__ == "__main__":
    main()
