"""The kinds of value that claim and matrix files are made of.

Every figure that leads to money is a decimal *string* in a file and stays that
string in the model, so that a file read and written again is the same file; it
becomes an exact number only where it is compiled or priced. Each kind carries the
words that an error uses for what was expected (`EXPECTED`, by pattern).
"""

from __future__ import annotations

import re
from datetime import date, datetime
from decimal import Decimal
from math import isfinite
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
)
from pydantic_core import PydanticCustomError

_UNSIGNED = r"^[0-9]{1,10}(\.[0-9]{1,4})?$"
_SIGNED = r"^-?[0-9]{1,10}(\.[0-9]{1,4})?$"
_ONE_LINE = r"^[^\p{C}\p{Zl}\p{Zp}]*$"
_NAME = r"^[a-z0-9]+(-[a-z0-9]+)*$"

_DIGITS = "of at most 10 digits before the point and 4 after it"

_CALENDAR_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

EXPECTED: dict[str, str] = {
    _UNSIGNED: f'a decimal string of zero or more with a point, such as "84.50", {_DIGITS}',
    _SIGNED: f'a decimal string with a point, such as "84.50" or "-5", {_DIGITS}',
    _ONE_LINE: "one line of text without control or invisible characters",
    _NAME: "lower-case letters, digits and single hyphens",
}
"""What each pattern means, in the words of an error message."""

Unsigned = Annotated[str, Field(pattern=_UNSIGNED)]
Signed = Annotated[str, Field(pattern=_SIGNED)]
Text = Annotated[str, Field(max_length=200, pattern=_ONE_LINE)]
Title = Annotated[str, Field(min_length=1, max_length=200, pattern=_ONE_LINE)]
Note = Annotated[str, Field(max_length=2000, pattern=_ONE_LINE)]
Name = Annotated[str, Field(min_length=1, max_length=60, pattern=_NAME)]
Count = Annotated[int, Field(strict=True, ge=0, le=9999)]
Flag = Annotated[bool, Field(strict=True)]


class FileModel(BaseModel):
    """A table of a file: frozen, and unknown keys are errors."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", hide_input_in_errors=True, defer_build=True
    )


def _iso_date(value: object) -> object:
    # Only a calendar date: pydantic alone would take a number for seconds since 1970.
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and _CALENDAR_DATE.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise PydanticCustomError("expected", "a date such as 2026-05-19 (ISO 8601)")


Day = Annotated[date, BeforeValidator(_iso_date)]


def _number(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise PydanticCustomError("expected", "a number")
    # A JSON number is a double (RFC 8785); by its shortest text, 17.910 is exactly 17.91, and
    # what is read from a sheet again is what was written to it.
    try:
        double = float(value)
    except OverflowError:
        return Decimal(value)
    return Decimal(repr(double or 0.0)) if isfinite(double) else Decimal(value)


def _as_json_number(value: Decimal) -> int | float:
    return int(value) if value == value.to_integral_value() else float(value)


Number = Annotated[
    Decimal, BeforeValidator(_number), PlainSerializer(_as_json_number, return_type=int | float)
]
Millimetres = Annotated[Number, Field(gt=0, le=500, decimal_places=3)]
"""Size of a dent: a JSON number of millimetres, kept to the micrometre."""


COORDINATES_DEPTH = {"LineString": 2, "Polygon": 3}
MAX_SHAPE_TEXT = 200_000
_MAX_SHAPE_POINTS = 5_000


def _shape(value: object) -> object:
    """WKT as it stands, or a GeoJSON geometry with its numbers as JSON has them."""
    if isinstance(value, str):
        if len(value) > MAX_SHAPE_TEXT:
            words = f"WKT of at most {MAX_SHAPE_TEXT:,} characters"
            raise PydanticCustomError("expected", "{words}", {"words": words})
        if any(char < " " and not char.isspace() for char in value):
            raise PydanticCustomError("expected", "WKT without control characters")
        return value
    if not isinstance(value, dict):
        raise PydanticCustomError("expected", "WKT text, or a GeoJSON geometry (RFC 7946)")
    depth = COORDINATES_DEPTH.get(str(value.get("type")))
    if depth is None or value.keys() != {"type", "coordinates"}:
        raise PydanticCustomError(
            "expected", "a GeoJSON geometry with type Polygon or LineString, and its coordinates"
        )
    points = _coordinates(value["coordinates"], depth)
    if sum(1 for _ in _flat(points, depth)) > _MAX_SHAPE_POINTS:
        words = f"at most {_MAX_SHAPE_POINTS:,} points"
        raise PydanticCustomError("expected", "{words}", {"words": words})
    if value["type"] == "Polygon" and any(len(ring) < 4 or ring[0] != ring[-1] for ring in points):
        raise PydanticCustomError(
            "expected", "rings of four points or more, the last equal to the first (RFC 7946)"
        )
    return {"type": value["type"], "coordinates": points}


def _coordinates(value: object, depth: int) -> Any:
    """Nested lists of so many levels; the innermost are pairs of finite numbers."""
    expected = "coordinates as nested lists of [x, y] in millimetres (RFC 7946)"
    if not isinstance(value, (list, tuple)):
        raise PydanticCustomError("expected", "{words}", {"words": expected})
    if depth > 1:
        return [_coordinates(inner, depth - 1) for inner in value]
    if len(value) != 2 or not all(
        isinstance(number, (int, float, Decimal)) and not isinstance(number, bool)
        for number in value
    ):
        raise PydanticCustomError("expected", "{words}", {"words": expected})
    try:
        numbers = [float(number) for number in value]
    except OverflowError:
        numbers = []
    if not numbers or not all(isfinite(number) for number in numbers):
        raise PydanticCustomError("expected", "{words}", {"words": expected})
    return [int(number) if number.is_integer() else number for number in numbers]


def _flat(points: Any, depth: int) -> Any:
    """The pairs in nested lists of coordinates."""
    if depth == 1:
        yield points
    else:
        for inner in points:
            yield from _flat(inner, depth - 1)


Shape = Annotated[Any, BeforeValidator(_shape)]
"""An outline or a zone of the shop's own; `hailcalc.vehicle.shapes` reads it."""


def _cell(value: object) -> object:
    """A cell of a grid: a whole number, or a decimal string."""
    if isinstance(value, int) and not isinstance(value, bool):
        if 0 <= value <= 10**8:
            return value
    elif isinstance(value, str) and len(value) <= 15:
        whole, _, decimals = value.partition(".")
        if value.isascii() and whole.isdigit() and (decimals.isdigit() or whole == value):
            return value
    raise PydanticCustomError(
        "expected", 'a whole number from 0, or a decimal string such as "22.50"'
    )


Cell = Annotated[int | str, BeforeValidator(_cell)]


def as_json(model: BaseModel) -> dict[str, Any]:
    """A file model as JSON values, exactly the keys that were given."""
    return model.model_dump(mode="json", exclude_unset=True, by_alias=True)
