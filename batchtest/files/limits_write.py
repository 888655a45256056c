"""Limits written out, as a TOML file or as a CSV: either reads back as the very same values. Comments do not travel."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from decimal import Decimal

from batchtest.files.bounds import OhmBounds, VoltBounds
from batchtest.files.limits import AbortBounds, LimitsFile, LoadLimit, RailLimit, RegulationLimit
from batchtest.files.limits_rows import COLUMNS
from batchtest.quantities import write


def as_csv(limits: LimitsFile) -> str:
    """The limits as the text of a CSV, `limits/<board>.csv`."""
    text = io.StringIO()
    rows = csv.DictWriter(text, COLUMNS, restval="")
    rows.writeheader()
    rows.writerows(_rows(limits))
    return text.getvalue()


def as_toml(limits: LimitsFile) -> str:
    """The limits as the text of a TOML file, `limits/<board>.toml`."""
    tables: dict[tuple[str, ...], Mapping[str, str]] = {
        (): {key: _text(value) for key, value in _of_the_board(limits).items()},
        ("decision",): {"rule": _text(limits.decision.rule)},
        ("retests",): {"allowed": str(limits.retests.allowed)},
    }
    for name, check in limits.cold.items():
        bounds = {"resistance": _inline(check.resistance), "diode": _inline(check.diode)}
        tables["cold", name] = {"point": _text(check.point), **bounds, "source": _text(check.source)}
    for name, rail in limits.rails.items():
        nominal, source = _text(write(rail.nominal, "V")), _text(rail.source)
        tables["rails", name] = {"nominal": nominal, "source": source, **_inlines(rail)}
    return "\n".join("\n".join(_lines(key, table)) + "\n" for key, table in tables.items())


def _of_the_board(limits: LimitsFile) -> dict[str, str]:
    """What the limits say of the board as a whole, as far as they do."""
    found = {key: getattr(limits, key) for key in ("board", "revision", "firmware", "option", "serials")}
    return {key: value for key, value in found.items() if value}


def _rows(limits: LimitsFile) -> Iterator[dict[str, str]]:
    plain = {"rule": limits.decision.rule, "retests": str(limits.retests.allowed)}
    yield from ({"what": what, "value": value} for what, value in {**_of_the_board(limits), **plain}.items())
    for name, check in limits.cold.items():
        kind, bounds = ("cold diode", check.diode) if check.diode else ("cold resistance", check.resistance)
        yield {"what": kind, "name": name, "point": check.point, **_cells(bounds), "source": check.source}
    for name, rail in limits.rails.items():
        yield {"what": "rail", "name": name, "value": write(rail.nominal, "V"), "source": rail.source}
        for entry in rail.at:
            yield {"what": "load point", "name": name, **_cells(entry)}
        named = {"regulation": rail.regulation, "output resistance": rail.resistance}
        yield from ({"what": what, "name": name, **_cells(bounds)} for what, bounds in named.items() if bounds)
        if rail.abort is not None:
            found = _cells(rail.abort)
            cells = {column: found[key] for column, key in (("lower", "below"), ("upper", "above")) if key in found}
            yield {"what": "abort", "name": name, **cells}


_Bounds = OhmBounds | VoltBounds | LoadLimit | RegulationLimit | AbortBounds


def _cells(bounds: _Bounds | None) -> dict[str, str]:
    """What is set of some bounds, each with its unit."""
    units = {"load": "A", "within": "%"}
    usual = "ohm" if isinstance(bounds, OhmBounds) else "%" if isinstance(bounds, RegulationLimit) else "V"
    found = bounds.model_dump(exclude_none=True) if bounds else {}
    return {key: write(value, units.get(key, usual)) for key, value in found.items() if isinstance(value, Decimal)}


def _inlines(rail: RailLimit) -> dict[str, str]:
    entries = "".join(f"    {_inline(entry)},\n" for entry in rail.at)
    named = {"regulation": rail.regulation, "resistance": rail.resistance, "abort": rail.abort}
    return {"at": f"[\n{entries}]", **{key: _inline(bounds) for key, bounds in named.items()}}


def _inline(bounds: _Bounds | None) -> str:
    cells = ", ".join(f"{key} = {_text(cell)}" for key, cell in _cells(bounds).items())
    return f"{{ {cells} }}" if cells else ""


def _lines(key: tuple[str, ...], table: Mapping[str, str]) -> Iterator[str]:
    """A table's header and each key that has a value; values stand as TOML writes them."""
    if key:
        yield f"[{'.'.join(_text(name) if '.' in name else name for name in key)}]"
    yield from (f"{name} = {value}" for name, value in table.items() if value)


def _text(value: str) -> str:
    """A TOML string: what JSON escapes, and the one control character that it does not."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
