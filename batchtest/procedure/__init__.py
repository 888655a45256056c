"""The derived list of actions with their times; pure, it reaches no bench."""

from batchtest.procedure.actions import Action, Procedure
from batchtest.procedure.derive import derive

__all__ = ["Action", "Procedure", "derive"]
