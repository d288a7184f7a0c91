"""What if: one change over the same vehicles, what is held fixed, and the difference's limits."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from hailcalc.money import rounded
from hailcalc.problems import InputError
from hailcalc.storm.compare import drawn_places
from hailcalc.storm.economics import StormFigures, economics
from hailcalc.storm.report import whatif_text
from hailcalc.storm.whatif import Change, WhatIf, change_of, what_if
from tests.storm.invented import Table, random_book, storm

BOOK, PANELS = random_book(120, seed=3)
TABLES: dict[str, Table] = {
    "crew": {"technicians": 4, "estimators": 1},
    "pay": {"by": "share", "share": "45", "removal_share": "55", "estimator_day": "260.00"},
    "costs": {"lodging_night": "95.00", "travel": "420.00", "lot_day": "180.00"},
}


def asked(book_after: object = None, **change: object) -> WhatIf:
    """The change over the book; `book_after` if it is priced anew."""
    of = storm(**TABLES)
    before = economics(of, BOOK, PANELS)

    def after(change: Change) -> StormFigures:
        return economics(change.storm, BOOK if book_after is None else book_after, PANELS)  # type: ignore[arg-type]

    return what_if(before, change_of(of, **change), after)  # type: ignore[arg-type]


def moved(found: WhatIf) -> dict[str, int]:
    return {row.label: row.difference for row in found.rows if row.difference}


def limits(found: WhatIf) -> tuple[int, int]:
    """The limits of the difference, where there are any."""
    assert found.low is not None
    assert found.high is not None
    return found.low, found.high


def test_another_share_changes_the_technicians_pay_and_nothing_else() -> None:
    found = asked(pay="share=50")
    assert set(moved(found)) == {"Cost: Technicians", "Margin"}
    assert found.after.storm.pay.share == "50"
    assert found.before.revenue_total == found.after.revenue_total
    assert moved(found)["Margin"] == moved(found)["Cost: Technicians"] < 0


def test_every_difference_adds_up_to_that_of_the_margin() -> None:
    for change in (
        {"pay": "share=30"},
        {"technicians": 7},
        {"days": 12},
        {"pay": "removal_hour=30.00"},
    ):
        found = asked(**change)
        *lines, margin = found.rows
        assert sum(row.difference for row in lines) == margin.difference
        assert (margin.before, margin.after) == (found.before.margin, found.after.margin)


def test_pay_by_the_day_takes_the_place_of_a_share() -> None:
    found = asked(pay="day=380.00")
    assert found.after.storm.pay.by == "day"
    pay = {each.kind: each.amount for each in found.after.fixed_costs}["pay"]
    assert pay == 4 * 20 * 38_000
    low, high = limits(found)
    assert low < found.after.margin - found.before.margin < high


def test_more_technicians_cost_beds_and_travel_and_sell_nothing_more() -> None:
    found = asked(technicians=6)
    assert moved(found) == {
        "Cost: Travel (fixed)": -2 * 42_000,
        "Cost: Lodging (fixed)": -2 * 23 * 9_500,
        "Margin": -2 * (42_000 + 23 * 9_500),
    }
    assert (found.low, found.high) == (None, None)
    said = " ".join(whatif_text(found).split())
    assert "no more are repaired" in said
    assert "(whichever vehicles had come: fixed costs alone move)" in said
    assert "The days gained are idle in these figures" in said


def test_fewer_technicians_would_have_to_work_faster_and_it_is_said_by_how_much() -> None:
    found = asked(technicians=1)
    before, after = found.paces
    assert before == Fraction(found.before.repair_tenths, 600) / (4 * 20 * 8)
    assert after == 4 * before
    said = " ".join(whatif_text(found).split())
    assert "in fewer technician-days ask for 4.00 times the pace" in said
    assert "1 technician in place of 4" in said


def test_the_margin_is_told_by_vehicle_and_by_technician_day_too() -> None:
    found = asked(technicians=6)
    vehicle, day = found.measures
    assert vehicle.before == rounded(Fraction(found.before.margin, len(BOOK)))
    assert day.before == rounded(Fraction(found.before.margin, 4 * 20))
    assert day.after == rounded(Fraction(found.after.margin, 6 * 20))


def test_a_change_that_moves_nothing_says_so() -> None:
    assert "The margin stays as it is." in whatif_text(asked(BOOK, matrix="the-same"))


def test_fewer_days_save_the_estimators_and_what_stays_is_said() -> None:
    found = asked(days=15)
    assert moved(found)["Cost: Estimators (fixed)"] == 5 * 26_000
    assert found.after.technician_days == 60
    assert "no more are repaired" in found.change.held


def test_another_matrix_prices_the_same_vehicles_anew() -> None:
    dearer = BOOK.assign(repair=BOOK["repair"] * 2)
    found = asked(dearer, matrix="dearer")
    earns = BOOK["state"] != "withdrawn"
    assert moved(found)["Repair"] == int(BOOK.loc[earns, "repair"].sum())
    assert set(moved(found)) == {"Repair", "Cost: Technicians", "Margin"}
    assert "dearer" in found.change.words


def test_limits_are_of_the_difference_vehicle_by_vehicle() -> None:
    found = asked(pay="share=50")
    each = (found.after.sample.contribution - found.before.sample.contribution).tolist()
    draws = np.concatenate(drawn_places("small-hail", len(each), 4_000)).tolist()
    sums = sorted(sum(each[at] for at in places) for places in draws)
    assert (found.low, found.high) == (sums[200], sums[3_799])


def test_a_difference_is_known_better_than_either_margin() -> None:
    found = asked(pay="share=46")
    margins = asked(pay="day=380.00")
    (low, high), (lowest, highest) = limits(found), limits(margins)
    assert high - low < (highest - lowest) / 10


def test_vehicles_that_only_one_matrix_prices_are_refused() -> None:
    with pytest.raises(InputError, match="3 vehicles that can be priced in one case alone"):
        asked(BOOK.iloc[3:], matrix="other")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, "found no changes"),
        ({"days": 5, "technicians": 5}, "found 2 changes"),
        ({"pay": "share"}, "KEY=VALUE"),
        ({"pay": "bonus=5"}, "KEY=VALUE"),
        ({"pay": "share=101"}, 'pay.share: found "101"'),
        ({"pay": "share=5 %"}, 'pay.share: found "5 %"'),
        ({"pay": "day=12.345"}, 'pay.day: found "12.345"'),
        ({"technicians": 0}, "crew.technicians: found 0"),
        ({"days": 0}, "storm.work_days: found 0"),
        ({"days": 24}, "storm.work_days: found 24"),
    ],
)
def test_a_change_that_cannot_be_is_told(change: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        asked(**change)
