"""The likely causes that are still to come when a batch is over: waited for at a terminal, with a bar."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.commands.progress import progress

if TYPE_CHECKING:
    from batchtest.commands.causes import Causes

#: Longer than any fault table takes, s; and where nobody looks on, only what takes no time is waited for.
AT_A_TERMINAL_S, ELSEWHERE_S = 900.0, 5.0


def last_causes(causes: Causes, batch: str, *, quiet: bool) -> dict[str, list[str]]:
    """Show the causes that were asked for and not shown yet: serial -> lines; what does not come is said.

    Ctrl-C leaves them for later.
    """
    from batchtest.commands.screen import causes_said, clean

    came: dict[str, list[str]] = {}

    def show(serial: str, lines: list[str]) -> None:
        came[serial] = lines
        for text in [] if quiet else causes_said(serial, lines):
            click.echo(clean(text))

    watched = sys.stdout.isatty() and not quiet
    if causes.open and watched and not causes.ready:
        click.echo("the fault table of this board is made once, for the likely causes; Ctrl-C leaves them for later")
    try:
        with progress("fault table", shown=watched) as told:
            causes.wait(show, told, AT_A_TERMINAL_S if watched else ELSEWHERE_S if causes.ready else 0.0)
    except KeyboardInterrupt:
        click.echo("left for later", err=True)
    if causes.open:
        told_later = f"what probably failed on {', '.join(causes.open)}: batchtest diagnose --batch {batch}"
        click.echo(clean(told_later), err=quiet)
    return came
