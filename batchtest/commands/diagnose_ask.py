"""Asking on: for the value that is worth most, until it cannot be told better what failed, or the person has enough."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.commands.diagnose_record import Finder, Opinion
    from batchtest.records.record import Record

#: Said before the first value is asked for. Common practice, no source; local codes and licensed practice come first.
CAUTION = (
    "caution: outputs off, board discharged and proven dead by measurement before ohms; mains stays inside the "
    "host, for licensed or competent persons as local codes say"
)


def ask_on(finder: Finder, record: Record, opinion: Opinion) -> Opinion:
    """Ask for values until the person has no more, or nothing is worth measuring; the last opinion is given back."""
    from batchtest.commands.diagnose_record import parse_read
    from batchtest.commands.diagnose_view import print_finding
    from batchtest.commands.screen import read_answer

    if opinion.diagnosis.next:
        click.echo(CAUTION)
    while opinion.diagnosis.next:
        spot = opinion.diagnosis.next[0].spot.name
        prompt = f"{spot} = (value with unit, OL for over range, another one as TP9=3V; empty: enough) "
        if not (answer := read_answer(prompt, sys.stdout).strip()):
            break
        try:
            value = parse_read(answer if "=" in answer else f"{spot}={answer}", finder.table)
            opinion = finder.find(record, (*opinion.probed, value))
        except SetupError as error:
            click.echo(str(error))
            continue
        print_finding(opinion)
    return opinion
