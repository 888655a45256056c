"""A small station with its outputs on, as a process of its own: `python -m test_bench.powered BENCH_FILE FOLDER`.

The bench file is a pickle. It says "on" once all is on, then reads the supply until something ends it, and says of a
bench's fault what it was.
"""

from __future__ import annotations

import pickle
import sys
from pathlib import Path

from batchtest.bench import Bench
from batchtest.clock import ScaledClock
from batchtest.errors import BenchError


def main(file: Path, folder: Path) -> None:
    """Power up, and go on reading."""
    try:
        with Bench.open(pickle.loads(file.read_bytes()), "try", ScaledClock(), folder, guarded=True) as bench:
            bench.supply.set(5.0, 0.1)
            bench.supply.on()
            bench.load.set_current(1, 0.01)
            bench.load.on(1)
            print("on", flush=True)
            while True:
                bench.supply.measured()
                bench.clock.sleep(0.02)
                bench.guard.check()
    except BenchError as error:
        print(f"stopped: {error}", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
