"""`batchtest simulate`: serve the simulated bench to any client, or tell what its boards truly are."""

from __future__ import annotations

import json
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.files.hosts import HostSetup
    from batchtest.files.library import Setup


@click.command("simulate")
@click.option("--bench", required=True, help="Bench file with [simulation], by name without ending.")
@click.option("--fixture", help="Fixture in front of it; the bench file names one.")
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--truth", metavar="SERIALS", help="Do not serve: tell what these boards are, such as VN-0001..VN-0020.")
@click.option("--json", "as_json", is_flag=True, help="Addresses, or the truth, as JSON.")
@click.option("--until-eof", is_flag=True, hidden=True, help="End when standard input does.")
def command(
    bench: str, fixture: str | None, board: str | None, truth: str | None, as_json: bool, until_eof: bool
) -> None:
    """Serve the simulated bench on loopback TCP and print its addresses; Ctrl-C ends it.

    Example: batchtest simulate --bench simulated --truth VN-0001..VN-0020 --json
    """
    from batchtest.files.hosts import load_host_setup
    from batchtest.files.library import host_fixture_names, load_bench, load_setup, outlet_names
    from batchtest.files.outlets import load_outlet_setup

    root = Path.cwd()
    simulation = load_bench(root, bench).simulation
    if simulation is None:
        raise SetupError(f"bench {bench!r} has real instruments; only one with [simulation] can be served")
    hosts = fixture in host_fixture_names(root)
    if fixture is not None and (hosts or fixture in outlet_names(root)):
        if truth is not None or board is not None:
            raise SetupError(f"--truth and --board are for boards, and {fixture!r} is a host's; leave them out")
        _serve(
            load_host_setup(root, fixture, bench) if hosts else load_outlet_setup(root, fixture, bench).host,
            as_json,
            until_eof,
        )
        return
    setup = load_setup(root, fixture or simulation.fixture, bench, board)
    if truth is not None:
        _tell(setup, truth, as_json)
    else:
        _serve(setup, as_json, until_eof)


def _tell(setup: Setup, serials: str, as_json: bool) -> None:
    from batchtest.commands.serials import checked, expand
    from batchtest.procedure import derive
    from batchtest.simulated import truth

    wanted = [checked(serial, setup.limits.serials, setup.board) for serial in expand(serials)]
    boards = truth(setup, derive(setup), wanted)
    if as_json:
        click.echo(json.dumps([board.as_json() for board in boards]))
        return
    for board in boards:
        click.echo(f"{board.serial}  {board.must:<9} {board.fault or 'no fault'}")


def _serve(setup: Setup | HostSetup, as_json: bool, until_eof: bool) -> None:
    from batchtest.clock import ScaledClock
    from batchtest.simulated import start_bench

    assert setup.bench.simulation is not None
    with start_bench(setup, ScaledClock(float(setup.bench.simulation.scale))) as running:
        if as_json:
            click.echo(json.dumps({"addresses": running.addresses}))
        else:
            for role, address in running.addresses.items():
                click.echo(f"{role:<8} {address}")
            click.echo("serving until Ctrl-C")
        sys.stdout.flush()
        with suppress(KeyboardInterrupt):
            _wait(until_eof)


def _wait(until_eof: bool) -> None:
    import signal

    if until_eof:
        sys.stdin.read()
    else:
        signal.pause()
