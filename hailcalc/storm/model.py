"""The shape of `storm.toml`: when and where a storm was worked, by whom, and what that costs.

Money and percentages are decimal strings, days are dates. The book of the storm's vehicles lies
beside the file and is named in it; what was charged comes from there, what it cost from here.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from datetime import timedelta
from fractions import Fraction
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, Field, TypeAdapter

from hailcalc.fields import Day, FileModel, Name, Text, Title, Unsigned
from hailcalc.money import currency_decimals, decimals_of
from hailcalc.problems import InputError, Problem, shown
from hailcalc.reading import check, load_toml

SUNDAY = 6
MOST_DAYS = 400
"""Days from the first to the last that a storm may be worked."""
_MOST_HOURS = 24

People = Annotated[int, Field(strict=True, ge=0, le=500)]


class StormHeader(FileModel):
    """[storm]: which hail, where and when the work was done, and on which book."""

    name: Name
    title: Title
    place: Text = ""
    date: Day
    first_day: Day
    last_day: Day
    work_days: Annotated[
        Annotated[int, Field(strict=True, ge=1, le=MOST_DAYS)] | None,
        Field(description="Days worked; every day but Sundays if it is not given."),
    ] = None
    hours_a_day: Unsigned = "8"
    currency: Annotated[str, Field(min_length=3, max_length=3)]
    book: Annotated[Title, Field(description="A file beside this one: CSV or Parquet.")]
    matrix: Name | None = None


class Crew(FileModel):
    """[crew]: people on the lot."""

    technicians: Annotated[int, Field(strict=True, ge=1, le=500)]
    estimators: People = 0


class Pay(FileModel):
    """[pay]: technicians by a share of repair labour or by the day; removal & refit apart.

    What `by` does not name may stand beside it, for a what-if.
    """

    by: Literal["share", "day"]
    share: Unsigned | None = None
    day: Unsigned | None = None
    removal_share: Unsigned | None = None
    removal_hour: Unsigned | None = None
    estimator_day: Unsigned = "0"


class Costs(FileModel):
    """[costs]: what else the storm costs; each is 0 unless given."""

    lot_day: Unsigned = "0"
    travel: Unsigned = "0"
    lodging_night: Unsigned = "0"
    lead: Unsigned = "0"
    referral: Unsigned = "0"
    parts: Unsigned = "0"
    sublet: Unsigned = "0"
    loan_day: Unsigned = "0"
    other: Unsigned = "0"


class Storm(FileModel):
    """A whole storm file."""

    storm: StormHeader
    crew: Crew
    pay: Pay
    costs: Costs = Field(default_factory=Costs)

    @property
    def decimals(self) -> int:
        """Decimals of its currency."""
        decimals = currency_decimals(self.storm.currency)
        assert decimals is not None, "a checked storm has a known currency"
        return decimals

    @property
    def calendar_days(self) -> int:
        """Days from the first to the last, both counted."""
        return (self.storm.last_day - self.storm.first_day).days + 1

    @property
    def days(self) -> int:
        """Days worked: as given, else every day from the first to the last but Sundays."""
        if self.storm.work_days is not None:
            return self.storm.work_days
        return days_but_sundays(self.storm.first_day, self.storm.last_day)

    @property
    def nights(self) -> int:
        """Nights away: one for each day from the first to the last."""
        return self.calendar_days


def days_but_sundays(first: datetime.date, last: datetime.date) -> int:
    """Days from `first` to `last`, both counted, that are no Sundays."""
    days = (last - first).days + 1
    return sum((first + timedelta(day)).weekday() != SUNDAY for day in range(days))


def read_storm(text: str, file: str = "storm", folder: str | None = None) -> Storm:
    """A storm file from TOML text. Raises InputError with every mistake.

    `folder` is what the folder that it lies in is called, if its name must agree.
    """
    return storm_from_data(load_toml(text, file), file, folder)


def storm_from_data(data: Any, file: str = "storm", folder: str | None = None) -> Storm:
    """A storm from parsed TOML or JSON. Raises InputError with every mistake."""
    storm, problems = check(Storm, data, file)
    sound = _sound_values(data, problems)
    problems = [*problems, *_storm_problems(sound, file, folder)]
    if problems or storm is None:
        raise InputError(problems)
    return storm


class _Sound(NamedTuple):
    """What of each table is sound, by key, with defaults filled in: a wrong title hides no date."""

    storm: Mapping[str, Any]
    crew: Mapping[str, Any]
    pay: Mapping[str, Any]
    costs: Mapping[str, Any]


def _sound_values(data: Any, problems: list[Problem]) -> _Sound:
    bad = {problem.where for problem in problems}
    tables = {"storm": StormHeader, "crew": Crew, "pay": Pay, "costs": Costs}
    found = data if isinstance(data, Mapping) else {}
    return _Sound(**{name: _sound(model, found, name, bad) for name, model in tables.items()})


def _sound(
    model: type[BaseModel], data: Mapping[str, Any], table: str, bad: set[tuple[str | int, ...]]
) -> dict[str, Any]:
    given = data.get(table, {})
    if (table,) in bad and not isinstance(given, Mapping):
        return {}
    values: dict[str, Any] = {}
    for key, field in model.model_fields.items():
        if key in given and (table, key) not in bad:
            kind = Annotated[(field.annotation, *field.metadata)]  # type: ignore[valid-type]
            values[key] = TypeAdapter[Any](kind).validate_python(given[key])
        elif key not in given and not field.is_required():
            values[key] = field.default
    return values


def _storm_problems(sound: _Sound, file: str, folder: str | None) -> Iterator[Problem]:
    name = sound.storm.get("name")
    if folder is not None and name is not None and name != folder:
        found, expected = shown(name), f"the folder's name, {shown(folder)}"
        yield Problem(file, ("storm", "name"), found, expected)
    book = sound.storm.get("book", "")
    if "/" in book or "\\" in book or book in {".", ".."}:
        yield Problem(file, ("storm", "book"), shown(book), "the name of a file beside this one")
    yield from _day_problems(sound.storm, file)
    yield from _pay_problems(sound.pay, file)
    yield from _share_problems(sound, file)
    yield from _money_problems(sound, file)


def _day_problems(header: Mapping[str, Any], file: str) -> Iterator[Problem]:
    hail, first, last = (header.get(key) for key in ("date", "first_day", "last_day"))
    if hail and first and first < hail:
        expected = f"{hail}, the day of the hail, or later"
        yield Problem(file, ("storm", "first_day"), str(first), expected)
    if hail and last and last < hail:
        expected = f"{hail}, the day of the hail, or later"
        yield Problem(file, ("storm", "last_day"), str(last), expected)
    elif first and last and last < first:
        expected = f"{first}, the first day of work, or later"
        yield Problem(file, ("storm", "last_day"), str(last), expected)
    elif first and last:
        yield from _length_problems(first, last, header.get("work_days"), file)
    hours = header.get("hours_a_day")
    if hours is not None and not 0 < Fraction(hours) <= _MOST_HOURS:
        expected = f"more than 0 hours and at most {_MOST_HOURS}"
        yield Problem(file, ("storm", "hours_a_day"), shown(hours), expected)


def _length_problems(
    first: datetime.date, last: datetime.date, work_days: int | None, file: str
) -> Iterator[Problem]:
    days = (last - first).days + 1
    if days > MOST_DAYS:
        expected = f"at most {MOST_DAYS} days after the first day of work"
        yield Problem(file, ("storm", "last_day"), str(last), expected)
    elif work_days is not None and work_days > days:
        expected = f"at most the {days} days from the first to the last"
        yield Problem(file, ("storm", "work_days"), str(work_days), expected)
    elif work_days is None and days_but_sundays(first, last) == 0:
        expected = "a day that is no Sunday, or work_days"
        yield Problem(file, ("storm", "last_day"), "nothing but a Sunday", expected)


def _pay_problems(pay: Mapping[str, Any], file: str) -> Iterator[Problem]:
    by = pay.get("by")
    if by is not None and by in pay and pay[by] is None:
        yield Problem(file, ("pay", by), "nothing", f'a figure, since by = "{by}"')
    if pay.get("removal_share") is not None and pay.get("removal_hour") is not None:
        found = "removal_share and removal_hour"
        yield Problem(file, ("pay", "removal_hour"), found, "one of the two")


def _share_problems(sound: _Sound, file: str) -> Iterator[Problem]:
    for table, keys in (
        ("pay", ("share", "removal_share")),
        ("costs", ("referral", "parts", "sublet")),
    ):
        for key in keys:
            text = getattr(sound, table).get(key)
            if text is not None and Fraction(text) > 100:
                yield Problem(file, (table, key), shown(text), "per cent, 0 to 100")


def _money_problems(sound: _Sound, file: str) -> Iterator[Problem]:
    currency = sound.storm.get("currency")
    if currency is None:
        return
    decimals = currency_decimals(currency)
    if decimals is None:
        expected = "a currency of ISO 4217"
        yield Problem(file, ("storm", "currency"), shown(currency), expected)
        return
    for table, keys in (
        ("pay", ("day", "removal_hour", "estimator_day")),
        ("costs", ("lot_day", "travel", "lodging_night", "lead", "loan_day", "other")),
    ):
        for key in keys:
            text = getattr(sound, table).get(key)
            if text is not None and decimals_of(text) > decimals:
                expected = f"at most {decimals} decimals, as {currency} has"
                yield Problem(file, (table, key), shown(text), expected)
