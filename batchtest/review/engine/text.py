"""The text of a question, with what was asked for written into it."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

#: What may stand in the place of a `$name` in a question: a list of texts is one to look a text up in.
Value = str | int | bool | tuple[str, ...]

_SQL = Path(__file__).parent.parent / "sql"
_PLACE = re.compile(r"\$([a-z_]+)")
#: Where the text of another file in `sql/` stands in a question.
_FRAGMENT = re.compile(r"\$\{([a-z_]+)\}")


def question_text(name: str, values: dict[str, Value]) -> str:
    """The text of `review/sql/<name>.sql` with its values in place; raises KeyError for one that is not given."""
    return _PLACE.sub(lambda found: literal(values[found[1]]), _sql(name))


def literal(value: Value) -> str:
    """A value as SQL spells it, so that no text ends where it should not.

    >>> literal("Old 'Hand'"), literal(True), literal(7), literal(("a", "b")), literal(())
    ("'Old ''Hand'''", 'true', '7', "('a', 'b')", "('')")
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return "'" + value.replace("'", "''") + "'"
    return "(" + ", ".join(literal(each) for each in value or ("",)) + ")"


@cache
def _sql(name: str) -> str:
    lines = (_SQL / f"{name}.sql").read_text(encoding="utf-8").splitlines()
    text = "\n".join(line for line in lines if not line.startswith("--"))
    return _FRAGMENT.sub(lambda found: _sql(found[1]), text)
