"""Parts that dialects are made of: switches, values that are set and read back, answers, status registers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Annotated, Any, Generic, Literal, TypeAlias, TypeVar

from pydantic import BeforeValidator, Field, StrictInt, StrictStr

from batchtest.bench.templates import (
    AmperesCommand,
    ChannelCommand,
    ChannelQuery,
    SecondsCommand,
    SlewCommand,
    VoltsCommand,
    WattsCommand,
)
from batchtest.files.fields import Amperes, AmperesPerSecond, PositiveNumber, Seconds, Table, Volts, Watts, Wrong

Condition = Literal[
    "constant voltage",
    "constant current",
    "voltage fault",
    "over-voltage",
    "over-current",
    "over-power",
    "over-temperature",
    "under-voltage",
    "reverse voltage",
    "reverse sense",
    "open sense",
    "unregulated",
    "protection shutdown",
    "load-on time is over",
    "silence",
    "mains failed",
    "summary",
]


class Switch(Table):
    """An output or input: on, off, and what its state query answers. Inverted logic is a matter of the words."""

    on: ChannelCommand
    off: ChannelCommand
    query: ChannelQuery
    on_words: tuple[StrictStr, ...] = ("1", "+1", "ON")
    off_words: tuple[StrictStr, ...] = ("0", "+0", "OFF")


class Answer(Table):
    """A query for one number: the reply has `of` values, this is number `value`, divided by `scale`."""

    query: ChannelQuery
    value: StrictInt = Field(default=1, ge=1)
    of: StrictInt = Field(default=1, ge=1)
    scale: PositiveNumber = Decimal(1)

    def own_faults(self) -> Iterator[Wrong]:
        """A value that the reply does not have."""
        if self.value > self.of:
            yield ("value",), f"is {self.value}, and the reply has {self.of}; count from 1, and write how many in of"


def _as_answer(found: object) -> object:
    return {"query": found} if isinstance(found, str) else found


#: An answer, or its query alone where the reply is the number.
AnswerField = Annotated[Answer, BeforeValidator(_as_answer)]


CommandT = TypeVar("CommandT", bound=str)
QuantityT = TypeVar("QuantityT", bound=Decimal)


class Setting(Table, Generic[CommandT, QuantityT]):
    """A value that is set and read back.

    `set` is the template of its command, `resolution` how far what is read back may differ. The value is multiplied by
    `scale` before it is written, and the reply divided by it; `decimals` is how many are written, 0 for a whole number,
    and as many as it takes where left out.
    """

    set: CommandT
    query: AnswerField
    resolution: QuantityT
    scale: PositiveNumber = Decimal(1)
    decimals: Annotated[StrictInt, Field(ge=0, le=9)] | None = None

    @property
    def tolerance(self) -> float:
        """The resolution, base unit."""
        return float(self.resolution)

    @property
    def factor(self) -> float:
        """What a value in the base unit is multiplied by before it is written."""
        return float(self.scale)

    def written(self, value: float) -> str:
        """A value as it stands in the command."""
        scaled = value * self.factor
        return f"{scaled:.9g}" if self.decimals is None else f"{scaled:.{self.decimals}f}"


#: A setting of whatever quantity.
AnySetting: TypeAlias = Setting[str, Decimal]


class VoltsSetting(Setting[VoltsCommand, Volts]):
    """A voltage."""


class AmperesSetting(Setting[AmperesCommand, Amperes]):
    """A current."""


class WattsSetting(Setting[WattsCommand, Watts]):
    """A power limit."""


class SecondsSetting(Setting[SecondsCommand, Seconds]):
    """A time after which the instrument switches itself off."""


class SlewSetting(Setting[SlewCommand, AmperesPerSecond]):
    """How fast a current may change, of one edge or both; `unit` is what the instrument counts in."""

    unit: Literal["A/s", "A/ms", "A/us"] = "A/s"

    @property
    def factor(self) -> float:
        """From A/s to the instrument's unit."""
        return float(self.scale) * {"A/s": 1.0, "A/ms": 1e-3, "A/us": 1e-6}[self.unit]


class Register(Table):
    """A status register: its name in records, its query, and what it means.

    `kind`: "condition" shows what is now, "event" what was since it was last read, both by `bits`; "text" is one of
    `words`. A bit or word that is not listed stops the attempt. `value` and `of` are as in an answer.
    """

    name: StrictStr
    query: ChannelQuery
    kind: Literal["condition", "event", "text"] = "condition"
    value: StrictInt = Field(default=1, ge=1)
    of: StrictInt = Field(default=1, ge=1)
    bits: dict[Annotated[StrictStr, Field(pattern="^[0-9]+$")], Condition] = {}
    words: dict[StrictStr, Condition | Literal["nothing"]] = {}

    def own_faults(self) -> Iterator[Wrong]:
        """Bits of a text, or words of a number; or none at all."""
        wanted, other = ("words", "bits") if self.kind == "text" else ("bits", "words")
        if getattr(self, other):
            yield (other,), f"stands in a register of kind {self.kind!r}, which has {wanted}"
        if not getattr(self, wanted):
            yield (wanted,), "is missing, so that nothing that it shows would be known; list them"


def pick(ranges: Mapping[str, Decimal], wanted: float) -> str | None:
    """Word of the smallest range that holds a value, as instruments pick it; `None` where none does.

    >>> pick({"LOW": Decimal(1), "HIGH": Decimal(10)}, 2.0)
    'HIGH'
    """
    fitting = [(float(range_), word) for word, range_ in ranges.items() if float(range_) >= abs(wanted) * (1 - 1e-9)]
    return min(fitting)[1] if fitting else None


#: What templates are filled in with.
Filled = dict[str, Any]
#: A command per channel, or none.
OptionalCommand = ChannelCommand | Literal[""]
