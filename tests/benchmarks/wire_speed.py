"""How quick is the wire, beside a bare socket and a bare serial port in the same run?

Run as `python tests/benchmarks/wire_speed.py`; `--json` prints one object, `--rounds N` asks less often. The simulated
bench runs in a process of its own, at a million times its speed, so that only the wire takes time.

- `idn`: a query of `*IDN?`, median and p99 in us, over each transport and bare; `ratio` of median over the bare one's.
- `write_write_query`: two commands and a query, ms, with and without TCP_NODELAY.
- `megabyte`: a reply of 1 MB over a pseudo-terminal, s, ours and a bare read of it.
- `crossed_to_off`: from the reply of a reading beyond its abort bound to the command that switches the supply off (the
  load's is before it), ms beyond one round trip of the same transport, median and worst.
"""

from __future__ import annotations

import argparse
import json
import os
import socket
import statistics
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import serial
from pyvisa.constants import ResourceAttribute
from pyvisa.resources import MessageBasedResource
from stations import demo_setup, stand

from batchtest.bench.visa import visa_manager
from batchtest.clock import ScaledClock, VirtualClock
from batchtest.files.limits import AbortBounds
from batchtest.nouns import Role
from batchtest.simulated import start_bench
from batchtest.simulated.log import Kind

WIRES = ("tcp", "pty", "hislip", "vxi11")
MEGABYTE = 1 << 20
#: Simulated seconds in a real one while a board is tested for `crossed_to_off`.
SCALE = 20.0


def serve(addresses: Connection) -> None:
    """Serve a bench for each transport until the other end is closed."""
    with ExitStack() as stack:
        benches = {
            name: stack.enter_context(start_bench(demo_setup(transport=name), ScaledClock(1e6))) for name in WIRES
        }
        addresses.send({name: bench.addresses[Role.METER] for name, bench in benches.items()})
        addresses.poll(None)


@contextmanager
def benches() -> Iterator[dict[str, str]]:
    """Addresses of a meter by transport."""
    context = get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=serve, args=(there,), daemon=True)
    process.start()
    try:
        yield here.recv()
    finally:
        here.send("end")
        process.join(10)


@contextmanager
def client(address: str) -> Iterator[MessageBasedResource]:
    """A resource as the station has it."""
    with visa_manager("wire-speed") as manager:
        resource = manager.open_resource(address, read_termination="\n", write_termination="\n", timeout=5000)
        assert isinstance(resource, MessageBasedResource)
        if address.startswith("ASRL"):
            resource.set_visa_attribute(ResourceAttribute.asrl_baud_rate, 115200)
        yield resource


def spread(ask: Callable[[], object], rounds: int) -> tuple[float, float]:
    """Median and p99 of a call, us, after some to warm up."""
    times = []
    for number in range(rounds + 20):
        began = time.perf_counter()
        ask()
        if number >= 20:
            times.append((time.perf_counter() - began) * 1e6)
    times.sort()
    return statistics.median(times), times[int(len(times) * 0.99)]


def bare_socket(address: str) -> tuple[Callable[[], bytes], Callable[[], None]]:
    """A query over nothing but a socket, and how it ends."""
    _, host, port, _ = address.split("::")
    link = socket.create_connection((host, int(port)))
    link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def ask() -> bytes:
        link.sendall(b"*IDN?\n")
        return link.recv(4096)

    return ask, link.close


def bare_serial(address: str) -> tuple[Callable[[], bytes], Callable[[], None]]:
    """A query over nothing but pyserial, and how it ends."""
    line = serial.Serial(address[4:-7], 115200, timeout=5)

    def ask() -> bytes:
        line.write(b"*IDN?\n")
        return bytes(line.readline())

    return ask, line.close


def queries(addresses: dict[str, str], rounds: int) -> dict[str, dict[str, float]]:
    """`*IDN?` over everything."""
    found: dict[str, dict[str, float]] = {}

    def note(name: str, ask: Callable[[], object], base: str | None = None) -> None:
        median_us, p99_us = spread(ask, rounds)
        found[name] = {"median_us": median_us, "p99_us": p99_us}
        if base is not None:
            found[name]["ratio"] = median_us / found[base]["median_us"]

    for name, kind, bare in (("bare socket", "tcp", bare_socket), ("bare pyserial", "pty", bare_serial)):
        ask, end = bare(addresses[kind])
        note(name, ask)
        end()
    for kind, address in addresses.items():
        with client(address) as resource:
            note(kind, lambda: resource.query("*IDN?"), "bare pyserial" if kind == "pty" else "bare socket")
    with (
        start_bench(demo_setup(transport="direct"), VirtualClock()) as running,
        client(running.addresses[Role.METER]) as resource,
    ):
        note("direct", lambda: resource.query("*IDN?"), "bare socket")
    return found


