"""What pydantic found wrong with a table, in plain words with the cure."""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel, BeforeValidator
from pydantic_core import ErrorDetails

from batchtest.errors import nearest
from batchtest.files.fields import NAME_PATTERN, TERMINALS_PATTERN, Quantity, TableFaults, Wrong
from batchtest.files.positions import Key, show_key
from batchtest.quantities import EXAMPLES, as_found

_PATTERNS = {
    NAME_PATTERN: "needs letters, digits, dots, dashes or underscores, at most 64, the first a letter or digit",
    TERMINALS_PATTERN: "needs plus and minus with a dash between them, such as 'host.2-host.7'",
}


def plain(error: ErrorDetails, model: type[BaseModel]) -> Iterator[Wrong]:
    """Say one of pydantic's findings in plain words; a table's own faults become several.

    Parameters
    ----------
    error : one entry of `ValidationError.errors()`.
    model : what the whole file was read as; gives the known keys and the examples.
    """
    key: Key = tuple(part for part in error["loc"] if part != "[key]")
    kind = error["type"]
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, TableFaults):
        yield from (((*key, *inner), message) for inner, message in cause.found)
    elif kind == "value_error":
        yield key, str(cause)
    elif kind == "missing" and isinstance(key[-1], int):
        yield key[:-1], f"needs {_tuple_length(model, key[:-1])} entries, got {len(error['input'])}"
    elif kind == "missing":
        yield key, f"is missing; add {_example(annotation_at(model, key), key)}"
    elif kind == "too_short" and error["input"]:
        return  # each of its entries has a fault of its own
    elif kind == "extra_forbidden":
        yield key, f"is no known key; {nearest(str(key[-1]), known_keys(model, key[:-1]))}"
    else:
        yield key, _SAID.get(kind, _unknown)(error)


def known_keys(model: type[BaseModel], key: Key) -> list[str]:
    """Names that a table at `key` may have; empty where it is no table of fixed keys."""
    fields = getattr(_without_none(annotation_at(model, key)), "model_fields", {})
    return [field.alias or name for name, field in fields.items()]


def annotation_at(model: type[BaseModel], key: Key) -> Any:
    """Type of the value at `key` as the model declares it; `None` where it declares nothing."""
    annotation: Any = model
    for part in key:
        annotation = _inside(_without_none(annotation), part)
    return annotation


def _inside(annotation: Any, part: str | int) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        names = {field.alias or name: name for name, field in annotation.model_fields.items()}
        return get_type_hints(annotation, include_extras=True).get(names.get(str(part), ""))
    arguments = get_args(annotation)
    if get_origin(annotation) is tuple:
        return arguments[0]
    return arguments[1] if get_origin(annotation) is dict else None


def _without_none(annotation: Any) -> Any:
    if get_origin(annotation) in (Union, types.UnionType):
        return next(argument for argument in get_args(annotation) if argument is not types.NoneType)
    return annotation


def _tuple_length(model: type[BaseModel], key: Key) -> int:
    return len(get_args(_without_none(annotation_at(model, key))))


def _example(annotation: Any, key: Key) -> str:
    """How a missing key would look in the file."""
    annotation = _without_none(annotation)
    name = show_key(key[-1:])
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return f"a table [{show_key(key)}]"
    if get_origin(annotation) is dict:
        return f"a table such as [{show_key((*key, 'NAME'))}]"
    if get_origin(annotation) is tuple:
        return f"a list, {name} = [ ... ]"
    return f"it, such as {name} = {_example_value(annotation)}"


def _example_value(annotation: Any) -> str:
    base, *extras = get_args(annotation) if get_origin(annotation) is Annotated else (annotation,)
    for extra in extras:
        marked = getattr(extra.func, "__self__", None) if isinstance(extra, BeforeValidator) else None
        if isinstance(marked, Quantity):
            return f'"{EXAMPLES[marked.unit]}"'
    return {int: "101", Decimal: "1", date: "2026-03-02"}.get(base, '"..."')


def _too_short(error: ErrorDetails) -> str:
    return f"needs at least {error['ctx']['min_length']} entry, got none"


def _too_long(error: ErrorDetails) -> str:
    return f"needs {error['ctx']['max_length']} entries, got {error['ctx']['actual_length']}"


def _pattern(error: ErrorDetails) -> str:
    cure = _PATTERNS.get(error["ctx"]["pattern"], f"must match {error['ctx']['pattern']}")
    return f"{cure}; got {as_found(error['input'])}"


def _got(cure: str) -> Callable[[ErrorDetails], str]:
    def say(error: ErrorDetails) -> str:
        return f"{cure.format_map(error.get('ctx', {}))}, got {as_found(error['input'])}"

    return say


def _unknown(error: ErrorDetails) -> str:
    return f"cannot be used ({error['type'].replace('_', ' ')}), got {as_found(error['input'])}"


_SAID: Mapping[str, Callable[[ErrorDetails], str]] = {
    "string_type": _got('needs text in quotes, such as "..."'),
    "int_type": _got("needs a whole number without quotes, such as 101"),
    "tuple_type": _got("needs a list in [ ]"),
    "dict_type": _got("needs a table of keys"),
    "model_type": _got("needs a table of keys"),
    "literal_error": _got("must be {expected}"),
    "greater_than_equal": _got("must be at least {ge}"),
    "too_short": _too_short,
    "too_long": _too_long,
    "string_pattern_mismatch": _pattern,
}
