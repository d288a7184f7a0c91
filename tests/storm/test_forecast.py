"""The work still to come: what is known stays known, more is never less, and mistakes are told."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from random import Random

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.files import shipped
from hailcalc.problems import InputError
from hailcalc.storm.forecast import (
    FEWEST,
    MOST_BOOKED,
    MOST_DAYS,
    Booking,
    Calendar,
    Crew,
    Finishing,
    Inspected,
    Question,
    Whole,
    Work,
    at_chance,
    chance_within,
    dents_to_come,
    finishing,
    intervals,
    pace_so_far,
    work_to_come,
)
from hailcalc.storm.forecastcommand import Asked, forecast_command, forecast_of, worked_so_far
from hailcalc.storm.forecastreport import Forecast, forecast_text, json_text, percent, remarks
from hailcalc.storm.lot import Lot, known_on
from tests.effort import examples

DRAWS = 300
ALL_COME = Fraction(0)
TODAY = date(2026, 5, 20)  # a Wednesday
BY = date(2026, 6, 6)  # a Saturday, 16 working days with today

Vehicle = tuple[int, int, bool]
vehicle = st.tuples(st.integers(0, 30_000), st.integers(0, 9_000), st.booleans())
lots = st.lists(vehicle, min_size=FEWEST, max_size=25)


def lot(vehicles: list[Vehicle]) -> Inspected:
    """Vehicles of repair, removal (tenths of a minute) and whether they are done."""
    return Inspected(
        np.array([repair for repair, _, _ in vehicles], np.int64),
        np.array([removal for _, removal, _ in vehicles], np.int64),
        np.array([done for _, _, done in vehicles], bool),
    )


def ordinary_lot(vehicles: int = 20, dents: bool = True) -> Inspected:
    """A lot of invented vehicles: 2 to 10 hours of repair, removal on most, a third done."""
    random = np.random.default_rng(20)
    counts = 1 + random.poisson(random.gamma(1.5, 50, vehicles))
    repair = np.rint(10 * (60 + 2.5 * counts)).astype(np.int64)
    removal = 300 * random.integers(0, 5, vehicles)
    return Inspected(
        repair, removal, np.arange(vehicles) % 3 == 0, counts.astype(np.int64) if dents else None
    )


def booking(booked: int, **more: int) -> Booking:
    """Everybody who booked brings work."""
    return Booking(booked, stays_away=ALL_COME, **more)


def whole(*values: int) -> Whole:
    return np.array(values, np.int64)


def limits(work: Work) -> list[int]:
    """Limits and middle of everything that a report prints about minutes."""
    found = []
    for draws in (work.repair, work.removal, work.total):
        found.append(at_chance(draws, Fraction(1, 2)))
        for each in intervals(draws):
            found += [each.lower, each.upper]
    return found


def planned(work: Work, technicians: int = 5, by: date = BY, chance: int = 90) -> Finishing:
    crew = Crew(technicians, Fraction(8))
    return finishing(work, crew, Calendar(TODAY), Question(by, Fraction(chance, 100)))


def mistakes(call: Callable[[], object]) -> str:
    with pytest.raises(InputError) as caught:
        call()
    return str(caught.value)


@settings(max_examples=examples(60))
@given(lots)
def test_when_every_booked_vehicle_is_inspected_the_work_is_known(vehicles: list[Vehicle]) -> None:
    work = work_to_come(lot(vehicles), booking(len(vehicles)), draws=DRAWS)
    repair = sum(minutes for minutes, _, done in vehicles if not done)
    removal = sum(minutes for _, minutes, done in vehicles if not done)
    assert set(work.repair.tolist()) == {repair}
    assert set(work.removal.tolist()) == {removal}
    assert set(work.coming.tolist()) == {0}
    assert len({each.upper for each in intervals(work.total)}) == 1


@settings(max_examples=examples(60))
@given(lots, st.integers(0, 150), st.integers(0, 150), st.integers(0, 5))
def test_more_booked_is_never_less_work(
    vehicles: list[Vehicle], further: int, more: int, withdrawn: int
) -> None:
    seen = len(vehicles) + withdrawn
    fewer, larger = (
        work_to_come(lot(vehicles), Booking(booked, withdrawn), draws=DRAWS)
        for booked in (seen + further, seen + further + more)
    )
    assert (larger.coming >= fewer.coming).all()
    for one, other in ((fewer.repair, larger.repair), (fewer.removal, larger.removal)):
        assert (other >= one).all()


def test_more_booked_is_never_less_work_where_many_were_inspected() -> None:
    """Draws are then made in several blocks, so that they fit into memory."""
    seen = ordinary_lot(400)
    fewer, larger = (work_to_come(seen, Booking(booked)) for booked in (500, 501))
    assert (larger.total >= fewer.total).all()
    assert 0.9 < (larger.total > fewer.total).mean() <= 1


@settings(max_examples=examples(60))
@given(lots, st.randoms(use_true_random=False), st.integers(0, 80))
def test_the_order_of_vehicles_does_not_matter(
    vehicles: list[Vehicle], shuffle: Random, further: int
) -> None:
    mixed = list(vehicles)
    shuffle.shuffle(mixed)
    one, other = (
        work_to_come(lot(order), Booking(len(order) + further), draws=DRAWS)
        for order in (vehicles, mixed)
    )
    assert (one.repair == other.repair).all()
    assert (one.removal == other.removal).all()


@settings(max_examples=examples(60))
@given(lots, st.integers(0, 80), st.integers(1, 30), st.integers(0, 40))
def test_more_technicians_are_never_later(
    vehicles: list[Vehicle], further: int, technicians: int, days: int
) -> None:
    work = work_to_come(lot(vehicles), Booking(len(vehicles) + further), draws=DRAWS)
    by = date.fromordinal(TODAY.toordinal() + days)
    found = planned(work, technicians, by)
    if found.crew.days is not None:
        assert found.one_more.days is not None
        assert found.one_more.days <= found.crew.days
    assert found.one_more.chance >= found.crew.chance
    table = found.table.chances
    for fewer, more in pairwise(table):
        assert all(a <= b for a, b in zip(fewer, more, strict=True))
    for row in table:
        assert list(row) == sorted(row)


@settings(max_examples=examples(60))
@given(lots, st.integers(0, 80), st.integers(1, 99))
def test_the_least_technicians_have_the_chance_asked_and_one_less_has_not(
    vehicles: list[Vehicle], further: int, chance: int
) -> None:
    work = work_to_come(lot(vehicles), Booking(len(vehicles) + further), draws=DRAWS)
    found = planned(work, chance=chance)
    asked, total = Fraction(chance, 100), np.sort(work.total)
    least = found.least_technicians
    assert least is not None

    def reached(technicians: int, days: int) -> bool:
        tenths = technicians * days * Crew(1, Fraction(8)).tenths_a_day
        return chance_within(total, tenths) >= asked

    assert reached(least, found.days)
    assert least == 0 or not reached(least - 1, found.days)
    if found.crew.days is not None:
        assert reached(5, found.crew.days)
        assert found.crew.days == 0 or not reached(5, found.crew.days - 1)


def test_the_same_knowledge_gives_the_same_forecast() -> None:
    one, other = (limits(work_to_come(ordinary_lot(), Booking(120))) for _ in range(2))
    assert one == other


def test_another_seed_moves_the_limits_by_little() -> None:
    one, other = (work_to_come(ordinary_lot(), booking(120), seed=seed).total for seed in (1, 2))
    [a], [b] = intervals(one, [90]), intervals(other, [90])
    width = a.upper - a.lower
    assert abs(a.lower - b.lower) < 0.05 * width
    assert abs(a.upper - b.upper) < 0.05 * width


def test_the_forecast_is_in_whole_tenths_of_a_minute() -> None:
    work = work_to_come(ordinary_lot(), Booking(120))
    assert all(draws.dtype == np.int64 for draws in (work.repair, work.removal, work.coming))
    assert all(isinstance(value, int) for value in limits(work))


def test_limits_close_in_as_vehicles_are_inspected() -> None:
    """The same 200 vehicles, known one after the other."""
    everything = ordinary_lot(200)
    widths = []
    for seen in (8, 30, 100, 190):
        known = Inspected(
            everything.repair[:seen], everything.removal[:seen], everything.done[:seen]
        )
        [span] = intervals(work_to_come(known, booking(200)).total, [90])
        widths.append(span.upper - span.lower)
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] < widths[0] / 4


def test_work_that_is_done_is_not_still_to_come() -> None:
    vehicles = ordinary_lot()
    undone = vehicles._replace(done=np.zeros(len(vehicles.done), bool))
    more = work_to_come(undone, booking(60)).total - work_to_come(vehicles, booking(60)).total
    finished = vehicles.repair[vehicles.done].sum() + vehicles.removal[vehicles.done].sum()
    assert set(more.tolist()) == {int(finished)}


def test_who_needs_much_repair_needs_much_removal_too() -> None:
    """Vehicles are drawn whole: together they spread as two equal columns do, not as two apart."""
    repair = ordinary_lot().repair
    work = work_to_come(
        Inspected(repair, repair, np.zeros(len(repair), bool)), booking(len(repair) + 50)
    )
    [one], [both] = intervals(work.repair, [90]), intervals(work.total, [90])
    assert both.upper - both.lower == pytest.approx(2 * (one.upper - one.lower), rel=0.01)


def test_a_few_heavy_vehicles_make_the_far_limits_wider() -> None:
    """How much vehicles differ is then badly known: limits as Student's of few degrees."""
    even = 3000 + 100 * np.arange(-20, 21)
    heavy = np.where(np.arange(41) < 40, even, 12_000)

    def far(repair: Whole) -> float:
        seen = Inspected(repair, np.zeros(41, np.int64), np.ones(41, bool))
        near, wide = intervals(work_to_come(seen, booking(341)).total, [50, 99])
        return (wide.upper - wide.lower) / (near.upper - near.lower)

    # 2.70 / 0.68 for 40 degrees; 4.03 / 0.73 for 5 (tables of Student's t, from memory).
    assert 3.7 < far(even) < 4.3
    assert 5 < far(heavy) < 6.2


