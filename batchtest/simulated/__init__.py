"""A simulated bench that is real at the wire: SCPI instruments over TCP, and boards solved from their own circuits."""

from batchtest.simulated.serve import RunningBench, start_bench
from batchtest.simulated.truth import BoardTruth, truth

__all__ = ["BoardTruth", "RunningBench", "start_bench", "truth"]
