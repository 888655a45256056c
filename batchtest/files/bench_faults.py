"""Faults of the bench on demand, `[[simulation.mishaps]]`: what befalls which message of which simulated instrument."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, Field, StrictInt, StrictStr

from batchtest.errors import nearest
from batchtest.files.fields import PositiveSeconds, Ratio, Table, Wrong

Kind = Literal[
    "late reply",
    "cut reply",
    "no terminator",
    "slow drip",
    "garbage",
    "non-ASCII",
    "dropped connection",
    "refused connection",
    "restart",
    "silent restart",
    "error in the queue",
    "ignored command",
    "stale value",
    "clipped set-point",
    "protection trip",
    "back on after a clear",
    "input dropped",
    "front-panel key",
    "over-range",
]
KINDS: tuple[str, ...] = get_args(Kind)
#: Every way in which over range is written (practice of many instruments; SCPI-1999 vol. 1, 7.2.1 for the numbers).
OVER_RANGE = ("9.9E37", "-9.9E37", "9.91E37", "OL", "", "nan")
#: How late a reply is where nothing is said, seconds of the clock; how long nobody is let in, real seconds.
LATE_S, AWAY_S = 60.0, 0.2
#: Key -> the kinds that it is for.
_KEYS: dict[str, tuple[str, ...]] = {
    "lasts": ("late reply", "slow drip", "refused connection", "restart", "silent restart"),
    "keep": ("cut reply",),
    "text": ("garbage", "front-panel key", "over-range"),
}


def _known(kind: str) -> str:
    if kind not in KINDS:
        raise ValueError(f"is no kind of fault, got {kind!r}; {nearest(kind, KINDS)}")
    return kind


class BenchFault(Table):
    """One fault of a simulated instrument, and when it strikes.

    Of the messages to the instrument that match `message` ("*" stands for anything, "?" for one character, capitals
    do not matter) it befalls the one numbered `at`, or `every` so manyth, or a `share` of them by chance. What befalls
    a reply waits for the next one where the message has none. `lasts` is how late a reply is, the time between two of
    its bytes, or how long an instrument is away: seconds of the bench's clock, and real ones for a refused connection.
    `keep` bytes are left of a cut reply. `text` is the garbage, the spelling of over range, or the message that a
    pressed key stands for.
    """

    role: Literal["meter", "load", "supply", "scanner", "handler"]
    kind: Annotated[StrictStr, AfterValidator(_known)]
    message: StrictStr = "*"
    at: Annotated[StrictInt, Field(ge=1)] | None = None
    every: Annotated[StrictInt, Field(ge=1)] | None = None
    share: Ratio | None = None
    lasts: PositiveSeconds | None = None
    keep: Annotated[StrictInt, Field(ge=0)] | None = None
    text: StrictStr | None = None

    @property
    def lasts_s(self) -> float:
        """How long it lasts, s; long enough for any deadline on the wire where nothing is said."""
        usual_s = AWAY_S if self.kind == "refused connection" else LATE_S
        return usual_s if self.lasts is None else float(self.lasts)

    def own_faults(self) -> Iterator[Wrong]:
        """When it strikes said twice or not at all, keys of another kind, a kind that lacks its text."""
        given = [name for name in ("at", "every", "share") if getattr(self, name) is not None]
        if len(given) != 1:
            found = " and ".join(given) or "none of them"
            yield (given[1] if given else "at",), f"needs one of at, every and share, got {found}; write such as at = 3"
        for key, kinds in _KEYS.items():
            if key in self.model_fields_set and self.kind not in kinds:
                yield (key,), f"says nothing for {self.kind!r}, only for {', '.join(kinds)}; leave it out"
        if self.kind == "front-panel key" and not self.text:
            yield ("text",), "is missing: write the message that the key stands for, such as text = 'VOLT 3'"
        if self.kind == "over-range" and self.text not in (None, *OVER_RANGE):
            said = ", ".join(repr(text) for text in OVER_RANGE)
            yield ("text",), f"{self.text!r} is no spelling of over range; write one of {said}"