def test_vehicles_without_removal_are_among_those_to_come() -> None:
    removal = whole(0, 0, 0, 0, 0, 0, 900, 1200)
    seen = Inspected(np.full(8, 3000), removal, np.ones(8, bool))
    work = work_to_come(seen, booking(9))
    assert 0.6 < (work.removal == 0).mean() < 0.9


def test_where_no_vehicle_needs_removal_none_is_foreseen_and_that_is_said() -> None:
    seen = Inspected(np.full(8, 3000), np.zeros(8, np.int64), np.ones(8, bool))
    work = work_to_come(seen, booking(40))
    assert work.removal.max() == 0
    said = "\n".join(remarks(report(work, booking(40))))
    # 0.69^8 is 0.051, 0.68^8 is 0.046.
    assert "None of 8 vehicles needs removal, so none is foreseen; up to 32 in 100" in said


def test_of_those_who_booked_some_stay_away() -> None:
    seen = ordinary_lot(20)
    fifth = work_to_come(seen, Booking(220, stays_away=Fraction(1, 5)))
    assert fifth.coming.mean() == pytest.approx(160, abs=0.5)
    # A binomial of 200 with 0.8.
    assert fifth.coming.std() == pytest.approx(np.sqrt(200 * 0.8 * 0.2), rel=0.05)
    nobody = work_to_come(seen, Booking(220, stays_away=Fraction(1)))
    assert nobody.coming.max() == 0
    assert len(set(nobody.total.tolist())) == 1


