"""A bench ready to be opened: where its file asks for simulation, that is started and its addresses are filled in."""

from __future__ import annotations

import json
import select
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from batchtest.errors import BenchError
from batchtest.nouns import Role

if TYPE_CHECKING:
    from batchtest.files.bench import BenchFile
    from batchtest.files.hosts import HostSetup
    from batchtest.files.library import Setup
    from batchtest.files.outlets import OutletSetup

#: How long the simulated bench is given to start, and to end by itself, s.
START_S, END_S = 30.0, 5.0


@contextmanager
def served(setup: Setup | HostSetup | OutletSetup) -> Iterator[BenchFile]:
    """Yield the setup's bench with an address for every instrument.

    A simulated bench runs in a process of its own and session, so that what ends this one (Ctrl-C too) finds it still
    there to be switched off. It ends when this process does.

    Raises
    ------
    BenchError : the simulated bench did not start.
    """
    from batchtest.files.library import Setup
    from batchtest.simulated.serve import with_addresses

    if setup.bench.simulation is None:
        yield setup.bench
        return
    arguments = ["simulate", "--bench", setup.bench_name, "--fixture", setup.fixture_name]
    arguments += ["--board", setup.board] if isinstance(setup, Setup) else []
    with subprocess.Popen(
        [sys.executable, "-m", "batchtest", *arguments, "--json", "--until-eof"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=setup.root,
        start_new_session=True,
    ) as child:
        try:
            yield with_addresses(setup.bench, _addresses(child))
        finally:
            _end(child)


def _addresses(child: subprocess.Popen[str]) -> dict[Role, str]:
    """The first line of the child: role -> address."""
    assert child.stdout is not None
    readable, _, _ = select.select([child.stdout], [], [], START_S)
    line = child.stdout.readline() if readable else ""
    if not line:
        raise BenchError(f"the simulated bench did not start within {START_S:.0f} s; `batchtest simulate` says why")
    return {Role(role): address for role, address in json.loads(line)["addresses"].items()}


def _end(child: subprocess.Popen[str]) -> None:
    assert child.stdin is not None
    child.stdin.close()
    try:
        child.wait(END_S)
    except subprocess.TimeoutExpired:
        child.kill()
