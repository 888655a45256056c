"""What a bench file asks an instrument to guard against by itself, and what is set where it does not say."""

from __future__ import annotations

from collections.abc import Mapping

from batchtest.errors import SetupError

#: Below this there is no rail left to load, V; no load point lasts so long, s; nobody is silent to a supply that is on
#: for so long, s. For instruments that can guard against it, and bench files that do not say.
UNDER_VOLTAGE_V, ON_TIMER_S, WATCHDOG_S = 0.5, 600.0, 60.0


def refuse_missing(name: str, dialect: str, asked: Mapping[str, tuple[object, object]]) -> None:
    """Raise SetupError where a bench file asks for what the dialect cannot set: nobody may rely on it.

    Parameters
    ----------
    name, dialect : of the instrument.
    asked : key of the bench file -> what it says, and what the dialect has for it; `None` or empty for nothing.
    """
    missing = [key for key, (wanted, there) in asked.items() if wanted is not None and not there]
    if missing:
        raise SetupError(
            f"{name}: the bench file asks for {', '.join(missing)}, and dialect {dialect!r} cannot set it; leave it "
            "out (and set it at the front panel), or use another instrument"
        )