def test_the_share_that_stays_away_is_no_surer_than_those_seen_make_it() -> None:
    """20 seen, 5 withdrawn: beta of 5½ and 15½, so 200 further bring a beta-binomial number."""
    work = work_to_come(ordinary_lot(15), Booking(220, withdrawn=5))
    share = 15.5 / 21
    spread = np.sqrt(200 * share * (1 - share) * (21 + 200) / (21 + 1))
    assert work.further == 200
    assert work.coming.mean() == pytest.approx(200 * share, rel=0.01)
    assert work.coming.std() == pytest.approx(spread, rel=0.03)


def test_vehicles_here_without_a_price_do_not_stay_away() -> None:
    work = work_to_come(ordinary_lot(20), Booking(30, unpriced=4, stays_away=Fraction(1)))
    assert set(work.coming.tolist()) == {4}
    assert work.further == 10


def test_an_earlier_storm_stands_in_only_when_it_is_given() -> None:
    none_yet = lot([])
    said = mistakes(lambda: work_to_come(none_yet, booking(40)))
    assert said == (
        "forecast: found 0 vehicles inspected and priced, expected 5 or more, so that they show "
        "how much vehicles differ; or an earlier storm to stand in for them (--like FOLDER)"
    )
    work = work_to_come(none_yet, booking(40), like=ordinary_lot(30))
    assert (work.inspected, work.sample, work.further) == (0, 30, 40)
    assert work.known_repair == 0
    assert work.total.min() > 0


def test_an_earlier_storm_with_too_few_vehicles_does_not_stand_in() -> None:
    said = mistakes(lambda: work_to_come(lot([]), booking(40), like=ordinary_lot(4)))
    assert said.startswith("forecast: found 4 vehicles of the storm that stands in, expected 5")


def test_one_is_not_called_several() -> None:
    said = mistakes(lambda: work_to_come(lot([(900, 100, False)]), booking(2)))
    assert said.startswith("forecast: found 1 vehicle inspected and priced, expected 5")
    said = mistakes(lambda: pace_so_far(lot([(0, 0, True)]), 1, Fraction(8)))
    assert "found 1 vehicle done in 1 technician day, expected" in said
    booked = Booking(21, unpriced=1)
    work = work_to_come(ordinary_lot(20), booked)
    made = report(work, booked)._replace(crew=Crew(1, Fraction(8)))
    text = forecast_text(made)
    assert "Of the 1 without a price or not seen, 1 brings work" in text
    assert "1 technician, 8 hours a day" in text


def test_too_few_vehicles_are_enough_where_nothing_else_is_booked() -> None:
    assert work_to_come(lot([(900, 100, False)]), booking(1)).total[0] == 1000


def test_every_mistake_in_a_booking_is_told_at_once() -> None:
    bad = Booking(20, withdrawn=2, stays_away=Fraction(3, 2))
    said = mistakes(lambda: work_to_come(ordinary_lot(20), bad)).splitlines()
    assert said == [
        "booking: booked: found 20, and 22 in the book, expected 22 or more",
        "booking: stays_away: found 150 per cent, expected 0 to 100 per cent",
    ]
    many = mistakes(lambda: work_to_come(ordinary_lot(20), booking(MOST_BOOKED + 1)))
    assert many == "booking: booked: found 10,001, expected at most 10,000"


