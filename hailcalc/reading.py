"""From text to checked tables, collecting every mistake on the way.

Works on strings and dicts only; where the text came from is a name used in messages.
`load_json` and `load_toml` refuse duplicate keys, NaN and infinities. `check` runs a
pydantic model and turns its errors into `Problem`s with a place and what was expected.
When a file has mistakes, `sound_parts` still returns the parts that have none, so that
checks between parts run on those and all mistakes of a file appear together.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from difflib import get_close_matches
from typing import Any, TypeVar, cast, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from hailcalc.fields import EXPECTED
from hailcalc.problems import InputError, Place, Problem, shown

Model = TypeVar("Model", bound=BaseModel)

MAX_TEXT_BYTES = 5_000_000
"""Largest claim, matrix, sheet or CSV that is read; a real one is a thousandth of it."""

MAX_PROBLEMS = 500
"""Mistakes of one kind that are listed; a file with more is another kind of file."""

MAX_EXPONENT = 1000
"""Largest power of ten in a number that is read at all; each field has its own, smaller limit."""

MAX_DEPTH = 40
"""Deepest nesting that is read; a claim file needs six levels."""


def load_json(text: str, file: str) -> Any:
    """Parse JSON, refusing duplicate keys, NaN, infinities and absurd nesting.

    Decimals arrive as `Decimal`. Raises InputError naming line and column, or every duplicate.
    """
    repeated: list[str] = []
    broken: list[str] = []

    def table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key, value in pairs:
            if key in result:
                repeated.append(key)
            if not key.isascii() and any("\ud800" <= char <= "\udfff" for char in key):
                broken.append(key)
            result[key] = value
        return result

    def constant(name: str) -> Any:
        raise InputError([Problem(file, (), name, "a finite number")])

    def decimal(text: str) -> Decimal:
        # Written out, 1e999999999 would fill the memory.
        try:
            number: Decimal | None = Decimal(text)
        except ArithmeticError:
            number = None
        if number is None or abs(number.adjusted()) > MAX_EXPONENT:
            raise InputError([Problem(file, (), shown(text), "a number of ordinary size")])
        return number

    try:
        data = json.loads(
            text, object_pairs_hook=table, parse_float=decimal, parse_constant=constant
        )
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise InputError([Problem(file, (place,), error.msg.lower(), "JSON (RFC 8259)")]) from None
    except RecursionError:
        raise InputError([_too_deep(file)]) from None
    except ValueError:  # an integer of thousands of digits
        raise InputError(
            [Problem(file, (), "a number of thousands of digits", "numbers of at most 10 digits")]
        ) from None
    if repeated or broken:
        twice = [f"the key {shown(key)} twice in one object" for key in dict.fromkeys(repeated)]
        halves = [f"the key {shown(key)}" for key in dict.fromkeys(broken)]
        raise InputError(
            [Problem(file, (), found, "each key once") for found in twice[:MAX_PROBLEMS]]
            + [Problem(file, (), found, "valid Unicode text") for found in halves[:MAX_PROBLEMS]]
        )
    if _depth(data) > MAX_DEPTH:
        raise InputError([_too_deep(file)])
    return data


def load_toml(text: str, file: str) -> dict[str, Any]:
    """Parse TOML (which forbids duplicate keys itself). Raises InputError naming the line."""
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise InputError([Problem(file, (), str(error), "TOML 1.0")]) from None
    except RecursionError:
        raise InputError([_too_deep(file)]) from None
    except (ArithmeticError, ValueError):
        raise InputError(
            [Problem(file, (), "a number of far too many digits", "numbers of ordinary size")]
        ) from None


def _too_deep(file: str) -> Problem:
    return Problem(file, (), "absurdly nested data", f"at most {MAX_DEPTH} levels")


def _depth(data: Any) -> int:
    depth, level = 0, [data]
    while level and depth <= MAX_DEPTH:
        depth += 1
        level = [
            child
            for value in level
            if isinstance(value, (dict, list))
            for child in (value.values() if isinstance(value, dict) else value)
        ]
    return depth


def check(model: type[Model], data: Any, file: str) -> tuple[Model | None, list[Problem]]:
    """`data` as a `model`, or None and every mistake in it."""
    try:
        return model.model_validate(data), []
    except ValidationError as error:
        details = [
            detail for detail in error.errors(include_url=False) if not _seems_short(detail, data)
        ]
    problems = [_problem(model, detail, data, file) for detail in details[:MAX_PROBLEMS]]
    if len(details) > MAX_PROBLEMS:
        more = f"{len(details) - MAX_PROBLEMS:,} more mistakes"
        problems.append(Problem(file, (), more, "a file with fewer; these are not listed"))
    return None, problems


def sound_parts(
    model: type[BaseModel],
    data: Any,
    problems: list[Problem],
    lean_on: Mapping[str, set[str]] | None = None,
) -> dict[str, Any]:
    """The parts of `data` that no problem touches, validated.

    By field name. A list of tables becomes a list of (position, table) pairs; a table loses its
    bad keys and, by `lean_on`, the keys that mean nothing without them, and is left out if it
    cannot do without what it lost.
    """
    from pydantic import TypeAdapter  # only a file with mistakes gets here

    if not isinstance(data, Mapping):
        return {}
    bad = {problem.where[:depth] for problem in problems for depth in (1, 2, 3)}
    whole = {problem.where for problem in problems}
    parts: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        key = field.alias or name
        if key not in data:
            continue
        item = _item_model(field.annotation)
        if item is None:
            if (key,) not in bad:
                parts[name] = TypeAdapter[Any](cast(Any, field.annotation)).validate_python(
                    data[key]
                )
        elif isinstance(data[key], list) and (key,) not in whole:
            tables = (
                (position, _without_bad(item, value, (key, position), bad, lean_on or {}))
                for position, value in enumerate(data[key])
            )
            parts[name] = [(position, table) for position, table in tables if table is not None]
    return parts


def _without_bad(
    model: type[Model], value: Any, where: Place, bad: set[Place], lean_on: Mapping[str, set[str]]
) -> Model | None:
    """The table at `where` less its bad keys; None if nothing sound is left."""
    if not isinstance(value, Mapping):
        return None
    kept = {
        key: inner
        for key, inner in value.items()
        if key in model.model_fields
        and not any((*where, other) in bad for other in {key} | lean_on.get(key, set()))
    }
    return check(model, kept, "")[0]


def _seems_short(detail: ErrorDetails, data: Any) -> bool:
    """Whether a list only counts as too short because an entry of it is bad."""
    if detail["type"] != "too_short":
        return False
    _, value = _follow(data, detail["loc"])
    return isinstance(value, list) and len(value) >= detail["ctx"]["min_length"]


def _item_model(annotation: Any) -> type[BaseModel] | None:
    if get_origin(annotation) is tuple:
        first = get_args(annotation)[0]
        if isinstance(first, type) and issubclass(first, BaseModel):
            return first
    return None


def _problem(model: type[BaseModel], detail: ErrorDetails, data: Any, file: str) -> Problem:
    where, value = _follow(data, detail["loc"])
    if detail["type"] == "extra_forbidden":
        key = str(where[-1])
        known = _keys_at(model, where[:-1])
        near = get_close_matches(key, known, 1)
        hint = f'"{near[0]}"' if near else "one of " + ", ".join(known)
        return Problem(file, where[:-1], f"the unknown key {shown(key)}", hint)
    if detail["loc"] and detail["loc"][-1] == "[key]":
        key = str(detail["loc"][-2])
        return Problem(file, where[:-1], f"the unknown key {shown(key)}", _expected(detail))
    if detail["type"] == "missing":
        return Problem(file, where, "nothing", "a value, which is required here")
    return Problem(file, where, _shown_value(value), _expected(detail))


def _shown_value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "null"
    if isinstance(value, Mapping):
        kind = value.get("type")
        return f"a table of type {shown(kind)}" if isinstance(kind, str) else "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return shown(value)


def _follow(data: Any, location: tuple[int | str, ...]) -> tuple[Place, Any]:
    """The part of pydantic's location that is in the data, and the value there.

    Pydantic puts names of union members into a location; they are no place in a file.
    """
    where: list[str | int] = []
    value = data
    for position, key in enumerate(location):
        last = position == len(location) - 1
        if key == "[key]":  # pydantic's word for a mistake in a key itself
            continue
        if isinstance(value, Mapping) and (key in value or last):
            value = value.get(key)
        elif isinstance(value, list) and isinstance(key, int) and key < len(value):
            value = value[key]
        else:
            continue
        where.append(key)
    return tuple(where), value


def _keys_at(model: type[BaseModel], where: Place) -> list[str]:
    """The keys that the table at `where` may have."""
    current: type[BaseModel] | None = model
    for key in where:
        if current is None:
            break
        if isinstance(key, int):
            continue
        field = next((f for n, f in current.model_fields.items() if (f.alias or n) == key), None)
        current = _model_in(field.annotation) if field else None
    if current is None:
        return []
    return [field.alias or name for name, field in current.model_fields.items()]


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        if (found := _model_in(inner)) is not None:
            return found
    return None


_WORDS = {
    "expected": "{message}",
    "literal_error": "{expected}",
    "string_too_long": "at most {max_length} characters",
    "string_too_short": "at least {min_length} character",
    "string_type": "text in quotes",
    "string_unicode": "valid Unicode text",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
    "decimal_max_places": "at most {decimal_places} decimals",
    "finite_number": "a finite number",
    "model_type": "a table of keys and values",
    "model_attributes_type": "a table of keys and values",
    "dict_type": "a table of keys and values",
    "tuple_type": "a list",
    "list_type": "a list",
    "too_short": "at least {min_length} item",
    "too_long": "at most {max_length} items",
    "none_required": "null",
}


def _expected(detail: ErrorDetails) -> str:
    context = dict(detail.get("ctx", {}))
    if detail["type"] == "string_pattern_mismatch":
        return EXPECTED[context["pattern"]]
    template = _WORDS.get(detail["type"])
    if template is None:
        return detail["msg"][0].lower() + detail["msg"][1:]
    return template.format_map(context | {"message": detail["msg"]})
