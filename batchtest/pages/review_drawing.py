"""From a kind of chart and its data to a drawing that needs no script, no network and no colour to be read."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from markupsafe import Markup, escape

from batchtest.pages.review_charts import specification

#: What a row of data may hold.
Row = Mapping[str, str | float | int | bool | None]
_TAG = re.compile(r"<[a-zA-Z][^>]*>")
_FOR_SCRIPTS = re.compile(r'\s(?:role|aria-[a-z]+|pointer-events|class|xmlns:xlink|version)="[^"]*"')
_ROOT = re.compile(r'^<svg[^>]*viewBox="([^"]*)"[^>]*>')


def draw(kind: str, data: Mapping[str, Sequence[Row]], *, key: str, title: str, said: str) -> Markup:
    """Draw a chart as one SVG element that a screen reader names and describes.

    Parameters
    ----------
    kind : of `review_charts.specification`.
    data : rows by the name of their dataset; each of `review_charts.DATASETS` for the kind must be there, if empty.
    key : unique on the page. title, said : what it is, and what it shows in words.
    """
    import vl_convert

    frame = _compiled(kind)
    filled = [{**part, "values": list(data[part["name"]])} if "values" in part else part for part in frame["data"]]
    drawn = vl_convert.vega_to_svg(json.dumps({**frame, "data": filled}), allowed_base_urls=[])
    return Markup(_accessible(drawn, key, title, said))


@cache
def _compiled(kind: str) -> dict[str, Any]:
    """A kind of chart with its data empty, worked out once: only data differs from one drawing to the next."""
    import vl_convert

    found: dict[str, Any] = vl_convert.vegalite_to_vega(json.dumps(specification(kind)))
    return found


def _accessible(svg: str, key: str, title: str, said: str) -> str:
    """One picture with a name and a description, of any size, instead of a tree of unnamed shapes."""
    bare = _TAG.sub(lambda tag: _FOR_SCRIPTS.sub("", tag[0]), svg)
    root = _ROOT.match(bare)
    assert root is not None
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="{root[1]}" role="img" '
        f'aria-labelledby="{key}-title {key}-said"><title id="{key}-title">{escape(title)}</title>'
        f'<desc id="{key}-said">{escape(said)}</desc>'
    )
    return head + bare[root.end() :]
