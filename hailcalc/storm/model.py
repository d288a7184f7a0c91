"""The shape of `storm.toml`: when and where a storm was worked, by whom, and what that costs.

Money and percentages are decimal strings, days are dates. The book of the storm's vehicles lies
beside the file and is named in it; what was charged comes from there, what it cost from here.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from fractions import Fraction
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field

from hailcalc.fields import Day, FileModel, Name, Text, Title, Unsigned
from hailcalc.money import currency_decimals, decimals_of
from hailcalc.problems import InputError, Problem
from hailcalc.reading import check, load_toml

_SUNDAY = 6
_MOST_DAYS = 400
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
        Annotated[int, Field(strict=True, ge=1, le=400)] | None,
        Field(description="Days worked; every day but Sundays if it is not given."),
    ] = None
    hours_a_day: Unsigned = "8"
    currency: Annotated[str, Field(min_length=3, max_length=3)]
    book: Annotated[str, Field(min_length=1, max_length=200)] = "book.csv"
    matrix: Name | None = None


class Crew(FileModel):
    """[crew]: people on the lot."""

    technicians: Annotated[int, Field(strict=True, ge=1, le=500)]
    estimators: People = 0


class Pay(FileModel):
    """[pay]: technicians by a share of repair labour or by the day; removal & refit apart."""

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
    def days(self) -> int:
        """Days worked: as given, else every day from the first to the last but Sundays."""
        header = self.storm
        if header.work_days is not None:
            return header.work_days
        return sum(
            (header.first_day + timedelta(days)).weekday() != _SUNDAY for days in range(self.nights)
        )

    @property
    def nights(self) -> int:
        """Nights away: one for each day from the first to the last."""
        return (self.storm.last_day - self.storm.first_day).days + 1


def read_storm(text: str, file: str = "storm", folder: str | None = None) -> Storm:
    """A storm file from TOML text. Raises InputError with every mistake.

    `folder` is what the folder that it lies in is called, if its name must agree.
    """
    return storm_from_data(load_toml(text, file), file, folder)


def storm_from_data(data: Any, file: str = "storm", folder: str | None = None) -> Storm:
    """A storm from parsed TOML or JSON. Raises InputError with every mistake."""
    storm, problems = check(Storm, data, file)
    problems = [*problems, *_storm_problems(_Tables.of(data), file, folder)]
    if problems or storm is None:
        raise InputError(problems)
    return storm


class _Tables(NamedTuple):
    """The tables that are sound in their shape: a mistake in one hides none in another."""

    storm: StormHeader | None
    pay: Pay | None
    costs: Costs | None

    @classmethod
    def of(cls, data: Any) -> _Tables:
        """What is sound of a file's data."""
        tables = data if isinstance(data, dict) else {}
        return cls(
            check(StormHeader, tables.get("storm"), "")[0],
            check(Pay, tables.get("pay"), "")[0],
            check(Costs, tables.get("costs", {}), "")[0],
        )


def _storm_problems(tables: _Tables, file: str, folder: str | None) -> Iterator[Problem]:
    header = tables.storm
    if header is not None:
        if folder is not None and header.name != folder:
            expected = f'the folder\'s name, "{folder}"'
            yield Problem(file, ("storm", "name"), f'"{header.name}"', expected)
        if "/" in header.book or "\\" in header.book:
            yield Problem(file, ("storm", "book"), f'"{header.book}"', "a file beside this one")
        yield from _day_problems(header, file)
        yield from _money_problems(header, tables, file)
    if tables.pay is not None:
        yield from _pay_problems(tables.pay, file)
    for table, keys in _SHARES.items():
        for key in keys:
            text = getattr(getattr(tables, table), key, None)
            if text is not None and Fraction(text) > 100:
                yield Problem(file, (table, key), f'"{text}"', "per cent, 0 to 100")


_SHARES = {"pay": ("share", "removal_share"), "costs": ("referral", "parts", "sublet")}
_MONEY = {
    "pay": ("day", "removal_hour", "estimator_day"),
    "costs": ("lot_day", "travel", "lodging_night", "lead", "loan_day", "other"),
}


def _pay_problems(pay: Pay, file: str) -> Iterator[Problem]:
    other = "day" if pay.by == "share" else "share"
    if getattr(pay, pay.by) is None:
        yield Problem(file, ("pay", pay.by), "nothing", f'what by = "{pay.by}" pays')
    if getattr(pay, other) is not None:
        yield Problem(file, ("pay", other), f'both, though by = "{pay.by}"', f"{pay.by} alone")
    if pay.removal_share is not None and pay.removal_hour is not None:
        yield Problem(file, ("pay", "removal_hour"), "both", "removal_share or removal_hour")


def _day_problems(header: StormHeader, file: str) -> Iterator[Problem]:
    """Dates the wrong way round, more days worked than there are, hours that no day has."""
    for place, first, second, words in (
        ("first_day", header.date, header.first_day, "the day of the hail"),
        ("last_day", header.first_day, header.last_day, "the first day of work"),
    ):
        if second < first:
            yield Problem(file, ("storm", place), f"{second}", f"{first} or later, {words}")
    days = (header.last_day - header.first_day).days + 1
    if header.work_days is not None and 0 < days < header.work_days:
        expected = f"at most the {days} days from the first to the last"
        yield Problem(file, ("storm", "work_days"), f"{header.work_days}", expected)
    if days > _MOST_DAYS:
        expected = f"at most {_MOST_DAYS} days from the first to the last"
        yield Problem(file, ("storm", "last_day"), f"{header.last_day}", expected)
    if header.work_days is None and days == 1 and header.first_day.weekday() == _SUNDAY:
        found, expected = "nothing but a Sunday", "work_days, or a day that is none"
        yield Problem(file, ("storm", "work_days"), found, expected)
    if not 0 < Fraction(header.hours_a_day) <= 24:
        found = f'"{header.hours_a_day}"'
        yield Problem(file, ("storm", "hours_a_day"), found, "hours, more than 0 and at most 24")


def _money_problems(header: StormHeader, tables: _Tables, file: str) -> Iterator[Problem]:
    """An unknown currency, and sums with more decimals than it has."""
    decimals = currency_decimals(header.currency)
    if decimals is None:
        found = f'"{header.currency}"'
        yield Problem(file, ("storm", "currency"), found, "a currency of ISO 4217")
        return
    for table, keys in _MONEY.items():
        for key in keys:
            text = getattr(getattr(tables, table), key, None)
            if text is not None and decimals_of(text) > decimals:
                expected = f"at most {decimals} decimals, as {header.currency} has"
                yield Problem(file, (table, key), f'"{text}"', expected)
