"""The shape of `storm.toml`: when and where a storm was worked, by whom, and what that costs.

Money and percentages are decimal strings, days are dates. The book of the storm's vehicles lies
beside the file and is named in it; what was charged comes from there, what it cost from here.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Annotated, Any, Literal

from pydantic import Field

from hailcalc.fields import Day, FileModel, Name, Text, Title, Unsigned
from hailcalc.money import currency_decimals, decimals_of
from hailcalc.problems import InputError, Place, Problem
from hailcalc.reading import check, load_toml

_SUNDAY = 6
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
            (header.first_day + timedelta(days)).weekday() != _SUNDAY
            for days in range(self.nights)
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
    if storm is not None:
        problems = [*problems, *_storm_problems(storm, file, folder)]
    if problems or storm is None:
        raise InputError(problems)
    return storm


def _storm_problems(storm: Storm, file: str, folder: str | None) -> Iterator[Problem]:
    header, pay = storm.storm, storm.pay
    if folder is not None and header.name != folder:
        yield Problem(
            file, ("storm", "name"), f'"{header.name}"', f'the folder\'s name, "{folder}"'
        )
    if "/" in header.book or "\\" in header.book:
        yield Problem(file, ("storm", "book"), f'"{header.book}"', "a file beside this one")
    yield from _day_problems(header, file)
    for name, other in (("share", "day"), ("day", "share")):
        if pay.by == name and getattr(pay, name) is None:
            yield Problem(file, ("pay", name), "nothing", f'what by = "{name}" pays')
        if pay.by == name and getattr(pay, other) is not None:
            found = f'both, though by = "{name}"'
            yield Problem(file, ("pay", other), found, f"{name} alone")
    if pay.removal_share is not None and pay.removal_hour is not None:
        yield Problem(file, ("pay", "removal_hour"), "both", "removal_share or removal_hour")
    yield from _figure_problems(storm, file)


def _day_problems(header: StormHeader, file: str) -> Iterator[Problem]:
    def order(place: str, first: date, second: date, words: str) -> Iterator[Problem]:
        if second < first:
            yield Problem(file, ("storm", place), f"{second}", f"{first} or later, {words}")

    yield from order("first_day", header.date, header.first_day, "the day of the hail")
    yield from order("last_day", header.first_day, header.last_day, "the first day of work")
    days = (header.last_day - header.first_day).days + 1
    if header.work_days is not None and header.last_day >= header.first_day > header.work_days * date.resolution + date.min:
        if header.work_days > days:
            yield Problem(
                file,
                ("storm", "work_days"),
                f"{header.work_days}",
                f"at most the {days} days from the first to the last",
            )


def _figure_problems(storm: Storm, file: str) -> Iterator[Problem]:
    """Shares beyond 100 %, an unknown currency, sums with more decimals than it has."""
    shares: list[tuple[Place, str | None]] = [
        (("pay", "share"), storm.pay.share),
        (("pay", "removal_share"), storm.pay.removal_share),
        (("costs", "referral"), storm.costs.referral),
        (("costs", "parts"), storm.costs.parts),
        (("costs", "sublet"), storm.costs.sublet),
    ]
    for place, text in shares:
        if text is not None and float(text) > 100:
            yield Problem(file, place, f'"{text}"', "per cent, 0 to 100")
    if not 0 < float(storm.storm.hours_a_day) <= 24:
        found = f'"{storm.storm.hours_a_day}"'
        yield Problem(file, ("storm", "hours_a_day"), found, "hours, more than 0 and at most 24")
    decimals = currency_decimals(storm.storm.currency)
    if decimals is None:
        yield Problem(
            file, ("storm", "currency"), f'"{storm.storm.currency}"', "a currency of ISO 4217"
        )
        return
    names = (
        ("pay", ("day", "removal_hour", "estimator_day")),
        ("costs", ("lot_day", "travel", "lodging_night", "lead", "loan_day", "other")),
    )
    for table, keys in names:
        for key in keys:
            text = getattr(getattr(storm, table), key)
            if text is not None and decimals_of(text) > decimals:
                expected = f"at most {decimals} decimals, as {storm.storm.currency} has"
                yield Problem(file, (table, key), f'"{text}"', expected)
