"""A forecast as plain text and as JSON.

Hours of work sold to a tenth in the text, minutes to a tenth as decimal strings in the JSON.
Chances are rounded down, so that none is printed as more than it is, and none is printed as 0 or
100 %. In the JSON they are shares of the draws.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from typing import Any, NamedTuple

from hailcalc.columns import columns_text, counted
from hailcalc.money import money_text, round_half_away
from hailcalc.storm.forecast import (
    FEWEST,
    LEVELS,
    Booking,
    Calendar,
    Crew,
    Dents,
    Finish,
    Finishing,
    Interval,
    Question,
    Whole,
    Work,
    at_chance,
    intervals,
)
from hailcalc.storm.lot import DoneBy
from hailcalc.storm.report import chance_text

LIMITS_OF_IT = (
    "An estimate, not a promise. It takes the vehicles to come to be like those inspected, takes "
    "every vehicle to be there when a technician is free, and shares the work evenly."
)
"""What every forecast says of itself."""

_RARE = 0.05


class Forecast(NamedTuple):
    """All that a report is made of. `stand_in` names the storm whose vehicles stand in, if one.

    `pace_days` are the working days on which the pace was measured, None if it was given; `done_by`
    and `closed_undone` are those of `lot.Known`.
    """

    title: str
    booking: Booking
    work: Work
    crew: Crew
    calendar: Calendar
    question: Question
    finishing: Finishing
    pace_days: int | None = None
    stand_in: str | None = None
    done_by: DoneBy | None = None
    closed_undone: int = 0


def forecast_text(forecast: Forecast) -> str:
    """A forecast for people: the work to come, the crew, and what is not known."""
    parts = [_head(forecast), _work_table(forecast.work)]
    if forecast.work.dents is not None:
        parts.append(_dents_text(forecast.work.dents))
    parts.append("\n".join(_finishing_lines(forecast)) + "\n")
    parts.append(_chance_table(forecast))
    parts.append("\n".join(remarks(forecast)) + "\n")
    return "\n".join(parts)


def _head(forecast: Forecast) -> str:
    booking, work = forecast.booking, forecast.work
    seen = ["none inspected and priced"]
    if work.inspected:
        seen = [f"{work.inspected:,} inspected and priced ({work.done:,} of them done)"]
    if booking.withdrawn:
        seen.append(f"{booking.withdrawn:,} withdrawn")
    if booking.unpriced:
        seen.append(f"{booking.unpriced:,} here without a price")
    if work.further > booking.unpriced:
        seen.append(f"{work.further - booking.unpriced:,} not seen yet")
    return (
        f"{forecast.title}: work still to come, as known on {forecast.calendar.today}\n"
        f"{booking.booked:,} booked: {', '.join(seen)}.\n"
        f"{done_text(forecast) + chr(10) if work.inspected else ''}{_coming_text(work, booking)}\n"
    )


def done_text(forecast: Forecast) -> str:
    """What makes a vehicle done, and which column of the book says so."""
    day = forecast.calendar.today
    if forecast.done_by is None:
        return (
            "Done: none, for the book has neither a column repaired nor closed. What is repaired "
            "is still in the work to come."
        )
    if forecast.done_by == "closed":
        return (
            f"Done: claim closed by {day}, for the book has no column repaired. What was closed "
            "before it was repaired is missing from the work still to come; what is repaired and "
            "not closed is in it."
        )
    text = f"Done: repaired by {day} (the book's column repaired)."
    if forecast.closed_undone:
        claims = counted(forecast.closed_undone, "closed claim")
        counts = "counts" if forecast.closed_undone == 1 else "count"
        text += f" {claims} without such a day {counts} as work to come."
    return text


def _coming_text(work: Work, booking: Booking) -> str:
    if not work.further:
        return "Every booked vehicle is inspected and priced."
    [coming] = intervals(work.coming, [90])
    which = "without a price or not seen" if booking.unpriced else "not seen yet"
    brings = "brings" if coming.lower == coming.upper == 1 else "bring"
    return f"Of the {work.further:,} {which}, {_span(coming)} {brings} work (9 times in 10)."


def _span(interval: Interval) -> str:
    if interval.lower == interval.upper:
        return f"{interval.lower:,}"
    return f"{interval.lower:,} to {interval.upper:,}"


def _work_table(work: Work) -> str:
    rows = [["Hours sold", "Known", "Middle", *(f"{level} %" for level in LEVELS)]]
    for name, known, draws in _kinds(work):
        spans = [f"{_hours(each.lower)} to {_hours(each.upper)}" for each in intervals(draws)]
        rows.append([name, _hours(known), _hours(_middle(draws)), *spans])
    return columns_text(rows, right=range(1, 3 + len(LEVELS)))


def _kinds(work: Work) -> tuple[tuple[str, int, Whole], ...]:
    return (
        ("Repair", work.known_repair, work.repair),
        ("Removal and refit", work.known_removal, work.removal),
        ("Together", work.known_repair + work.known_removal, work.total),
    )


def _middle(draws: Whole) -> int:
    return at_chance(draws, Fraction(1, 2))


def _hours(tenths: int) -> str:
    return grouped(round_half_away(tenths, 60))


def grouped(tenths: int) -> str:
    """Tenths with one decimal and thousands apart: 12,345 is 1,234.5."""
    return f"{tenths // 10:,}.{tenths % 10}"


def _dents_text(dents: Dents) -> str:
    wide, narrow = (intervals(each, [90])[0] for each in (dents.overdispersed, dents.poisson))
    return (
        f"Dents a vehicle: {_tenths(dents.mean)} on average{_dispersion(dents)}.\n"
        f"Dents still to come, 90 %: {_span(wide)} (negative binomial: vehicles differ).\n"
        f"Poisson's law, as if all vehicles had met the same hail, would say {_span(narrow)}.\n"
    )


def _dispersion(dents: Dents) -> str:
    if dents.dispersion is None:
        return ""
    times = _tenths(dents.dispersion.index / dents.dispersion.degrees)
    surely = dents.dispersion.p < _RARE
    than = "more than chance alone would have it" if surely else "as chance alone might have it"
    return f", variance {times} times the mean: vehicles differ {than}"


def _tenths(value: Fraction) -> str:
    return grouped(round_half_away(value.numerator * 10, value.denominator))


def _finishing_lines(forecast: Forecast) -> Iterator[str]:
    crew, found, question = forecast.crew, forecast.finishing, forecast.question
    asked = f"{_plain(100 * question.chance)} %"
    yield (
        f"{technicians(crew.technicians)}, {_plain(crew.hours_a_day)} hours a day; pace "
        f"{_plain(crew.pace)} (minutes sold in a minute worked), {pace_text(forecast)}"
    )
    yield (
        f"Done by {question.by} ({_days(found.days)}{_since(forecast.calendar)}): "
        f"chance {percent(found.crew.chance)}"
    )
    yield f"For a chance of {asked} by then: {_least(found)}"
    yield f"For a chance of {asked} with {technicians(crew.technicians)}: {_when(found.crew)}"
    yield (
        f"One more technician: {_when(found.one_more)}{_sooner(found)}; "
        f"chance by {question.by} {percent(found.one_more.chance)}"
    )


def pace_text(forecast: Forecast) -> str:
    """Where the pace comes from, and how sure it is."""
    days, limits = forecast.pace_days, forecast.finishing.pace
    if days is None:
        return "as given: taken as certain in every chance below"
    origin = f"measured on {_days(days)} so far"
    if limits is not None:
        low, high = map(_plain, limits)
        return f"{origin}; on the days until then {low} to {high} (9 times in 10)"
    certain = "taken as certain in every chance below"
    if forecast.done_by != "repaired":
        return f"{origin} from claims closed, not from repairs: a guess, and {certain}"
    if days < FEWEST:
        return f"{origin}, too few to show how days differ: {certain}"
    return origin


def _since(calendar: Calendar) -> str:
    first = calendar.day(1)
    return "" if first is None else f" from {first} on"


def technicians(number: int) -> str:
    """1 technician, 2 technicians."""
    return counted(number, "technician")


def _days(number: int) -> str:
    return counted(number, "working day")


def _least(found: Finishing) -> str:
    if found.least_technicians is None and found.days:
        return "no number is enough, because nothing may be sold on days as some so far were"
    if found.least_technicians is None:
        return "no number is enough, because no working day is left"
    if found.least_technicians == 0:
        return "nothing is left to do"
    return technicians(found.least_technicians)


def _when(finish: Finish) -> str:
    if finish.days is None:
        return "more days than a forecast reaches"
    if finish.days == 0:
        return "nothing is left to do"
    on = "after the last working day listed" if finish.on is None else f"done on {finish.on}"
    return f"{_days(finish.days)}, {on}"


def _sooner(found: Finishing) -> str:
    if found.crew.days is None or found.one_more.days is None or not found.crew.days:
        return ""
    fewer = found.crew.days - found.one_more.days
    return f", {_days(fewer)} fewer" if fewer else ", no day fewer"


def _chance_table(forecast: Forecast) -> str:
    table = forecast.finishing.table
    dates = [forecast.calendar.day(number) for number in table.days]
    rows = [
        ["Chance of being done by", *("no day" if day is None else str(day) for day in dates)],
        ["working days", *(str(number) for number in table.days)],
    ]
    for number, chances in zip(table.technicians, table.chances, strict=True):
        rows.append([technicians(number), *(percent(chance) for chance in chances)])
    return columns_text(rows, right=range(1, 1 + len(table.days)))


def percent(chance: Fraction) -> str:
    """A chance in whole per cent, rounded down; never 0 or 100, which draws cannot know."""
    between = Fraction(1, 100) <= chance <= Fraction(99, 100)
    return chance_text(Fraction(int(chance * 100), 100) if between else chance)


def _plain(value: Fraction) -> str:
    """A figure with two decimals at most, the half away from zero."""
    text = money_text(round_half_away(value.numerator * 100, value.denominator), 2)
    return text.rstrip("0").rstrip(".")


def remarks(forecast: Forecast) -> Iterator[str]:
    """What somebody who acts on the forecast should know of it."""
    work, booking = forecast.work, forecast.booking
    yield LIMITS_OF_IT
    if work.further == 0:
        return
    if forecast.stand_in is not None:
        yield (
            f"The vehicles to come are taken from {work.sample} of {forecast.stand_in}: how two "
            "storms differ is in no figure here, so the limits are too close."
        )
    if work.sample_opened == 0:
        share = _unseen_share(work.sample)
        yield (
            f"None of {work.sample} vehicles needs removal, so none is foreseen; up to {share} in "
            "100 vehicles could need it and none have shown up (19 times in 20)."
        )
    if booking.stays_away is not None:
        yield f"{_plain(100 * booking.stays_away)} in 100 not seen yet bring no work, as given."
    else:
        yield (
            f"How many bring no work is taken from {booking.withdrawn} withdrawn of "
            f"{work.inspected + booking.withdrawn} seen; who booked and never came is in no book."
        )


def _unseen_share(vehicles: int) -> int:
    """Per cent of vehicles, rounded up, of which so many in a row are missed 1 time in 20."""
    return next(
        share
        for share in range(1, 101)
        if Fraction(100 - share, 100) ** vehicles <= Fraction(1, 20)
    )


def json_text(forecast: Forecast) -> str:
    """A forecast as the text of a JSON file."""
    return json.dumps(forecast_json(forecast), indent=2, ensure_ascii=False) + "\n"


def forecast_json(forecast: Forecast) -> dict[str, Any]:
    """A forecast as JSON values."""
    booking, work, found = forecast.booking, forecast.work, forecast.finishing
    crew, table = forecast.crew, found.table
    return {
        "storm": forecast.title,
        "known_on": forecast.calendar.today.isoformat(),
        "booked": booking.booked,
        "inspected": work.inspected,
        "done": work.done,
        "done_by": forecast.done_by,
        "closed_undone": forecast.closed_undone,
        "withdrawn": booking.withdrawn,
        "unpriced": booking.unpriced,
        "further": work.further,
        "stays_away": None if booking.stays_away is None else _decimal(booking.stays_away),
        "stand_in": forecast.stand_in,
        "sample": work.sample,
        "bring_work": _spread_json(work.coming, None),
        "minutes": {
            name: {"known": money_text(known, 1)} | _spread_json(draws, 1)
            for name, (_, known, draws) in zip(
                ("repair", "removal", "together"), _kinds(work), strict=True
            )
        },
        "dents": None if work.dents is None else _dents_json(work.dents),
        "crew": {
            "technicians": crew.technicians,
            "hours_a_day": _decimal(crew.hours_a_day),
            "pace": _decimal(crew.pace),
            "pace_measured": forecast.pace_days is not None,
            "pace_days": forecast.pace_days,
            "pace_limits": None if found.pace is None else [_decimal(each) for each in found.pace],
        },
        "by": forecast.question.by.isoformat(),
        "working_days": found.days,
        "chance_asked": _decimal(forecast.question.chance),
        "least_technicians": found.least_technicians,
        "finish": _finish_json(found.crew),
        "one_more": _finish_json(found.one_more),
        "table": {
            "technicians": list(table.technicians),
            "working_days": list(table.days),
            "chances": [[_decimal(chance) for chance in row] for row in table.chances],
        },
        "draws": len(work.repair),
        "remarks": list(remarks(forecast)),
    }


def _spread_json(draws: Whole, decimals: int | None) -> dict[str, Any]:
    """Middle and intervals; as whole numbers, or as decimal strings of scaled ones."""

    def written(value: int) -> int | str:
        return value if decimals is None else money_text(value, decimals)

    return {
        "middle": written(_middle(draws)),
        "intervals": [
            {"level": each.level, "lower": written(each.lower), "upper": written(each.upper)}
            for each in intervals(draws)
        ],
    }


def _dents_json(dents: Dents) -> dict[str, Any]:
    found = dents.dispersion
    return {
        "mean": _decimal(dents.mean),
        "variance_over_mean": None if found is None else _decimal(found.index / found.degrees),
        "negative_binomial": _spread_json(dents.overdispersed, None),
        "poisson": _spread_json(dents.poisson, None),
    }


def _finish_json(finish: Finish) -> dict[str, Any]:
    return {
        "technicians": finish.technicians,
        "chance": _decimal(finish.chance),
        "working_days": finish.days,
        "on": None if finish.on is None else finish.on.isoformat(),
    }


def _decimal(value: Fraction) -> str:
    """Four decimals, rounded down, as a chance never is more than it is."""
    return money_text(int(value * 10_000), 4)