def nodelay(address: str) -> dict[str, float]:
    """Two writes and a query, ms, with TCP_NODELAY and without."""

    def ask() -> None:
        resource.write("*ESE 1")
        resource.write("*ESE 0")
        resource.query("*OPC?")

    with client(address) as resource:
        found = {"with_ms": spread(ask, 40)[0] / 1000}
        resource.set_visa_attribute(ResourceAttribute.tcpip_nodelay, False)
        found["without_ms"] = spread(ask, 40)[0] / 1000
    return found


@contextmanager
def flood() -> Iterator[str]:
    """A pseudo-terminal that answers each line with 1 MB."""
    instrument, other = os.openpty()
    tty.setraw(instrument)
    tty.setraw(other)

    def answer() -> None:
        while (asked := os.read(instrument, 100)) != b"end\n":
            rest = memoryview(b"x" * (MEGABYTE - 1) + b"\n") if asked else memoryview(b"")
            while rest:
                rest = rest[os.write(instrument, rest) :]

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    try:
        yield os.ttyname(other)
    finally:
        os.write(other, b"end\n")
        thread.join()
        os.close(instrument)
        os.close(other)


def megabyte() -> dict[str, float]:
    """1 MB over a pseudo-terminal, s: ours beside a bare read in blocks; the best of five each."""
    found: dict[str, list[float]] = {"bare_s": [], "ours_s": []}
    with flood() as path:
        for _ in range(5):
            line = os.open(path, os.O_RDWR | os.O_NOCTTY)
            began = time.perf_counter()
            os.write(line, b"go\n")
            left = MEGABYTE
            while left:
                left -= len(os.read(line, 65536))
            found["bare_s"].append(time.perf_counter() - began)
            os.close(line)
            with client(f"ASRL{path}::INSTR") as resource:
                began = time.perf_counter()
                resource.write("go")
                assert len(resource.read_bytes(MEGABYTE, MEGABYTE, break_on_termchar=True)) == MEGABYTE
                found["ours_s"].append(time.perf_counter() - began)
    best = {name: min(times) for name, times in found.items()}
    return best | {"ratio": best["ours_s"] / best["bare_s"]}


def crossed_to_off(transport: str, boards: int, round_trip_us: float) -> dict[str, float]:
    """From the reply that crosses a bound to the commands that switch off, ms beyond one round trip."""
    setup = demo_setup(transport=transport)
    setup = replace(setup, bench=setup.bench.model_copy(update=quick_lines(setup.bench)))
    rails = setup.limits.rails
    tight = rails["logic"].model_copy(update={"abort": AbortBounds.model_validate({"above": "4.9 V"})})
    setup = replace(setup, limits=setup.limits.model_copy(update={"rails": {**rails, "logic": tight}}))
    beyond_ms = []
    with tempfile.TemporaryDirectory() as folder, stand(Path(folder), setup, ScaledClock(SCALE)) as station:
        for number in range(boards):
            seen = len(station.running.log)
            (attempt,) = station.test(f"VN-{number + 1:04}")
            assert "is above its abort bound" in (attempt.first_cause or "")
            said = list(station.running.log)[seen:]
            on = max(index for index, entry in enumerate(said) if entry.text == "OUTP ON")
            off = next(index for index in range(on, len(said)) if said[index].text == "OUTP OFF")
            reply = max(index for index in range(off) if said[index].role == "meter" and said[index].kind is Kind.REPLY)
            late_ms = (said[off].time_s - said[reply].time_s) / SCALE * 1000
            beyond_ms.append(late_ms - round_trip_us / 1000)
    return {"median_ms": statistics.median(beyond_ms), "worst_ms": max(beyond_ms), "boards": boards}


def quick_lines(bench: Any) -> dict[str, Any]:
    """The instruments of a bench at 115200 baud, for when they are on serial lines."""
    return {role.value: getattr(bench, role.value).model_copy(update={"baud": 115200}) for role in Role}


def main() -> None:
    """Measure everything and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--json", action="store_true", help="one object of figures")
    parser.add_argument("--rounds", type=int, default=2000, help="queries a transport")
    parser.add_argument("--boards", type=int, default=10, help="boards tripped a transport")
    wanted = parser.parse_args()
    with benches() as addresses:
        idn = queries(addresses, wanted.rounds)
        delay = nodelay(addresses["tcp"])
    off = {kind: crossed_to_off(kind, wanted.boards, idn[kind]["median_us"]) for kind in ("tcp", "pty")}
    found: dict[str, Any] = {"idn": idn, "write_write_query": delay, "megabyte": megabyte(), "crossed_to_off": off}
    if wanted.json:
        print(json.dumps(found))
        return
    for title, figures in found.items():
        print(f"{title}:")
        for name, value in figures.items():
            told = value if isinstance(value, dict) else {"": value}
            print(f"  {name:<16}" + "  ".join(f"{key} {each:.4g}" for key, each in told.items()))


if __name__ == "__main__":
    main()