def test_columns_of_unequal_length_are_refused() -> None:
    with pytest.raises(ValueError, match="equal length"):
        work_to_come(Inspected(whole(1, 2), whole(1), np.zeros(2, bool)), booking(2))
    with pytest.raises(ValueError, match="0 or more"):
        work_to_come(Inspected(whole(-1), whole(1), np.zeros(1, bool)), booking(1))


@pytest.mark.parametrize("heavy", [10**9, 10**6, 1])
def test_one_vehicle_far_beyond_the_others_does_not_overflow(heavy: int) -> None:
    repair = np.array([1] * 9 + [heavy], np.int64)
    seen = Inspected(repair, repair[::-1].copy(), np.zeros(10, bool))
    work = work_to_come(seen, booking(2000), draws=DRAWS)
    assert work.repair.min() >= work.known_repair
    assert work.total.min() >= 0


def test_every_mistake_in_a_question_is_told_at_once() -> None:
    work = work_to_come(ordinary_lot(), booking(20), draws=DRAWS)
    crew = Crew(0, Fraction(25), Fraction(0))
    question = Question(date(2026, 5, 19), Fraction(1))
    said = mistakes(lambda: finishing(work, crew, Calendar(TODAY), question)).splitlines()
    assert said == [
        "forecast: chance: found 100 per cent, expected more than 0 and less than 100 per cent",
        "forecast: by: found 2026-05-19, before 2026-05-20, expected 2026-05-20 or a later day",
        "forecast: technicians: found 0, expected 1 or more",
        "forecast: hours_a_day: found 25, expected more than 0 and at most 24",
        "forecast: pace: found 0, expected more than 0: minutes sold in a minute worked",
    ]
    far = Question(date(2036, 1, 1), Fraction(-1, 2))
    distant = mistakes(lambda: finishing(work, Crew(1, Fraction(8)), Calendar(TODAY), far))
    assert "chance: found -50 per cent" in distant
    assert f"found 2036-01-01, more than {MOST_DAYS:,} days after 2026-05-20" in distant


def test_sundays_are_no_working_days() -> None:
    calendar = Calendar(date(2026, 5, 22))  # a Friday
    assert [str(calendar.day(number)) for number in (1, 2, 3)] == [
        "2026-05-22",
        "2026-05-23",
        "2026-05-25",
    ]
    assert calendar.day(0) is None
    assert [calendar.days_until(date(2026, 5, day)) for day in (22, 23, 24, 25)] == [1, 2, 2, 3]


def test_only_listed_days_are_worked_where_there_is_a_list() -> None:
    listed = tuple(date(2026, 5, day) for day in (24, 19, 21, 24))
    calendar = Calendar(TODAY, listed)
    assert calendar.days_until(date(2026, 5, 31)) == 2
    assert calendar.day(2) == date(2026, 5, 24)
    assert calendar.day(3) is None


def test_a_calendar_ends_with_the_last_date_there_is() -> None:
    assert Calendar(date(9999, 12, 30)).days_until(date.max) == 2


def test_known_work_takes_the_days_that_division_says() -> None:
    """480 hours, 5 technicians of 8 hours: 12 days; with 6, 10 days; in 16 days, 4 technicians."""
    hours = lot([(480 * 600, 0, False)])
    found = planned(work_to_come(hours, booking(1)))
    assert (found.days, found.crew.days, found.one_more.days) == (16, 12, 10)
    assert found.crew.on == date(2026, 6, 2)
    assert found.one_more.on == date(2026, 5, 30)
    assert found.crew.chance == 1
    assert found.least_technicians == 4
    slow = Crew(5, Fraction(8), Fraction(3, 4))
    question = Question(BY, Fraction(9, 10))
    found = finishing(work_to_come(hours, booking(1)), slow, Calendar(TODAY), question)
    assert found.crew.days == 16
    assert found.crew.chance == 1


def test_a_tenth_of_a_minute_too_much_takes_another_day() -> None:
    found = planned(work_to_come(lot([(480 * 600 + 1, 0, False)]), booking(1)))
    assert found.crew.days == 13


def test_without_a_working_day_no_crew_is_enough() -> None:
    sunday = date(2026, 5, 24)
    work = work_to_come(lot([(600, 0, False)]), booking(1))
    question = Question(sunday, Fraction(1, 2))
    found = finishing(work, Crew(1, Fraction(8)), Calendar(sunday), question)
    assert (found.days, found.least_technicians) == (0, None)
    assert found.crew.chance == 0
    assert found.crew.on == date(2026, 5, 25)


