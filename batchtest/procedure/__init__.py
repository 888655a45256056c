"""The derived list of actions with their times; pure, it reaches no bench."""

from batchtest.procedure.actions import Action, Procedure
from batchtest.procedure.derive import derive
from batchtest.procedure.host_map import HostProcedure, derive_host

__all__ = ["Action", "HostProcedure", "Procedure", "derive", "derive_host"]
