"""The device side of SCPI-1999 and IEEE 488.2: messages, headers, parameters, status, errors; no transport."""

from batchtest.simulated.scpi.errors import ScpiError
from batchtest.simulated.scpi.exchange import Exchange
from batchtest.simulated.scpi.instrument import ScpiInstrument, identity_line
from batchtest.simulated.scpi.message import Framer
from batchtest.simulated.scpi.parameters import ChannelList, Choice, Integer, Numeric, Parameter, boolean, string

__all__ = [
    "ChannelList",
    "Choice",
    "Exchange",
    "Framer",
    "Integer",
    "Numeric",
    "Parameter",
    "ScpiError",
    "ScpiInstrument",
    "boolean",
    "identity_line",
    "string",
]