def test_when_all_is_done_no_day_and_nobody_is_needed() -> None:
    work = work_to_come(lot([(600, 0, True)]), booking(1))
    found = planned(work)
    assert (found.crew.days, found.least_technicians) == (0, 0)
    assert found.crew.chance == 1
    text = forecast_text(report(work, booking(1)))
    assert "For a chance of 90 % by then: nothing is left to do" in text


def test_work_beyond_the_calendar_has_no_day() -> None:
    found = planned(work_to_come(lot([(MOST_DAYS * 5 * 4800 + 1, 0, False)]), booking(1)))
    assert (found.crew.days, found.crew.on) == (None, None)
    assert found.one_more.days is not None


def test_pace_is_work_done_over_hours_worked() -> None:
    seen = Inspected(whole(6000, 3000, 900), whole(0, 600, 0), np.array([True, True, False]))
    # 16 hours sold in 2 technician days of 8.5 hours.
    assert pace_so_far(seen, 2, Fraction(17, 2)) == Fraction(16, 17)
    said = mistakes(lambda: pace_so_far(lot([(600, 0, False)]), 2, Fraction(8)))
    assert said == (
        "forecast: pace: found 0 vehicles done in 2 technician days, expected work done on days "
        "worked; or a pace given as a figure"
    )
    assert "in 0 technician days" in mistakes(lambda: pace_so_far(seen, 0, Fraction(8)))


def test_dents_of_alike_vehicles_are_much_like_poissons() -> None:
    random = np.random.default_rng(1)
    dents = dents_to_come(random.poisson(60, 40).astype(np.int64), np.full(10_000, 50))
    [wide], [narrow] = intervals(dents.overdispersed, [90]), intervals(dents.poisson, [90])
    assert wide.upper - wide.lower < 1.3 * (narrow.upper - narrow.lower)


def test_dents_of_vehicles_that_differ_are_spread_far_wider_than_poissons() -> None:
    dents = work_to_come(ordinary_lot(), booking(70)).dents
    assert dents is not None
    assert dents.dispersion is not None
    assert dents.dispersion.p < 0.001
    [wide], [narrow] = intervals(dents.overdispersed, [90]), intervals(dents.poisson, [90])
    assert wide.lower < narrow.lower
    assert wide.upper - wide.lower > 3 * (narrow.upper - narrow.lower)


def test_dents_of_vehicles_without_any() -> None:
    dents = dents_to_come(np.zeros(8, np.int64), np.full(1000, 10))
    assert dents.mean == 0
    assert dents.dispersion is None
    # Half a dent on 8 vehicles, by Jeffreys' prior, for 10 more.
    assert dents.poisson.mean() == pytest.approx(0.5 * 10 / 8, abs=0.12)
    with pytest.raises(ValueError, match="two vehicles"):
        dents_to_come(whole(4), np.full(10, 3))


@pytest.mark.parametrize(
    ("chance", "printed"),
    [
        ("0", "under 1 %"),
        ("0.0099", "under 1 %"),
        ("0.01", "1 %"),
        ("0.8999", "89 %"),
        ("0.9", "90 %"),
        ("0.9899", "98 %"),
        ("0.99", "99 %"),
        ("0.9901", "over 99 %"),
        ("1", "over 99 %"),
    ],
)
def test_a_chance_is_never_printed_as_more_than_it_is_nor_as_certain(
    chance: str, printed: str
) -> None:
    assert percent(Fraction(chance)) == printed


def report(
    work: Work, booked: Booking, *, chance: int = 90, stand_in: str | None = None
) -> Forecast:
    crew, calendar = Crew(5, Fraction("8.5")), Calendar(TODAY)
    question = Question(BY, Fraction(chance, 100))
    return Forecast(
        title="Saltmarsh, 12 May 2026",
        booking=booked,
        work=work,
        crew=crew,
        calendar=calendar,
        question=question,
        finishing=finishing(work, crew, calendar, question),
        stand_in=stand_in,
    )


def test_the_report_says_how_sure_the_work_is_and_who_is_needed() -> None:
    booked = Booking(60, withdrawn=1, unpriced=2)
    text = forecast_text(report(work_to_come(ordinary_lot(), booked), booked))
    lines = text.splitlines()
    assert lines[0] == "Saltmarsh, 12 May 2026: work still to come, as known on 2026-05-20"
    assert lines[1] == (
        "60 booked: 20 inspected and priced (7 of them done), 1 withdrawn, 2 here without a price, "
        "37 not seen yet."
    )
    pace = "pace 1 (minutes sold in a minute worked), as given: taken as certain in every chance"
    assert f"5 technicians, 8.5 hours a day; {pace}" in text
    assert "An estimate, not a promise." in text
    assert "How many bring no work is taken from 1 withdrawn of 21 seen" in text


def test_the_reports_hours_are_the_forecasts_minutes() -> None:
    work = work_to_come(lot([(6000, 1200, False), (600, 29, True), (30, 0, False)]), booking(3))
    [row] = [line for line in forecast_text(report(work, booking(3))).splitlines() if "Tog" in line]
    # 6000 + 1200 + 30 tenths of a minute are 12.05 hours, the half away from zero.
    assert row.split() == ["Together", "12.1", "12.1", *["12.1", "to", "12.1"] * 3]


