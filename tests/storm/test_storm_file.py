"""storm.toml: what it says, and what is told when it says something that cannot be."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from hailcalc.problems import InputError
from hailcalc.storm.model import read_storm, storm_from_data
from tests.storm.invented import Table, storm_data

WHOLE = """
[storm]
name = "small-hail"
title = "A small hail"
place = "Nowhere-on-Sea"
date = 2026-05-12
first_day = 2026-05-15
last_day = 2026-06-06
work_days = 19
hours_a_day = "8.5"
currency = "USD"
book = "book.csv"
matrix = "copperfin-2026"

[crew]
technicians = 5
estimators = 1

[pay]
by = "share"
share = "45"
removal_hour = "24.00"
estimator_day = "260.00"

[costs]
lot_day = "180.00"
referral = "4"
"""


def mistakes(data: Any, folder: str | None = None) -> dict[str, str]:
    """Places and what was found there."""
    with pytest.raises(InputError) as caught:
        storm_from_data(data, "storm.toml", folder)
    return {problem.place: problem.found for problem in caught.value.problems}


def test_a_whole_file_is_read() -> None:
    storm = read_storm(WHOLE, "storm.toml", "small-hail")
    assert storm.storm.date == date(2026, 5, 12)
    assert (storm.days, storm.nights, storm.decimals) == (19, 23, 2)
    assert (storm.pay.share, storm.pay.removal_hour, storm.costs.referral) == ("45", "24.00", "4")
    assert (storm.costs.parts, storm.costs.lead) == ("0", "0")


def test_costs_may_be_left_out() -> None:
    data = storm_data()
    del data["costs"]
    assert storm_from_data(data).costs.other == "0"


@pytest.mark.parametrize(
    ("tables", "place", "found"),
    [
        ({"pay": {"share": "100.5"}}, "pay.share", '"100.5"'),
        ({"pay": {"removal_share": "101"}}, "pay.removal_share", '"101"'),
        ({"costs": {"referral": "250"}}, "costs.referral", '"250"'),
        ({"costs": {"parts": "100.0001"}}, "costs.parts", '"100.0001"'),
        ({"costs": {"sublet": "101"}}, "costs.sublet", '"101"'),
        ({"costs": {"lead": "-5"}}, "costs.lead", '"-5"'),
        ({"costs": {"lead": 25}}, "costs.lead", "25"),
        ({"storm": {"last_day": "2026-05-14"}}, "storm.last_day", "2026-05-14"),
        ({"storm": {"first_day": "2026-05-11"}}, "storm.first_day", "2026-05-11"),
        ({"storm": {"last_day": "2026-13-01"}}, "storm.last_day", '"2026-13-01"'),
        ({"storm": {"work_days": 24}}, "storm.work_days", "24"),
        ({"storm": {"work_days": 0}}, "storm.work_days", "0"),
        ({"storm": {"hours_a_day": "25"}}, "storm.hours_a_day", '"25"'),
        ({"storm": {"hours_a_day": "0"}}, "storm.hours_a_day", '"0"'),
        ({"storm": {"currency": "XYZ"}}, "storm.currency", '"XYZ"'),
        ({"storm": {"currency": None}}, "storm.currency", "nothing"),
        ({"storm": {"book": "../elsewhere.csv"}}, "storm.book", '"../elsewhere.csv"'),
        ({"storm": {"name": "Small Hail"}}, "storm.name", '"Small Hail"'),
        ({"storm": {"matrix": "../x"}}, "storm.matrix", '"../x"'),
        ({"crew": {"technicians": 0}}, "crew.technicians", "0"),
        ({"crew": {"technicians": 2.5}}, "crew.technicians", "2.5"),
        ({"pay": {"by": "month"}}, "pay.by", '"month"'),
        ({"pay": {"by": "day", "share": None}}, "pay.day", "nothing"),
        ({"pay": {"share": None}}, "pay.share", "nothing"),
        ({"pay": {"removal_share": "5", "removal_hour": "5"}}, "pay.removal_hour", "both"),
        ({"pay": {"estimator_day": "1.005"}}, "pay.estimator_day", '"1.005"'),
        ({"costs": {"lodging_night": "95.001"}}, "costs.lodging_night", '"95.001"'),
    ],
)
def test_a_mistake_is_told_with_its_place(tables: dict[str, Table], place: str, found: str) -> None:
    assert mistakes(storm_data(**tables)) == {place: found}


def test_money_has_the_decimals_of_the_currency() -> None:
    tables: dict[str, Table] = {"storm": {"currency": "JPY"}, "costs": {"travel": "42000.0"}}
    assert mistakes(storm_data(**tables)) == {"costs.travel": '"42000.0"'}
    dinars: dict[str, Table] = {"storm": {"currency": "KWD"}, "costs": {"travel": "42.125"}}
    assert storm_from_data(storm_data(**dinars)).costs.travel == "42.125"


def test_an_unknown_key_is_told_with_what_may_be_meant() -> None:
    with pytest.raises(InputError, match='unknown key "lot_days", expected "lot_day"'):
        storm_from_data(storm_data(costs={"lot_days": "5"}))


def test_the_name_is_that_of_its_folder() -> None:
    assert mistakes(storm_data(), folder="great-hail") == {"storm.name": '"small-hail"'}


def test_mistakes_of_shape_are_told_at_once() -> None:
    found = mistakes(
        storm_data(
            storm={"title": 5, "date": "yesterday"}, crew={"technicians": 0}, pay={"by": "month"}
        )
    )
    assert list(found) == ["storm.title", "storm.date", "crew.technicians", "pay.by"]


def test_mistakes_against_the_rules_are_told_at_once() -> None:
    found = mistakes(
        storm_data(
            storm={"last_day": "2026-05-14"},
            pay={"share": "145", "removal_share": "5", "removal_hour": "5.255"},
            costs={"parts": "101"},
        )
    )
    assert set(found) == {
        "storm.last_day", "pay.share", "pay.removal_hour", "costs.parts",
    }  # fmt: skip


def test_a_mistake_of_shape_in_one_table_hides_none_in_another() -> None:
    found = mistakes(
        storm_data(
            storm={"last_day": "2026-05-14", "currency": "JPY"},
            crew={"technicians": 0},
            pay={"by": "day", "share": "145", "estimator_day": "260.50"},
            costs={"lead": 25},
        )
    )
    assert set(found) == {
        "storm.last_day", "crew.technicians", "pay.day", "pay.share", "pay.estimator_day",
        "costs.lead",
    }  # fmt: skip


def test_a_storm_has_a_day_of_work() -> None:
    sunday: Table = {"first_day": "2026-05-17", "last_day": "2026-05-17"}
    assert mistakes(storm_data(storm=sunday)) == {"storm.work_days": "nothing but a Sunday"}
    assert storm_from_data(storm_data(storm=sunday | {"work_days": 1})).days == 1


@pytest.mark.parametrize("data", [[], {}, {"storm": []}, {"storm": {"name": 1}, "pay": "5"}])
def test_anything_at_all_is_a_mistake_rather_than_a_crash(data: Any) -> None:
    assert mistakes(data)


def test_text_that_is_no_toml_says_where() -> None:
    with pytest.raises(InputError, match=r"storm.toml: found .*line 2"):
        read_storm("[storm]\nname = small\n", "storm.toml")
