"""How often a connector, or the needles of a fixture, were mated: `matings = { rated = 500, used = 12 }`."""

from __future__ import annotations

from pydantic import Field, StrictInt

from batchtest.files.fields import Channel, Table


class Matings(Table):
    """How often it was mated when somebody last wrote that down, and how often its maker rates it for.

    The tool counts on from `used`. Another number there, such as 0 once a connector was replaced, begins a new count.
    """

    rated: Channel
    used: StrictInt = Field(default=0, ge=0)
