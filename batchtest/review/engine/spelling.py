"""DuckDB's spelling of a question turned into Spark's.

sqlglot does most of it. What it would turn into something else, or not at all, is said here: whole numbers of any
length, sums of them, exact quantiles, moments in microseconds.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlglot import exp

#: A whole number of any length that occurs.
_WHOLE = "DECIMAL(38, 0)"


@cache
def spark_text(text: str) -> str:
    """A query of Spark that gives the same rows.

    >>> spark_text("SELECT quantile_disc(v, 0.25) AS q, sum(v) AS s FROM r")
    'SELECT PERCENTILE_DISC(0.25) WITHIN GROUP (ORDER BY v) AS q, SUM(CAST(v AS DECIMAL(38, 0))) AS s FROM r'
    >>> spark_text("SELECT epoch_us(t) AS u, CAST(v AS HUGEINT) AS w FROM r")
    'SELECT UNIX_MICROS(t) AS u, CAST(v AS DECIMAL(38, 0)) AS w FROM r'
    """
    import sqlglot
    from sqlglot import exp

    tree = sqlglot.parse_one(text, read="duckdb")
    spelled: dict[type[exp.Expression], Callable[[exp.Expression], exp.Expression]] = {
        exp.DataType: _whole,
        exp.Sum: _summed,
        exp.PercentileDisc: _quantile,
        exp.Anonymous: _moment,
    }
    for kind, spell in spelled.items():
        for node in list(tree.find_all(kind)):
            node.replace(spell(node))
    return str(tree.sql(dialect="spark"))


def _whole(node: exp.Expression) -> exp.Expression:
    from sqlglot import exp

    return exp.DataType.build(_WHOLE) if node.is_type("int128") else node


def _summed(node: exp.Expression) -> exp.Expression:
    from sqlglot import exp

    return exp.Sum(this=exp.cast(node.this.copy(), _WHOLE))


def _quantile(node: exp.Expression) -> exp.Expression:
    """sqlglot alone would make an approximate one of it."""
    from sqlglot import exp

    share = exp.Anonymous(this="PERCENTILE_DISC", expressions=[node.expression.copy()])
    return exp.WithinGroup(this=share, expression=exp.Order(expressions=[node.this.copy()]))


def _moment(node: exp.Expression) -> exp.Expression:
    from sqlglot import exp

    if node.name.upper() != "EPOCH_US":
        return node
    return exp.Anonymous(this="UNIX_MICROS", expressions=[each.copy() for each in node.expressions])
