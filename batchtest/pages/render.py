"""From values to a finished HTML file: the templates, and escaping."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from batchtest.pages.marks import mark, symbols
from batchtest.records.seal import seal_tags, sealed

_TEMPLATES = Path(__file__).parent / "templates"


def render(template: str, values: Mapping[str, object], record: str = "") -> str:
    """Fill a template of `templates/`, and seal the page; every value is escaped, a missing one is an error.

    Parameters
    ----------
    record : hash of the one record that the page shows.
    """
    tags = Markup(seal_tags(record, software()))
    return sealed(_environment().get_template(template).render({**values, "seal_tags": tags}))


@cache
def software() -> str:
    """Name and version of what writes the pages."""
    return f"batchtest {version('batchtest')}"


def css_string(text: str) -> Markup:
    """A text as a quoted CSS string that cannot end early, nor end its style element.

    >>> css_string("VN</style>")
    Markup('"VN\\\\00003c \\\\00002f style\\\\00003e "')
    """
    escaped = "".join(letter if letter.isascii() and letter.isalnum() else f"\\{ord(letter):06x} " for letter in text)
    return Markup(f'"{escaped}"')


def moment(when: datetime) -> str:
    """A wall time with its offset, to the minute.

    >>> from datetime import UTC
    >>> moment(datetime(2026, 3, 14, 9, 12, tzinfo=UTC))
    '2026-03-14 09:12 +00:00'
    """
    return f"{when:%Y-%m-%d %H:%M} {when.isoformat()[-6:]}" if when.tzinfo else f"{when:%Y-%m-%d %H:%M}"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters["css_string"] = css_string
    environment.filters["file_url"] = lambda name: quote(name, safe="")
    environment.globals["mark"] = mark
    environment.globals["symbols"] = symbols()
    environment.globals["style"] = Markup((_TEMPLATES / "style.css").read_text(encoding="utf-8"))
    return environment