def test_the_report_as_json_has_every_figure() -> None:
    booked = Booking(60, stays_away=Fraction(1, 8))
    work = work_to_come(ordinary_lot(), booked)
    made = report(work, booked)
    read = json.loads(json_text(made))
    assert read["stays_away"] == "0.1250"
    assert read["known_on"] == "2026-05-20"
    assert (read["booked"], read["inspected"], read["done"], read["further"]) == (60, 20, 7, 40)
    [*_, ninety] = read["minutes"]["together"]["intervals"]
    [*_, limits_] = intervals(work.total)
    assert ninety["level"] == 90
    assert Fraction(ninety["upper"]) * 10 == limits_.upper
    assert Fraction(read["finish"]["chance"]) == made.finishing.crew.chance
    assert read["finish"]["on"] == str(made.finishing.crew.on)
    assert read["dents"]["poisson"]["intervals"][2]["level"] == 90
    assert read["remarks"] == list(remarks(made))
    json.dumps(read, allow_nan=False)


def test_a_stand_in_is_named_and_its_limits_are_said_to_be_too_close() -> None:
    work = work_to_come(lot([]), booking(40), like=ordinary_lot(30))
    said = "\n".join(remarks(report(work, booking(40), stand_in="Emberfold, 19 May 2026")))
    assert "taken from 30 of Emberfold, 19 May 2026" in said


Row = tuple[str, str, str, bool]


def book(*rows: Row) -> pd.DataFrame:
    """Priced vehicles: drafted, closed, state, complete; 60 minutes of repair, 5 of removal."""
    frame = pd.DataFrame(rows, columns=["drafted", "closed", "state", "complete"])
    frame["claim"] = [f"SM-{number}" for number in range(1, len(rows) + 1)]
    return frame.assign(dents=40, repair_minutes=600, removal_minutes=50)


def test_a_book_is_read_as_it_stood_on_the_day() -> None:
    known = known_on(
        book(
            ("2026-05-18", "2026-05-20", "agreed", True),  # done on the day
            ("2026-05-18", "2026-05-21", "agreed", True),  # not yet done
            ("2026-05-20", "", "draft", True),
            ("", "", "draft", True),  # no date: known
            ("2026-05-21", "", "draft", True),  # not yet here
            ("2026-05-18", "2026-05-19", "withdrawn", True),
            ("2026-05-18", "", "withdrawn", True),
            ("2026-05-18", "2026-05-29", "withdrawn", True),  # not yet withdrawn
            ("2026-05-19", "", "issued", False),  # without a price
        ),
        TODAY,
    )
    assert known.inspected.done.tolist() == [True, False, False, False, False]
    assert known.inspected.repair.tolist() == [600] * 5
    assert (known.withdrawn, known.unpriced) == (2, 1)


def test_a_book_may_leave_cells_empty() -> None:
    frame = book(("2026-05-18", "", "draft", True), ("2026-05-18", "", "draft", True))
    frame[["drafted", "closed", "state"]] = None
    assert known_on(frame, TODAY).inspected.done.tolist() == [False, False]


def test_a_book_need_not_have_the_course_of_its_claims() -> None:
    frame = book(("", "", "", True), ("", "", "", False))
    known = known_on(frame.drop(columns=["drafted", "closed", "state"]), TODAY)
    assert known.inspected.done.tolist() == [False]
    assert (known.withdrawn, known.unpriced) == (0, 1)


def test_dates_of_a_parquet_book_are_read_as_those_of_a_csv() -> None:
    frame = book(("2026-05-18", "2026-05-20", "agreed", True), ("2026-05-22", "", "draft", True))
    frame["drafted"] = [date(2026, 5, 18), date(2026, 5, 22)]
    frame["closed"] = [date(2026, 5, 20), None]
    assert known_on(frame, TODAY).inspected.done.tolist() == [True]


def test_what_is_no_date_is_told_with_its_claim() -> None:
    frame = book(
        ("2026-05-18", "31/05/2026", "agreed", True),
        ("2026-02-30", "", "draft", True),
        ("20260518", "20260518", "draft", True),
    )
    assert mistakes(lambda: known_on(frame, TODAY)).splitlines() == [
        'book: drafted: found "2026-02-30" of claim "SM-2" and 1 more such cells, '
        "expected dates such as 2026-05-19",
        'book: closed: found "31/05/2026" of claim "SM-1" and 1 more such cells, '
        "expected dates such as 2026-05-19",
    ]


