"""Links to scripted instruments, opened and closed for a test."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from typing import Any

import pyvisa

from batchtest.bench.dialect import Dialect
from batchtest.bench.link import Link
from batchtest.bench.port import Port, Wiring
from batchtest.bench.sessions import install
from test_bench.scripted import ScriptedInstrument, ScriptedServer, served

_NUMBERS = count()


@contextmanager
def manager() -> Iterator[pyvisa.ResourceManager]:
    """A resource manager of the test's own."""
    install()
    made = pyvisa.ResourceManager(f"test-{next(_NUMBERS)}@py")
    try:
        yield made
    finally:
        made.close()


def wiring(address: str, open_s: float = 1.0, ending: str = "\n") -> Wiring:
    """Where an instrument is."""
    return Wiring(address=address, read_ending=ending, write_ending=ending, baud=None, open_s=open_s)


@dataclass
class Linked:
    """A link, and the instrument at its other end."""

    link: Link
    port: Port
    instrument: ScriptedInstrument
    server: ScriptedServer


@contextmanager
def linked(
    instrument: ScriptedInstrument, reply_s: float = 0.1, gap_s: float = 0.0, trace: Any = None, **dialect: Any
) -> Iterator[Linked]:
    """Serve an instrument and open a link to it."""
    spoken = Dialect.model_validate({"role": "meter", **dialect})
    with served(instrument) as server, manager() as made:
        port = Port(made, "meter", wiring(server.address))
        port.open()
        link = Link(port, spoken, reply_s=reply_s, gap_s=gap_s, trace=trace)
        link.identity = instrument.identity
        yield Linked(link, port, instrument, server)
        link.close()
