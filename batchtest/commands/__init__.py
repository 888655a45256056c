"""The command line: one thin file for each command, imported only when it is called."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module

import rich_click as click

from batchtest.errors import NotProven, SetupError, StationError, nearest

#: Command -> what it is for; the module of the same name holds it, but for `MODULES`.
COMMANDS = {
    "bench": "who is on the bench, and whether it still refuses a wrong cable",
    "boards": "test a batch of boards",
    "cables": "which cables can be told apart, what a wrong one would burn",
    "certificate": "print the test results of a board as a numbered PDF/A",
    "check": "read the files, say every fault, print the procedure and its time",
    "diagnose": "what probably failed on a board, what to measure next, what no test of it can see",
    "find": "which boards an instrument, a fixture, a cable or a person touched",
    "gather": "fold closed batches into Parquet, here or where many stations write to",
    "host": "map a live host with nothing mated to it: every pin's voltage",
    "note": "add rework, a correction, a deviation or a release to what is recorded of a board",
    "outlet": "load-test a host's accessory output: what it can really carry, hot, on the worst day",
    "review": "yield across batches, first causes, margins and drift, and what is worth acting on",
    "simulate": "serve the simulated bench to any client",
    "verify": "are the records whole and unaltered, and what that does not prove",
    "waive": "let two people answer for a reading that cannot pass, until a day",
}
#: Command -> its module where that has another name.
MODULES = {"find": "find_boards"}

#: What the person must do next, as the exit code of the program.
EXIT_SETUP, EXIT_BENCH, EXIT_REFUSED = 2, 3, 4


class _Commands(click.RichGroup):
    """Commands by name; a name that is nearly right is met with the right one."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"batchtest.commands.{MODULES.get(cmd_name, cmd_name)}").command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            raise click.UsageError(f"no command {args[0]!r}; {nearest(args[0], list(COMMANDS))}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="batchtest")
def program() -> None:
    """Test boards in small batches: proof before power, every rail under load, a record for every serial.

    Example: batchtest boards vent-nest --bench simulated --batch demo --serials VN-0001..VN-0020
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the program; what it raises on purpose becomes a message and an exit code, never a traceback."""
    try:
        program(args=arguments, prog_name="batchtest")
    except StationError as error:
        click.echo(str(error), err=True)
        raise SystemExit(exit_code(error)) from error


def exit_code(error: StationError) -> int:
    """2: mend a file or an argument; 4: not proven safe; 3: the bench, or the record, is at fault."""
    if isinstance(error, SetupError):
        return EXIT_SETUP
    return EXIT_REFUSED if isinstance(error, NotProven) else EXIT_BENCH
