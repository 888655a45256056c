"""The challenge of a bench as a command asks for it: by the handler where that changes cables, else by the person."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from batchtest.errors import NotProven, SetupError, nearest

if TYPE_CHECKING:
    from batchtest.commands.screen import Screen
    from batchtest.files.library import Setup
    from batchtest.nouns import Challenge
    from batchtest.sequencer import Job, Station


def require_challenge(station: Station, job: Job, screen: Screen) -> Challenge | None:
    """See that the bench has refused a wrong cable of late, and say when; a handler that can is made to show it now.

    Returns
    -------
    The challenge that counts; `None` where the bench asks for none, or its age is waived. A failure is never waived.

    Raises
    ------
    NotProven : the last challenge is too old, or has failed, or there was none.
    """
    from batchtest.records.challenge import last_challenge
    from batchtest.records.excuse import CHALLENGE, excusing

    every = station.setup.bench.challenge_every
    if every is None or len(station.setup.cables) < 2:
        return None
    last = last_challenge(job.reports, station.setup)
    stale = _stale(last, float(every))
    handler = station.bench.handler
    if stale and handler is not None and handler.can_fit_cables:
        last = challenge(station, job, screen)
        stale = None if last.passed else f"the challenge has failed: {last.why}"
    if last is not None and stale is None:
        screen.message(f"challenge, {age(last)}: {last.why}")
        return last
    failed = last is not None and not last.passed
    if failed or excusing(job.in_force(station.setup), CHALLENGE) is None:
        raise NotProven(
            f"{stale}. Nothing was powered. Show that this bench refuses a wrong cable: {_cure(station.setup, job)}"
        )
    return None


def _cure(setup: Setup, job: Job) -> str:
    """The command that makes the challenge which was asked for, as it can be typed."""
    words = ["batchtest bench --bench", setup.bench_name, "--challenge --fixture", setup.fixture_name]
    words += ["--board", setup.board] if len(setup.fixture.takes) > 1 else []
    words += ["--reports", quote(str(job.reports))] if job.reports != Path("reports") else []
    return " ".join(words)


def challenge(station: Station, job: Job, screen: Screen, wrong: str | None = None) -> Challenge:
    """Challenge a bench with a wrong cable: the one named, or that of the library which would do the most harm.

    Raises
    ------
    SetupError : no such cable, or nobody to change it.
    """
    from batchtest.commands.screen import SilentScreen
    from batchtest.sequencer import run_challenge

    right = station.setup.fixture.cable
    others = [name for name in station.setup.cables if name != right]
    if wrong is None:
        wrong = _most_harmful(station)
    elif wrong not in others:
        fixture = station.setup.fixture_name
        raise SetupError(f"--cable {wrong!r} is no wrong cable for {fixture}; {nearest(wrong, others)}")
    screen.message(f"challenge: {wrong} must be refused, and {right} accepted after it; nothing is powered")
    fit, place = _fitter(station, screen), _placer(station, screen)
    return run_challenge(station, job, wrong, fit=fit, place=place, observer=SilentScreen())


def age(last: Challenge) -> str:
    """How long ago a challenge was, in words."""
    minutes = (datetime.now().astimezone() - last.at).total_seconds() / 60
    if minutes < 0:
        return f"in the future, {last.at.isoformat(timespec='seconds')}"
    if minutes < 1:
        return "just now"
    if minutes < 120:
        return f"{minutes:.0f} min ago"
    return f"{minutes / 60:.0f} h ago" if minutes < 48 * 60 else f"{minutes / 1440:.0f} d ago"


def _stale(last: Challenge | None, every_s: float) -> str | None:
    """Why the last challenge does not count; `None` where it does."""
    if last is None:
        return "this bench was never challenged with this fixture"
    if not last.passed:
        return f"the last challenge has failed: {last.why}"
    age_s = (datetime.now().astimezone() - last.at).total_seconds()
    if age_s < 0:
        return f"the last challenge lies in the future ({last.at.isoformat(timespec='seconds')}): a clock was set back"
    if age_s > every_s:
        return f"the last challenge is {age_s / 86400:.1f} d old, {every_s / 86400:.3g} d are allowed"
    return None


def _most_harmful(station: Station) -> str:
    from batchtest.cables.harm import most_harmful
    from batchtest.files.library import load_library

    setup = station.setup
    return most_harmful(load_library(setup.root), setup.fixture.cable, setup.board)


def _fitter(station: Station, screen: Screen) -> Callable[[str], None]:
    handler = station.bench.handler
    if handler is not None and handler.can_fit_cables:
        return handler.fit_cable

    def ask(name: str) -> None:
        screen.ask(f"outputs are off: plug {name} in at both ends, press Enter ")

    return ask


def _placer(station: Station, screen: Screen) -> Callable[[str], None]:
    if station.bench.handler is not None:
        return station.bench.handler.place

    def ask(serial: str) -> None:
        screen.ask(
            f"put a board that is known to be good into {station.setup.fixture_name}, close the lid, press Enter "
        )

    return ask
