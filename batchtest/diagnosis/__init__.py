"""From an abnormal reading to the failed part: fault table, likely causes, what to measure next; reaches no bench."""

from batchtest.diagnosis.coverage import coverage
from batchtest.diagnosis.diagnose import CONFIDENT, diagnose
from batchtest.diagnosis.kept import cached, load_or_build
from batchtest.diagnosis.model import (
    Cause,
    Column,
    Coverage,
    Defect,
    Deviation,
    Diagnosis,
    FaultTable,
    Hypothesis,
    Kind,
    Probed,
    Sight,
    Spot,
    Suggestion,
)
from batchtest.diagnosis.priors import NEW, RETURNED, Priors, learned
from batchtest.diagnosis.table import Progress, build_table

__all__ = [
    "CONFIDENT",
    "NEW",
    "RETURNED",
    "Cause",
    "Column",
    "Coverage",
    "Defect",
    "Deviation",
    "Diagnosis",
    "FaultTable",
    "Hypothesis",
    "Kind",
    "Priors",
    "Probed",
    "Progress",
    "Sight",
    "Spot",
    "Suggestion",
    "build_table",
    "cached",
    "coverage",
    "diagnose",
    "learned",
    "load_or_build",
]
