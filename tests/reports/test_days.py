"""The local date of a hail report: in a named zone, without one, and the files that hold it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.problems import InputError
from hailcalc.reports.days import daily_span, files_missing, local_day, zone_named
from hailcalc.reports.records import Span

DAY = date(2018, 6, 15)
ZONES = [None, "America/Chicago", "America/Denver", "Pacific/Honolulu", "Pacific/Auckland", "UTC"]


def utc(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2018, 6, day, hour, minute, tzinfo=UTC)


def test_a_local_day_in_chicago_begins_five_hours_after_midnight_in_utc_in_summer() -> None:
    day = local_day(DAY, "America/Chicago")
    assert day.span() == (utc(15, 5), utc(16, 5))
    assert [day.away(utc(15, 4, 59)), day.away(utc(15, 5)), day.away(utc(16, 5))] == [-1, 0, 1]


def test_without_a_zone_both_utc_dates_are_looked_at_and_that_is_said() -> None:
    day = local_day(DAY)
    assert day.span() == (utc(15, 0), utc(17, 0))
    assert [day.away(utc(14, 23, 59)), day.away(utc(15, 0)), day.away(utc(16, 23, 59))] == [
        -1,
        0,
        0,
    ]
    assert day.away(utc(17, 0)) == 1
    assert "no time zone given: UTC dates 2018-06-15 and 2018-06-16" in day.words()


@given(st.sampled_from(ZONES), st.integers(-5000, 5000))
def test_a_day_and_its_neighbours_leave_no_minute_out(zone: str | None, minutes: int) -> None:
    day = local_day(DAY, zone)
    moment = utc(15, 12) + timedelta(minutes=minutes)
    away = day.away(moment)
    assert day.span(away).begin <= moment < day.span(away).end
    assert day.span(away).end == day.span(away + 1).begin


@given(st.integers(0, 47 * 60), st.sampled_from(["America/New_York", "Pacific/Honolulu"]))
def test_without_a_zone_no_report_of_the_local_day_is_missed(minutes: int, zone: str) -> None:
    moment = utc(15, 0) + timedelta(minutes=minutes)
    if local_day(DAY, zone).away(moment) == 0:
        assert local_day(DAY).away(moment) == 0


@pytest.mark.parametrize(("day", "hours"), [(date(2018, 3, 11), 23), (date(2018, 11, 4), 25)])
def test_days_on_which_clocks_change_are_shorter_or_longer(day: date, hours: int) -> None:
    span = local_day(day, "America/Chicago").span()
    assert span.end - span.begin == timedelta(hours=hours)


@pytest.mark.parametrize(
    "name",
    ["America/Emberfold", "", "../../etc/passwd", "/etc/passwd", "America", "x\0y", "CT" * 999],
)
def test_a_name_of_no_zone_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="IANA name, such as America/Chicago"):
        zone_named(name)


@pytest.mark.parametrize("day", [date(1, 1, 1), date(9999, 12, 31)])
def test_a_date_that_nobody_can_mean_is_refused(day: date) -> None:
    with pytest.raises(InputError, match="a date from 1900 to 2199"):
        local_day(day, "America/Chicago")


def test_a_local_day_in_chicago_lies_in_two_daily_files() -> None:
    day = local_day(DAY, "America/Chicago")
    assert files_missing(day.span(), []) == (date(2018, 6, 14), DAY)
    assert files_missing(day.span(), [daily_span(DAY)]) == (date(2018, 6, 14),)
    assert files_missing(day.span(), [daily_span(DAY), daily_span(date(2018, 6, 14))]) == ()


def test_a_day_in_a_longer_span_misses_nothing() -> None:
    whole = Span(utc(1, 0), utc(30, 0))
    assert files_missing(local_day(DAY).span(), [whole]) == ()
    ends_early = Span(utc(1, 0), utc(16, 11))
    assert files_missing(local_day(DAY).span(), [ends_early]) == (DAY, date(2018, 6, 16))
