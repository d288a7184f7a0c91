"""A storm's figures: each held against sums made in another way, and the rules by small cases."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from statistics import median
from typing import Any

import pandas as pd
import pytest

from hailcalc.files import load_matrix
from hailcalc.portfolio import price_book
from hailcalc.portfolio.frames import in_minor_units
from hailcalc.problems import InputError
from hailcalc.storm.economics import StormFigures, Wait, economics
from hailcalc.storm.report import own_measures, panel_rest
from tests.books import random_rows, table_of
from tests.storm.invented import LINES, Table, figures, random_book, storm, vehicles

COPPERFIN = load_matrix(Path(__file__).parents[2] / "matrices" / "copperfin-2026.toml")

EVERY_COST: dict[str, Table] = {
    "crew": {"technicians": 4, "estimators": 2},
    "pay": {"by": "share", "share": "45", "removal_share": "55", "estimator_day": "260.00"},
    "costs": {
        "lot_day": "180.00", "travel": "420.00", "lodging_night": "95.00", "lead": "25.00",
        "referral": "4.25", "parts": "80", "sublet": "90", "loan_day": "32.00", "other": "1500.00",
    },
}  # fmt: skip


def amounts(of: StormFigures) -> dict[str, int]:
    """Every amount by kind; costs of one kind by vehicle and of the storm taken together."""
    found = {each.kind: each.amount for each in of.revenue}
    for each in (*of.direct_costs, *of.fixed_costs):
        found[f"cost {each.kind}"] = found.get(f"cost {each.kind}", 0) + each.amount
    return found


def share(percent: str, column: pd.Series[int]) -> int:
    """Per cent of each amount in whole cents, by decimals rather than whole numbers; summed."""
    rate = Decimal(percent) / 100
    cents = (int((rate * int(each)).quantize(Decimal(1), ROUND_HALF_UP)) for each in column)
    return sum(cents)


# --- sums made twice ---------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
def test_every_amount_is_that_of_plain_sums_over_the_book(seed: int) -> None:
    book, panels = random_book(300, seed)
    of = economics(storm(**EVERY_COST), book, panels)
    earns = book[book["state"] != "withdrawn"]
    agreed = earns[earns["state"] == "agreed"]
    unpaid = agreed["supplement_asked"] - agreed["supplement_paid"]
    brought = earns[list(LINES)].sum(axis=1) - earns["discount"]
    brought = brought.sub(unpaid, fill_value=0).astype("int64")
    expected = {kind: int(earns[kind].sum()) for kind in LINES} | {
        "discount": -int(earns["discount"].sum()),
        "unpaid": -int(unpaid.sum()),
        "cost pay": share("45", earns["repair"] + earns["oversize"] + earns["extra"]),
        "cost removal_pay": share("55", earns["removal"]),
        "cost estimators": 2 * 20 * 26_000,
        "cost lot": 23 * 18_000,
        "cost travel": 6 * 42_000,
        "cost lodging": 6 * 23 * 9_500,
        "cost lead": 300 * 2_500,
        "cost referral": share("4.25", brought),
        "cost parts": share("80", earns["part"] + earns["fastener"]),
        "cost sublet": share("90", earns["sublet"]),
        "cost loan": int(book["loan_days"].sum()) * 3_200,
        "cost other": 150_000,
    }
    assert amounts(of) == expected
    assert of.revenue_total == int(brought.sum())
    assert of.margin == sum(
        amount * (-1 if kind.startswith("cost") else 1) for kind, amount in expected.items()
    )
    waiting = earns[earns["state"] != "agreed"]
    assert of.open_revenue == int(brought[waiting.index].sum())


@pytest.mark.parametrize("by", ["insurer", "matrix", "body", "technician"])
@pytest.mark.parametrize("seed", range(3))
def test_splits_are_group_bys_and_add_up_to_the_whole(by: str, seed: int) -> None:
    book, panels = random_book(300, seed)
    of = economics(storm(**EVERY_COST), book, panels)
    earns = book["state"] != "withdrawn"
    settled = (book["supplement_asked"] - book["supplement_paid"]) * (book["state"] == "agreed")
    brought = (book[list(LINES)].sum(axis=1) - book["discount"] - settled) * earns
    grouped = brought.groupby(book[by]).agg(["size", "sum"])
    rows = of.splits[by]
    assert {row.name: (row.number, row.revenue) for row in rows} == {
        name: (int(size), int(total)) for name, size, total in grouped.itertuples()
    }
    assert sum(row.revenue for row in rows) == of.revenue_total
    assert sum(row.direct_cost or 0 for row in rows) == of.direct_total
    assert sum(row.repair_tenths for row in rows) == of.repair_tenths
    assert [row.revenue for row in rows] == sorted((row.revenue for row in rows), reverse=True)


def test_panels_and_what_belongs_to_no_panel_add_up_to_the_whole() -> None:
    book, panels = random_book(200, 7)
    of = economics(storm(), book, panels)
    kept = panels[panels["claim"].isin(book.loc[book["state"] != "withdrawn", "claim"])]
    grouped = kept.groupby("panel")["amount"].agg(["size", "sum"])
    assert {row.name: (row.number, row.revenue) for row in of.splits["panel"]} == {
        name: (int(size), int(total)) for name, size, total in grouped.itertuples()
    }
    assert sum(row.revenue for row in of.splits["panel"]) + panel_rest(of) == of.revenue_total


def test_a_book_priced_by_its_matrix_gives_the_sums_of_its_priced_table() -> None:
    rows = random_rows(150, 4, len(COPPERFIN.matrix.columns), seed=11)
    priced = price_book(table_of(rows, COPPERFIN.matrix.columns), COPPERFIN)
    assert priced.panels is not None
    of = economics(storm(), in_minor_units(priced.vehicles, 2), in_minor_units(priced.panels, 2))
    table = priced.vehicles.to_pandas()
    assert {each.kind: each.amount for each in of.revenue} == {
        kind: int(sum(table[kind]) * 100) for kind in LINES if sum(table[kind])
    }
    assert of.revenue_total == int(sum(table["subtotal"]) * 100)
    assert of.counts.incomplete == int((~table["complete"]).sum())


@pytest.mark.parametrize("seed", range(4))
def test_days_waited_are_those_between_the_columns(seed: int) -> None:
    book, _ = random_book(120, seed)
    day = date(2026, 7, 1)
    of = economics(storm(), book, as_of=day)
    for wait, (begins, ends) in zip(
        of.waits,
        [("drafted", "issued"), ("issued", "answered"), ("answered", "closed")],
        strict=True,
    ):
        begun = book[book[begins] != ""]
        left = begun[ends].where(begun[ends] != "", begun["closed"])
        done = pd.to_datetime(left[left != ""]) - pd.to_datetime(begun.loc[left != "", begins])
        days = [int(each.days) for each in done]
        still = begun.loc[left == "", begins]
        assert (wait.left, wait.waiting) == (len(days), len(still))
        assert wait.median_tenths == round(10 * median(days))
        assert abs(Decimal(wait.mean_tenths or 0) - Decimal(10 * sum(days)) / len(days)) <= Decimal(
            "0.5"
        )
        assert wait.longest == ((day - date.fromisoformat(min(still))).days if len(still) else None)


# --- rules of the trade ------------------------------------------------------------------------


def test_a_withdrawn_claim_earns_nothing_and_costs_its_lead_and_loan_car() -> None:
    row = {"repair": 50_000, "removal": 10_000, "part": 4_000, "loan_days": 3, "discount": 500}
    of = figures(
        row | {"state": "withdrawn"},
        pay={"removal_share": "50"},
        costs={"lead": "25.00", "loan_day": "30.00", "parts": "80", "referral": "5"},
    )
    assert of.revenue_total == 0
    assert amounts(of) == {"cost lead": 2_500, "cost loan": 9_000}
    assert (of.counts.withdrawn, of.counts.agreed, of.counts.open) == (1, 0, 0)
    assert of.repair_tenths == 0


@pytest.mark.parametrize("state", ["draft", "issued", "answered", ""])
def test_a_claim_that_is_neither_agreed_nor_withdrawn_is_open(state: str) -> None:
    of = figures({"state": state, "repair": 10_000}, {"repair": 5_000})
    assert (of.counts.open, of.counts.agreed) == (1, 1)
    assert (of.open_revenue, of.revenue_total) == (10_000, 15_000)


def test_pay_by_share_is_on_repair_labour_before_discounts() -> None:
    of = figures({"repair": 10_000, "oversize": 2_000, "extra": 1_001, "discount": 3_000})
    assert amounts(of)["cost pay"] == 6_501  # half of 130.01 is 65.005, away from zero


def test_pay_by_the_day_is_fixed_whatever_is_sold() -> None:
    pay = {"by": "day", "share": None, "day": "380.00"}
    for rows in ([], [{"repair": 10_000}], [{"repair": 10_000}] * 5):
        of = figures(*rows, pay=pay)
        assert {each.kind: each.amount for each in of.fixed_costs} == {"pay": 2 * 20 * 38_000}
        assert of.direct_total == 0


def test_removal_is_paid_by_the_hour_of_its_operations() -> None:
    of = figures({"removal": 10_000, "removal_minutes": 505}, pay={"removal_hour": "24.00"})
    assert amounts(of)["cost removal_pay"] == 2_020  # 50.5 minutes at 24.00 an hour


def test_removal_earns_the_technician_nothing_unless_the_file_says_so() -> None:
    assert "cost removal_pay" not in amounts(figures({"removal": 10_000, "removal_minutes": 505}))


def test_costs_of_the_storm_follow_people_days_and_nights() -> None:
    of = figures(
        storm={"first_day": "2026-05-15", "last_day": "2026-05-19", "work_days": 3},
        crew={"technicians": 3, "estimators": 1},
        pay={"estimator_day": "200.00"},
        costs={"lot_day": "10.00", "travel": "100.00", "lodging_night": "50.00", "other": "7.00"},
    )
    assert {each.kind: each.amount for each in of.fixed_costs} == {
        "estimators": 1 * 3 * 20_000,
        "lot": 5 * 1_000,
        "travel": 4 * 10_000,
        "lodging": 4 * 5 * 5_000,
        "other": 700,
    }
    assert of.technician_days == 9


def test_days_worked_are_every_day_but_sundays_unless_they_are_given() -> None:
    fortnight: Table = {"first_day": "2026-05-15", "last_day": "2026-05-28"}
    assert storm(storm=fortnight).days == 12
    assert storm(storm=fortnight | {"work_days": 9}).days == 9


def test_referral_is_on_what_is_left_after_discounts_and_unpaid_supplements() -> None:
    row = {
        "repair": 100_000,
        "discount": 10_000,
        "supplement_asked": 5_000,
        "supplement_paid": 1_000,
    }
    assert amounts(figures(row, costs={"referral": "10"}))["cost referral"] == 8_600


def test_supplements_are_won_part_paid_lost_or_not_settled() -> None:
    asked = {"supplement_asked": 1_000, "repair": 9_000}
    of = figures(
        asked | {"supplement_paid": 1_000},
        asked | {"supplement_paid": 400},
        asked,
        asked | {"state": "issued"},
        asked | {"state": "withdrawn"},
        {"repair": 9_000},
    )
    found = of.supplements
    assert (found.number, found.won, found.part, found.lost, found.open) == (4, 1, 1, 1, 1)
    sums = (found.asked, found.paid, found.unpaid, found.unsettled)
    assert sums == (4_000, 1_400, 1_600, 1_000)
    assert amounts(of)["unpaid"] == -1_600


def test_how_long_claims_waited_and_who_waits_still() -> None:
    of = economics(
        storm(),
        vehicles(
            {"drafted": "2026-05-15", "issued": "2026-05-16", "answered": "2026-05-26"},
            {"drafted": "2026-05-15", "issued": "2026-05-19", "state": "issued"},
            {"drafted": "2026-05-20", "state": "draft"},
            {"drafted": "2026-05-18", "state": "draft"},
            {},
        ),
        as_of=date(2026, 5, 30),
    )
    assert of.waits == (
        Wait("draft", 2, 25, 25, 2, 12),
        Wait("issued", 1, 100, 100, 1, 11),
        Wait("answered", 0, None, None, 1, 4),
    )


def test_what_came_after_the_day_asked_had_not_happened_on_it() -> None:
    course = {"drafted": "2026-05-15", "issued": "2026-05-19", "answered": "2026-05-26"}
    of = economics(storm(), vehicles(course, {"drafted": "2026-05-27"}), as_of=date(2026, 5, 20))
    assert of.waits == (
        Wait("draft", 1, 40, 40, 0, None),
        Wait("issued", 0, None, None, 1, 1),
        Wait("answered", 0, None, None, 0, None),
    )


def test_no_referral_fee_is_paid_back_for_a_vehicle_below_nothing() -> None:
    row = {"repair": 10_000, "discount": 30_000}
    assert amounts(figures(row, costs={"referral": "10"})).get("cost referral", 0) == 0


def test_a_claim_withdrawn_before_the_next_step_has_left_its_state_that_day() -> None:
    gone = {"drafted": "2026-05-15", "issued": "2026-05-16", "closed": "2026-05-20"}
    of = figures(gone | {"state": "withdrawn"})
    assert [(wait.left, wait.waiting, wait.mean_tenths) for wait in of.waits] == [
        (1, 0, 10), (1, 0, 40), (0, 0, None),
    ]  # fmt: skip


def test_a_book_in_another_currency_than_the_storms_is_refused() -> None:
    with pytest.raises(InputError, match="vehicles priced in EUR, expected the storm's own"):
        economics(storm(), vehicles({}, {"currency": "EUR"}))


def test_figures_that_divide_by_vehicles_days_and_hours() -> None:
    of = figures(
        {"repair": 60_000, "repair_minutes": 6_000},
        {"repair": 40_001, "repair_minutes": 3_000},
        pay={"share": "0"},
        costs={"other": "200.00"},
    )
    assert own_measures(of) == {
        "margin": 80_001,
        "per-vehicle": 40_001,  # 400.005, away from zero
        "per-technician-day": 2_000,  # 40 technician-days
        "per-repair-hour": 5_333,  # 15 hours
        "share": 8_000,
        "revenue": 100_001,
    }


def test_a_storm_without_vehicles_has_costs_and_no_ratio() -> None:
    of = figures(costs={"other": "200.00"})
    assert (of.counts.all, of.revenue_total, of.margin) == (0, 0, -20_000)
    found = own_measures(of)
    assert (found["per-vehicle"], found["per-repair-hour"], found["share"]) == (None, None, None)
    assert found["per-technician-day"] == -500


def test_a_book_without_facts_counts_every_claim_as_open() -> None:
    told = ("insurer", "technician", "state", "drafted", "issued", "answered", "closed",
            "supplement_asked", "supplement_paid", "discount", "loan_days")  # fmt: skip
    of = economics(storm(), vehicles({"repair": 5_000}).drop(columns=list(told)))
    assert (of.counts.open, of.revenue_total) == (1, 5_000)
    assert [row.name for row in of.splits["technician"]] == [""]


@pytest.mark.parametrize(
    "change",
    [
        lambda frame: frame.sample(frac=1, random_state=3),
        lambda frame: frame.iloc[::-1],
    ],
)
def test_the_order_of_the_book_does_not_matter(change: Callable[[Any], Any]) -> None:
    book, panels = random_book(150, 9)
    one = economics(storm(**EVERY_COST), book, panels)
    other = economics(storm(**EVERY_COST), change(book), panels)
    assert one._replace(sample=other.sample) == other
