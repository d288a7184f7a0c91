"""The command that forecasts a storm's fortnight: its options, and what they make of its lot."""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from hailcalc.problems import InputError, Problem, shown

if TYPE_CHECKING:
    from hailcalc.storm.forecast import Whole
    from hailcalc.storm.forecastreport import Forecast
    from hailcalc.storm.lot import Known, Lot

SO_FAR = "so-far"
"""The pace that is measured instead of given."""

_DECIMAL = re.compile(r"[0-9]{1,4}(\.[0-9]{1,4})?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def forecast_command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The storm's folder.")],
    booked: Annotated[
        int, typer.Option(metavar="N", help="Vehicles booked, those in the book included.")
    ],
    by: Annotated[str, typer.Option(metavar="DATE", help="The day on which all is to be done.")],
    today: Annotated[
        str | None, typer.Option(metavar="DATE", help="What was known on that day; none: today.")
    ] = None,
    chance: Annotated[
        str, typer.Option(metavar="PERCENT", help="The chance of being done that is wanted.")
    ] = "90",
    technicians: Annotated[
        int | None, typer.Option(metavar="N", help="Technicians; none: the storm's own.")
    ] = None,
    pace: Annotated[
        str,
        typer.Option(
            metavar=f"FIGURE|{SO_FAR}",
            help="Minutes sold in a minute worked; or as measured on what is done so far.",
        ),
    ] = "1",
    stays_away: Annotated[
        str | None,
        typer.Option(
            metavar="PERCENT",
            help="Of those not seen yet, who bring no work; none: as withdrawn so far.",
        ),
    ] = None,
    like: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="An earlier storm whose vehicles stand in for these."),
    ] = None,
    json: Annotated[Path | None, typer.Option(help="Write the forecast as JSON here.")] = None,
) -> None:
    """Foresee the work still to come, whether it is done by a day, and with how many technicians.

    A vehicle counts as done from the day on which it was repaired; in a book without a column
    repaired, from the day on which its claim was closed. Sundays are no working days.
    """
    from hailcalc.files import write_all
    from hailcalc.storm.folder import lot_in
    from hailcalc.storm.forecastreport import forecast_text, json_text

    asked = _asked(by, today, chance, pace, stays_away)
    earlier = None if like is None else lot_in(like)
    forecast = forecast_of(lot_in(folder), booked, asked, technicians, earlier)
    if json is not None:
        write_all({json: json_text(forecast).encode()})
    print(forecast_text(forecast), end="")


class Asked(NamedTuple):
    """Options that were text. `chance` and `stays_away` are shares of one, `pace` None: so far."""

    by: date
    today: date
    chance: Fraction
    pace: Fraction | None
    stays_away: Fraction | None


def _asked(by: str, today: str | None, chance: str, pace: str, stays_away: str | None) -> Asked:
    """Read the options that are text. Raises InputError with every mistake."""
    problems: list[Problem] = []
    percent = "per cent, such as 90 or 97.5"
    asked = Asked(
        by=_day("by", by, problems),
        today=date.today() if today is None else _day("today", today, problems),
        chance=_figure("chance", chance, percent, problems) / 100,
        pace=None
        if pace == SO_FAR
        else _figure("pace", pace, f"a figure such as 1.15, or {SO_FAR}", problems),
        stays_away=None
        if stays_away is None
        else _figure("stays_away", stays_away, percent, problems) / 100,
    )
    if problems:
        raise InputError(problems)
    return asked


def _day(name: str, text: str, problems: list[Problem]) -> date:
    """A date; the first of all, and a problem, where it is none."""
    if _DATE.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            pass
    problems.append(Problem("forecast", (name,), shown(text), "a date such as 2026-05-19"))
    return date.min


def _figure(name: str, text: str, expected: str, problems: list[Problem]) -> Fraction:
    """A figure of zero or more; 0, and a problem, where it is none."""
    if _DECIMAL.fullmatch(text):
        return Fraction(text)
    problems.append(Problem("forecast", (name,), shown(text), expected))
    return Fraction(0)


def forecast_of(
    lot: Lot, booked: int, asked: Asked, technicians: int | None = None, like: Lot | None = None
) -> Forecast:
    """What is known of a lot on the day asked, and what follows from it.

    Of an earlier storm all vehicles stand in for these. Raises InputError for what cannot be asked.
    """
    from hailcalc.storm.forecast import (
        Booking,
        Calendar,
        Crew,
        Question,
        booking_problems,
        finishing,
        question_problems,
        work_to_come,
    )
    from hailcalc.storm.forecastreport import Forecast
    from hailcalc.storm.lot import known_on

    known = known_on(lot.vehicles, asked.today)
    booking = Booking(booked, known.withdrawn, known.unpriced + lot.aside, asked.stays_away)
    worked = (
        worked_so_far(lot, known, asked.today)
        if asked.pace is None
        else Worked(asked.pace, None, None)
    )
    people = lot.technicians if technicians is None else technicians
    crew = Crew(people, lot.hours_a_day, worked.pace)
    calendar = Calendar(asked.today, begins=lot.first_day)
    question = Question(asked.by, asked.chance)
    problems = [
        *booking_problems(booking, len(known.inspected.done)),
        *question_problems(crew, calendar, question),
    ]
    if problems:
        raise InputError(problems)
    stand_in = None if like is None else known_on(like.vehicles, date.max).inspected
    work = work_to_come(known.inspected, booking, like=stand_in)
    return Forecast(
        title=lot.title,
        booking=booking,
        work=work,
        crew=crew,
        calendar=calendar,
        question=question,
        finishing=finishing(work, crew, calendar, question, worked.sold),
        pace_days=worked.days,
        stand_in=None if like is None else like.title,
        done_by=known.done_by,
        closed_undone=known.closed_undone,
    )


class Worked(NamedTuple):
    """A pace, the working days that it comes from (None: it was given), and what was sold on each.

    `sold` is None where the book does not say how much days differ.
    """

    pace: Fraction
    days: int | None
    sold: Whole | None


def worked_so_far(lot: Lot, known: Known, today: date) -> Worked:
    """What the lot's technicians sold on the working days before today.

    What was done on a day off counts for the working day before it. The days of closed claims are
    those of an office and say nothing of how much a crew did.
    """
    import numpy as np

    from hailcalc.storm.forecast import FEWEST, Calendar, pace_so_far

    inspected = known.inspected
    days = Calendar(lot.first_day).days_before(today)
    done = inspected.done.copy()
    before = np.array([day < today for day in known.done_on], bool)
    done[done] = before
    pace = pace_so_far(inspected._replace(done=done), lot.technicians * len(days), lot.hours_a_day)
    if known.done_by != "repaired" or len(days) < FEWEST:
        return Worked(pace, len(days), None)
    ordinals = [day.toordinal() for day in days]
    done_on = [day.toordinal() for day in known.done_on if day < today]
    which = np.maximum(0, np.searchsorted(ordinals, done_on, side="right") - 1)
    sold = np.zeros(len(days), np.int64)
    np.add.at(sold, which, (inspected.repair + inspected.removal)[done])
    return Worked(pace, len(days), sold)
