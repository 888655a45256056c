"""What a record says because a person or a file told it, and no instrument: the board, the air, wear, the past."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from batchtest.files.library import Setup
from batchtest.nouns import Context, Note, Retest
from batchtest.records.matings import Wear


@dataclass(frozen=True, slots=True)
class Told:
    """What the person said of all boards of a batch; empty, or `None`: see the files. `humidity` is a ratio."""

    firmware: str = ""
    option: str = ""
    humidity: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Past:
    """What is known of a board before it is placed: why it is tested again, and its notes."""

    retest: Retest | None = None
    notes: tuple[Note, ...] = ()


#: The person said nothing.
NOTHING_TOLD = Told()


def nothing_known(serial: str) -> Past:
    """The past of a board that was never seen."""
    return Past()


def completed(context: Context, setup: Setup, told: Told, past: Past, wear: Iterable[Wear]) -> Context:
    """A context with all that was told."""
    matings = {each.kind: each.count for each in wear}
    return replace(
        context,
        firmware=told.firmware or setup.limits.firmware,
        option=told.option or setup.limits.option,
        humidity=humidity_of(setup.bench.humidity, told),
        fixture_revision=setup.fixture.revision,
        fixture_matings=matings.get("fixture"),
        cable_revision=setup.cable.revision,
        cable_matings=matings.get("cable"),
        retests_allowed=setup.limits.retests.allowed,
        retest=past.retest,
        notes=past.notes,
    )


def humidity_of(known: Decimal | None, told: Told) -> float | None:
    """Relative humidity, a ratio: as told, or as the bench file has it; `None` where it was not measured."""
    found = known if told.humidity is None else told.humidity
    return None if found is None else float(found)
