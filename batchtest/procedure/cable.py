"""The fixture's cable as the gate will know it, or the reason why it cannot be known from another of the library."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from batchtest.cables import APART, ColdBench, Harness, PinReading, Signature, Suspects, propose, sign
from batchtest.errors import FileFaults
from batchtest.files.fixture import FixtureFile
from batchtest.files.library import Setup
from batchtest.files.read import read_document
from batchtest.nouns import Measurement
from batchtest.quantities import show


def harness_of(setup: Setup) -> Harness:
    """Board and fixture of a setup, to be joined by any cable."""
    return Harness(setup.fixture_circuit, setup.board_circuit, ColdBench(setup.bench, setup.fixture))


def suspects_of(setup: Setup) -> Suspects:
    """Choose the readings that know the fixture's cable.

    Raises
    ------
    FileFaults : no reading tells it from another cable of the library; names the cure.
    """
    harness = harness_of(setup)
    signature = sign(harness, setup.cables, setup.fixture.cable)
    if signature.like:
        path = setup.root / "fixtures" / f"{setup.fixture_name}.toml"
        fixture = read_document(path, setup.root, FixtureFile)
        wrong = f"{_like(signature)}; {_cure(harness, setup)}"
        raise FileFaults([fixture.fault(("cable",), wrong)])
    return Suspects(harness, setup.cables, signature)


def with_checks(suspects: Suspects, checks: Iterable[Measurement]) -> Suspects:
    """The suspects, told of the board's own cold checks as well."""
    found = []
    for check in checks:
        for reading in suspects.harness.cold.readings(check.point):
            if (reading.measurand, reading.range) == (check.measurand, check.range) and check.limit is not None:
                found.append(PinReading(check.name, reading, {}, check.limit))
    return replace(suspects, checks=tuple(found))


def _like(signature: Signature) -> str:
    said = []
    for name in signature.like:
        best = signature.best.get(name)
        nearest = f" (the best, {best.name}, by {signature.distances[name]:.1f} U)" if best else ""
        said.append(f"{name}{nearest}")
    return (
        f"no cold reading of this fixture tells {signature.cable} from {' and '.join(said)}; "
        f"{APART:.0f} expanded uncertainties are wanted"
    )


def _cure(harness: Harness, setup: Setup) -> str:
    needy = setup.fixture.cable
    proposal = propose(harness, setup.cables, needy)
    if proposal is None:
        return "add a point across a host pin that no cable has a wire on, and fit an id resistor there"
    one, other = proposal.pins
    ohms = show(proposal.ohms, "ohm", 2)
    return (
        f"fit an id resistor of {ohms}, 1 %, between host pins {one} and {other} of {needy}: it keeps it "
        f"apart from every other cable by at least {proposal.distance:.0f} U"
    )
