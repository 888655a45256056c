"""Works a procedure through: attempts and batches, power-up, load points, power-down."""

from batchtest.sequencer.attempt import Ending, Station
from batchtest.sequencer.batch import BatchObserver, Job, run_batch
from batchtest.sequencer.challenge import run_challenge
from batchtest.sequencer.host import HostStation, run_host
from batchtest.sequencer.logbook import Logbook, Observer
from batchtest.sequencer.told import Past, Told

__all__ = [
    "BatchObserver",
    "Ending",
    "HostStation",
    "Job",
    "Logbook",
    "Observer",
    "Past",
    "Station",
    "Told",
    "run_batch",
    "run_challenge",
    "run_host",
]
