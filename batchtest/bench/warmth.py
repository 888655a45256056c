"""How long instruments have been on: since when each answers without having been off, by serial, in a small file.

Nobody can ask an instrument for how long it has been on. What can be known is since when it answers without having
been off: the power-on bit of IEEE 488.2 (11.5.1.1.2), where the dialect can ask for it, says that it was off between;
where it cannot, an instrument that did not answer for as long as it takes to warm up counts as switched on anew.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from batchtest.bench.link import Link
from batchtest.bench.replies import parse_whole

#: Bit of the standard event register that is set by power-on.
_POWER_ON = 1 << 7


@dataclass(frozen=True, slots=True)
class Warmth:
    """The note of one station, `<station>.on.json` in the reports folder."""

    path: Path

    @classmethod
    def of(cls, folder: Path, station: str) -> Warmth:
        """The note of a station."""
        return cls(folder / f"{station}.on.json")

    def on_for_s(self, link: Link, serial: str, warm_up_s: float, events: str, now: datetime) -> float:
        """Seconds since this instrument answered first without having been off; noted, so that the next start knows.

        Parameters
        ----------
        link : to the instrument, before anything clears its registers.
        events : query of the standard event register; "" where the dialect knows none.
        now : wall time with offset.
        """
        noted = self._read()
        since, last = _times(noted.get(serial), now)
        was_off = (
            bool(link.ask(events, parse_whole) & _POWER_ON) if events else (now - last).total_seconds() > warm_up_s
        )
        since = now if was_off else since
        noted[serial] = {"since": since.isoformat(), "last": now.isoformat()}
        fresh = self.path.with_suffix(".new")
        fresh.write_text(json.dumps(noted, indent=1))
        fresh.replace(self.path)
        return (now - since).total_seconds()

    def _read(self) -> dict[str, Any]:
        """What was noted; a note that cannot be read is none, and every instrument counts as just switched on."""
        try:
            found = json.loads(self.path.read_text())
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}


def _times(entry: object, now: datetime) -> tuple[datetime, datetime]:
    """Since when it is on, and when it answered last; now, where that is not known or lies in the future."""
    try:
        assert isinstance(entry, dict)
        since, last = datetime.fromisoformat(entry["since"]), datetime.fromisoformat(entry["last"])
        return (since, last) if timedelta() <= now - last <= now - since else (now, now)
    except (AssertionError, KeyError, TypeError, ValueError):
        return now, now