def saltmarsh(rows: int = 12, aside: int = 0) -> Lot:
    done = [("2026-05-16", "2026-05-19", "agreed", True)] * (rows // 3)
    here = [("2026-05-19", "", "issued", True)] * (rows - len(done))
    return Lot("Saltmarsh", date(2026, 5, 15), Fraction(8), 2, book(*done, *here), aside)


def asked(
    by: date = BY,
    today: date = TODAY,
    chance: Fraction = Fraction(9, 10),
    pace: Fraction | None = Fraction(1),
    stays_away: Fraction = ALL_COME,
) -> Asked:
    return Asked(by, today, chance, pace, stays_away)


def test_what_is_drafted_later_does_not_change_what_was_known() -> None:
    lot_ = saltmarsh()
    later = pd.concat([lot_.vehicles, book(*[("2026-05-22", "", "draft", True)] * 9)])
    one = forecast_of(lot_, 40, asked())
    other = forecast_of(lot_._replace(vehicles=later), 40, asked())
    assert forecast_text(one) == forecast_text(other)


def test_pace_so_far_is_of_the_working_days_before_today() -> None:
    """15 to 19 May 2026 without a Sunday: 4 days of 2 technicians, 64 hours; 4 vehicles done."""
    made = forecast_of(saltmarsh(), 40, asked(pace=None), technicians=3)
    assert made.crew.pace == Fraction(4 * 650, 64 * 600)
    assert made.crew.technicians == 3
    assert (
        "measured on 4 working days so far from claims closed, not from repairs: a guess, and "
        "taken as certain in every chance below"
    ) in forecast_text(made)
    said = mistakes(lambda: forecast_of(saltmarsh(), 40, asked(pace=None, today=date(2026, 5, 15))))
    assert "0 vehicles done in 0 technician days" in said


def repaired_on(*days: str) -> Lot:
    """A vehicle repaired on each of the days, May 2026, and 20 that are not repaired yet."""
    done = [("2026-05-15", "", "issued", True)] * len(days)
    frame = book(*done, *[("2026-05-15", "", "issued", True)] * 20)
    frame["repaired"] = [*(f"2026-05-{day}" for day in days), *[""] * 20]
    return saltmarsh()._replace(vehicles=frame)


LATER = date(2026, 5, 23)  # seven working days after the first


def test_repairs_of_a_day_off_count_for_the_day_before_and_todays_for_none() -> None:
    lot_ = repaired_on("15", "16", "17", "19", "22", "23")  # the 17th is a Sunday, the 23rd today
    worked = worked_so_far(lot_, known_on(lot_.vehicles, LATER), LATER)
    assert worked.sold is not None
    assert worked.sold.tolist() == [650, 1300, 0, 650, 0, 0, 650]
    assert worked.pace == Fraction(5 * 650, 7 * 2 * 8 * 600)


def test_days_that_differ_make_the_pace_uncertain_and_alike_days_do_not() -> None:
    alike = forecast_of(
        repaired_on("15", "16", "18", "19", "20", "21", "22"), 27, asked(pace=None, today=LATER)
    )
    differ = forecast_of(
        repaired_on("15", "16", "16", "16", "19", "21", "21"), 27, asked(pace=None, today=LATER)
    )
    assert alike.crew.pace == differ.crew.pace
    assert alike.finishing.pace is not None
    assert differ.finishing.pace is not None
    low, high = differ.finishing.pace
    assert high - low > differ.crew.pace / 2
    assert float(alike.finishing.pace[1] - alike.finishing.pace[0]) < 1e-3
    assert "measured on 7 working days so far; on the days until then 0." in forecast_text(differ)
    written = json.loads(json_text(differ))["crew"]
    assert (written["pace_days"], len(written["pace_limits"])) == (7, 2)


def test_few_days_do_not_show_how_days_differ() -> None:
    made = forecast_of(repaired_on("15", "16", "18"), 23, asked(pace=None, today=TODAY))
    assert made.finishing.pace is None
    said = "measured on 4 working days so far, too few to show how days differ: taken as certain"
    assert said in forecast_text(made)


DIFFERENT_DAYS = whole(0, 3000, 5200, 4100, 7000, 0, 2500)


@settings(max_examples=examples(30))
@given(st.integers(0, 120), st.integers(1, 12), st.integers(0, 250), st.integers(1, 99))
def test_with_days_drawn_more_people_and_days_are_never_less_and_the_least_are_least(
    further: int, technicians: int, days: int, chance: int
) -> None:
    work = work_to_come(ordinary_lot(), booking(20 + further), draws=DRAWS)
    by = date.fromordinal(TODAY.toordinal() + days)

    def found(people: int, by: date = by) -> Finishing:
        question = Question(by, Fraction(chance, 100))
        return finishing(work, Crew(people, Fraction(8)), Calendar(TODAY), question, DIFFERENT_DAYS)

    made = found(technicians)
    for row in made.table.chances:
        assert list(row) == sorted(row)
    for fewer, more in pairwise(made.table.chances):
        assert all(a <= b for a, b in zip(fewer, more, strict=True))
    least = made.least_technicians
    if least:
        assert found(least).crew.chance >= Fraction(chance, 100)
        assert least == 1 or found(least - 1).crew.chance < Fraction(chance, 100)
    if made.crew.on is not None and made.crew.days:
        assert found(technicians, made.crew.on).crew.chance >= Fraction(chance, 100)
        if made.crew.days > 1:
            before = Calendar(TODAY).day(made.crew.days - 1)
            assert before is not None
            assert found(technicians, before).crew.chance < Fraction(chance, 100)


def test_where_nothing_may_be_sold_on_the_only_day_no_number_is_enough() -> None:
    """On two of the seven days so far nothing was sold: 5 times in 7 enough people are enough."""
    work = work_to_come(ordinary_lot(), booking(20), draws=DRAWS)
    crew, calendar = Crew(2, Fraction(8)), Calendar(TODAY)
    surely, likely = (
        finishing(work, crew, calendar, Question(TODAY, Fraction(chance, 10)), DIFFERENT_DAYS)
        for chance in (9, 6)
    )
    assert surely.least_technicians is None
    assert likely.least_technicians is not None
    made = report(work, booking(20))._replace(finishing=surely)
    assert "no number is enough, because nothing may be sold on days as some" in forecast_text(made)


def test_days_on_which_nothing_was_sold_say_nothing() -> None:
    work = work_to_come(ordinary_lot(), booking(20), draws=DRAWS)
    question = Question(BY, Fraction(9, 10))
    for sold in (whole(0, 0, 0, 0, 0), whole(600, 600)):
        with pytest.raises(ValueError, match="5 days or more"):
            finishing(work, Crew(2, Fraction(8)), Calendar(TODAY), question, sold)


def test_no_day_is_worked_before_the_first() -> None:
    early = saltmarsh()._replace(first_day=date(2026, 6, 5))
    assert forecast_of(early, 40, asked()).finishing.days == 2


def test_vehicles_set_aside_by_pricing_are_here_without_a_price() -> None:
    made = forecast_of(saltmarsh(12, aside=3), 15, asked(stays_away=Fraction(1)))
    assert set(made.work.coming.tolist()) == {3}


def test_mistakes_of_booking_and_question_are_told_together() -> None:
    said = mistakes(
        lambda: forecast_of(saltmarsh(), 11, asked(by=date(2026, 5, 1), chance=Fraction(2)), 0)
    )
    assert [line.split(": found")[0] for line in said.splitlines()] == [
        "booking: booked",
        "forecast: chance",
        "forecast: by",
        "forecast: technicians",
    ]


def test_another_storms_lot_stands_in_for_one_that_nobody_has_seen() -> None:
    empty = saltmarsh()._replace(vehicles=book())
    made = forecast_of(empty, 40, asked(), like=saltmarsh())
    assert made.work.sample == 12
    # Twelve alike vehicles say that all are alike; 65 minutes each.
    assert set(made.work.total.tolist()) == {40 * 650}
    assert made.stand_in == "Saltmarsh"


STORM = Path(shipped("demo", "storms")) / "saltmarsh-may"


def test_the_command_forecasts_a_storm_from_its_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    written = tmp_path / "forecast.json"
    forecast_command(STORM, 420, "2026-06-06", today="2026-05-22", chance="97.5", json=written)
    text = capsys.readouterr().out
    read = json.loads(written.read_text())
    assert f"For a chance of 97.5 % by then: {read['least_technicians']} technicians" in text
    assert read["chance_asked"] == "0.9750"
    assert read["inspected"] + read["withdrawn"] + read["unpriced"] + read["further"] >= 420
    assert f"{read['inspected']} inspected and priced ({read['done']} of them done)" in text


def test_the_command_tells_every_option_that_it_cannot_read() -> None:
    said = mistakes(
        lambda: forecast_command(
            STORM, 420, "6 June", today="2026-02-30", chance="-5", pace="quick", stays_away="1e3"
        )
    )
    assert said.splitlines() == [
        'forecast: by: found "6 June", expected a date such as 2026-05-19',
        'forecast: today: found "2026-02-30", expected a date such as 2026-05-19',
        'forecast: chance: found "-5", expected per cent, such as 90 or 97.5',
        'forecast: pace: found "quick", expected a figure such as 1.15, or so-far',
        'forecast: stays_away: found "1e3", expected per cent, such as 90 or 97.5',
    ]


def test_the_command_lets_an_earlier_storm_stand_in(capsys: pytest.CaptureFixture[str]) -> None:
    before = "2026-05-13"
    assert "0 vehicles inspected" in mistakes(
        lambda: forecast_command(STORM, 60, "2026-06-06", today=before)
    )
    like = STORM.parent / "drovermoor-june"
    forecast_command(STORM, 60, "2026-06-06", today=before, stays_away="10", like=like)
    text = capsys.readouterr().out
    assert "60 booked: none inspected and priced, 60 not seen yet." in text
    assert "10 in 100 not seen yet bring no work, as given." in text
    assert "working days from 2026-05-15 on" in text
