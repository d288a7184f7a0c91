"""What a storm brought in, what it cost, and where its margin came from.

Vehicles and panels come priced, as frames of whole numbers: money in minor units, minutes in
tenths (`hailcalc.portfolio.frames`). The idea that keeps everything adding up: each cost that
depends on a vehicle is reckoned and rounded once *for that vehicle*, so a storm's figures, its
splits by insurer or technician, and the resamples of `compare` are all sums of the same whole
numbers. Costs of the storm as such (the lot, lodging, pay by the day) belong to no vehicle and are
never split.

Before tax throughout: tax goes to the authorities and is nobody's margin. A withdrawn claim earns
nothing and may still cost its lead fee and loan car. Pay by share is on labour as priced, before
discounts. Pay by the day is for every technician on every day worked, busy or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hailcalc.money import minor_units, round_half_away, rounded
from hailcalc.problems import InputError, Problem

if TYPE_CHECKING:
    import pandas as pd

    from hailcalc.storm.model import Storm

Whole = NDArray[np.int64]
Yes = NDArray[np.bool_]

REVENUE_LABELS = {
    "repair": "Repair",
    "oversize": "Oversize dents",
    "extra": "Extras",
    "removal": "Removal & refit",
    "fastener": "Fasteners",
    "part": "Parts",
    "sublet": "Sublet",
    "refinish": "Refinish",
    "body_work": "Body work and replacements",
    "minimum": "Topping up to the minimum",
    "discount": "Discounts",
    "unpaid": "Supplements not paid",
}
"""Kinds of line, and what is taken off: the last two are negative."""

COST_LABELS = {
    "pay": "Technicians",
    "removal_pay": "Removal & refit work",
    "estimators": "Estimators",
    "lot": "Lot",
    "travel": "Travel",
    "lodging": "Lodging",
    "lead": "Lead fees",
    "referral": "Referral fees",
    "parts": "Parts and fasteners bought",
    "sublet": "Sublet bought",
    "loan": "Loan cars",
    "other": "Other",
}
_TAKEN_OFF = ("discount", "unpaid")
_LINES = tuple(kind for kind in REVENUE_LABELS if kind not in _TAKEN_OFF)
_STEPS = (
    ("draft", "drafted", "issued"),
    ("issued", "issued", "answered"),
    ("answered", "answered", "closed"),
)
"""States, the day on which a claim comes into each, and the day on which it leaves it."""
SPLITS = ("insurer", "matrix", "body", "technician")


class Amount(NamedTuple):
    """Money of one kind, minor units."""

    kind: str
    label: str
    amount: int


class Counts(NamedTuple):
    """Vehicles: `open` are neither agreed nor withdrawn, `incomplete` have a panel without a price.

    `aside` could not be priced at all and are in no figure.
    """

    all: int
    agreed: int
    open: int
    withdrawn: int
    incomplete: int
    aside: int


class Wait(NamedTuple):
    """Days that claims spend in a state: of those that left it, and how many are in it still.

    `mean_tenths` and `median_tenths` are tenths of a day, None if none has left it. `longest` are
    the days that the oldest one still in it has waited as of the day asked.
    """

    state: str
    left: int
    mean_tenths: int | None
    median_tenths: int | None
    waiting: int
    longest: int | None


class Supplements(NamedTuple):
    """Supplements on claims that are not withdrawn: how many, what they asked and what was paid.

    `won` were paid in full, `part` in part, `lost` not at all; `open` are not settled. Sums: what
    is asked is paid, unpaid, or `unsettled` still.
    """

    number: int
    won: int
    part: int
    lost: int
    open: int
    asked: int
    paid: int
    unpaid: int
    unsettled: int


class SplitRow(NamedTuple):
    """One part of a storm: vehicles (or panels), revenue, direct cost, tenths of minutes sold.

    `direct_cost` are the costs that belong to vehicles; None for panels, which have none.
    """

    name: str
    number: int
    revenue: int
    direct_cost: int | None
    repair_tenths: int


class Sample(NamedTuple):
    """What one vehicle adds, for all of them: the arrays that resampling draws from."""

    claims: tuple[str, ...]
    revenue: Whole
    contribution: Whole
    repair_tenths: Whole


class StormFigures(NamedTuple):
    """A storm's figures, minor units of its currency.

    `open_revenue` is the part of the revenue that belongs to claims not agreed yet.
    """

    storm: Storm
    counts: Counts
    revenue: tuple[Amount, ...]
    open_revenue: int
    direct_costs: tuple[Amount, ...]
    fixed_costs: tuple[Amount, ...]
    repair_tenths: int
    removal_tenths: int
    waits: tuple[Wait, ...]
    as_of: date
    supplements: Supplements
    splits: dict[str, tuple[SplitRow, ...]]
    sample: Sample

    @property
    def revenue_total(self) -> int:
        """Invoiced before tax, less discounts and supplements that were not paid."""
        return sum(each.amount for each in self.revenue)

    @property
    def direct_total(self) -> int:
        """Costs that belong to vehicles."""
        return sum(each.amount for each in self.direct_costs)

    @property
    def fixed_total(self) -> int:
        """Costs of the storm as such."""
        return sum(each.amount for each in self.fixed_costs)

    @property
    def cost_total(self) -> int:
        """All costs."""
        return self.direct_total + self.fixed_total

    @property
    def margin(self) -> int:
        """Revenue less all costs."""
        return self.revenue_total - self.cost_total

    @property
    def technician_days(self) -> int:
        """Technicians times days worked."""
        return self.storm.crew.technicians * self.storm.days


def economics(
    storm: Storm,
    vehicles: pd.DataFrame,
    panels: pd.DataFrame | None = None,
    *,
    aside: int = 0,
    as_of: date | None = None,
) -> StormFigures:
    """A storm's figures from its priced vehicles and panels.

    `as_of` is the day up to which claims have waited, what came after it left out of the waits (of
    nothing else): if not given the last day of work, or the last day on which anything happened to
    a claim, whichever is later.
    Raises InputError if something was priced in another currency than the storm's.
    """
    _require_currency(storm, vehicles)
    columns = _Columns(vehicles)
    withdrawn = columns.state == "withdrawn"
    earns = ~withdrawn
    is_open = earns & (columns.state != "agreed")
    lines = {kind: columns.whole(kind) * earns for kind in _LINES}
    unpaid, supplements = _supplements(columns, earns)
    revenue = {**lines, "discount": -columns.whole("discount") * earns, "unpaid": -unpaid}
    brought = _sum(revenue, columns.size)
    costs = _direct_costs(storm, columns, lines, brought)
    spent = _sum(costs, columns.size)
    tenths = columns.whole("repair_minutes") * earns
    day = as_of or _last_day(storm, columns)
    return StormFigures(
        storm=storm,
        counts=Counts(
            all=columns.size + aside,
            agreed=int((columns.state == "agreed").sum()),
            open=int(is_open.sum()),
            withdrawn=int(withdrawn.sum()),
            incomplete=int((~columns.complete & earns).sum()),
            aside=aside,
        ),
        revenue=_amounts(REVENUE_LABELS, revenue),
        open_revenue=int(brought[is_open].sum()),
        direct_costs=_amounts(COST_LABELS, costs),
        fixed_costs=_fixed_costs(storm),
        repair_tenths=int(tenths.sum()),
        removal_tenths=int((columns.whole("removal_minutes") * earns).sum()),
        waits=tuple(_wait(columns, *step, day) for step in _STEPS),
        as_of=day,
        supplements=supplements,
        splits={
            **{name: _split(columns.text(name), brought, spent, tenths) for name in SPLITS},
            "panel": _panel_split(panels, columns, withdrawn),
        },
        sample=Sample(tuple(columns.text("claim")), brought, brought - spent, tenths),
    )


class _Columns:
    """A frame's columns as arrays; one that the book does not have is nothing throughout."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self._frame = frame
        self.size = len(frame)
        self.state = np.array(self.text("state"), dtype=object)
        self.complete: Yes = frame["complete"].to_numpy(dtype=bool)

    def whole(self, name: str) -> Whole:
        """Money, minutes or a number."""
        if name not in self._frame.columns:
            return np.zeros(self.size, np.int64)
        column: Whole = self._frame[name].to_numpy(dtype=np.int64)
        return column

    def text(self, name: str) -> list[str]:
        """Names, empty where there is none."""
        if name not in self._frame.columns:
            return [""] * self.size
        return [str(cell) for cell in self._frame[name].fillna("").tolist()]

    def days(self, name: str) -> list[date | None]:
        """Dates, None where there is none."""
        return [_day(cell) for cell in self.text(name)]


def _sum(columns: dict[str, Whole], size: int) -> Whole:
    total: Whole = np.zeros(size, np.int64)
    for column in columns.values():
        total += column
    return total


def _day(cell: str) -> date | None:
    try:
        return date.fromisoformat(cell[:10])
    except ValueError:
        return None


def _last_day(storm: Storm, columns: _Columns) -> date:
    days = (
        day for name in ("drafted", "issued", "answered", "closed") for day in columns.days(name)
    )
    return max(storm.storm.last_day, *(day for day in days if day is not None), date.min)


def _require_currency(storm: Storm, vehicles: pd.DataFrame) -> None:
    wrong = sorted(set(vehicles["currency"].unique()) - {storm.storm.currency})
    if wrong:
        found = f"vehicles priced in {', '.join(wrong)}"
        expected = f"the storm's own currency, {storm.storm.currency}"
        raise InputError([Problem(storm.storm.name, ("storm", "currency"), found, expected)])


def _direct_costs(
    storm: Storm, columns: _Columns, lines: dict[str, Whole], brought: Whole
) -> dict[str, Whole]:
    """What each vehicle costs, by kind, each rounded once for the vehicle."""
    pay, costs, decimals = storm.pay, storm.costs, storm.decimals
    earns = columns.state != "withdrawn"
    result: dict[str, Whole] = {}
    if pay.by == "share":
        result["pay"] = _share(pay.share, lines["repair"] + lines["oversize"] + lines["extra"])
    if pay.removal_hour is not None:
        rate = minor_units(pay.removal_hour, decimals)
        result["removal_pay"] = round_half_away(
            rate * columns.whole("removal_minutes") * earns, 600
        )
    elif pay.removal_share is not None:
        result["removal_pay"] = _share(pay.removal_share, lines["removal"])
    result["lead"] = np.full(columns.size, minor_units(costs.lead, decimals), np.int64)
    # Nobody pays a fee back for a vehicle that brought less than nothing.
    result["referral"] = _share(costs.referral, np.maximum(brought, 0))
    result["parts"] = _share(costs.parts, lines["fastener"] + lines["part"])
    result["sublet"] = _share(costs.sublet, lines["sublet"])
    result["loan"] = columns.whole("loan_days") * minor_units(costs.loan_day, decimals)
    return result


def _share(percent: str | None, amounts: Whole) -> Whole:
    rate = Fraction(percent or "0")
    share: Whole = round_half_away(rate.numerator * amounts, rate.denominator * 100)
    return share


def _fixed_costs(storm: Storm) -> tuple[Amount, ...]:
    """Costs of the storm as such: sums of whole minor units."""
    pay, costs, crew = storm.pay, storm.costs, storm.crew
    people = crew.technicians + crew.estimators

    def money(text: str | None) -> int:
        return minor_units(text or "0", storm.decimals)

    found = {
        "pay": money(pay.day) * crew.technicians * storm.days if pay.by == "day" else 0,
        "estimators": money(pay.estimator_day) * crew.estimators * storm.days,
        "lot": money(costs.lot_day) * storm.nights,
        "travel": money(costs.travel) * people,
        "lodging": money(costs.lodging_night) * people * storm.nights,
        "other": money(costs.other),
    }
    return tuple(
        Amount(kind, COST_LABELS[kind], amount) for kind, amount in found.items() if amount
    )


def _amounts(labels: dict[str, str], columns: dict[str, Whole]) -> tuple[Amount, ...]:
    sums = {kind: int(columns[kind].sum()) for kind in labels if kind in columns}
    return tuple(Amount(kind, labels[kind], amount) for kind, amount in sums.items() if amount)


def _supplements(columns: _Columns, earns: Yes) -> tuple[Whole, Supplements]:
    """What was not paid of each vehicle's supplements, and how they went."""
    asked = columns.whole("supplement_asked") * earns
    paid = np.minimum(columns.whole("supplement_paid") * earns, asked)
    some = asked > 0
    settled = some & (columns.state == "agreed")
    unpaid: Whole = np.where(settled, asked - paid, 0)
    return unpaid, Supplements(
        number=int(some.sum()),
        won=int((settled & (paid == asked)).sum()),
        part=int((settled & (paid > 0) & (paid < asked)).sum()),
        lost=int((settled & (paid == 0)).sum()),
        open=int((some & ~settled).sum()),
        asked=int(asked.sum()),
        paid=int(paid[settled].sum()),
        unpaid=int(unpaid.sum()),
        unsettled=int(asked[some & ~settled].sum()),
    )


def _wait(columns: _Columns, state: str, begins: str, ends: str, day: date) -> Wait:
    done: list[int] = []
    waiting: list[int] = []
    for begin, end, closed in zip(
        columns.days(begins), columns.days(ends), columns.days("closed"), strict=True
    ):
        if begin is None or begin > day:
            continue
        # A claim withdrawn before the next step has left the state all the same.
        left = end or closed
        if left is not None and left <= day:
            done.append((left - begin).days)
        else:
            waiting.append((day - begin).days)
    done.sort()
    half = len(done) // 2
    middle = done[half : half + 1] if len(done) % 2 else done[half - 1 : half + 1]
    return Wait(
        state=state,
        left=len(done),
        mean_tenths=rounded(Fraction(10 * sum(done), len(done))) if done else None,
        median_tenths=rounded(Fraction(10 * sum(middle), len(middle))) if done else None,
        waiting=len(waiting),
        longest=max(waiting, default=None),
    )


def _split(
    names: Sequence[str], revenue: Whole, cost: Whole, tenths: Whole
) -> tuple[SplitRow, ...]:
    """Sums by name, the one with the most revenue first."""
    places: dict[str, list[int]] = {}
    for place, name in enumerate(names):
        places.setdefault(name, []).append(place)
    rows = [
        SplitRow(
            name,
            len(where),
            int(revenue[where].sum()),
            int(cost[where].sum()),
            int(tenths[where].sum()),
        )
        for name, where in places.items()
    ]
    return tuple(sorted(rows, key=lambda row: (-row.revenue, row.name)))


def _panel_split(
    panels: pd.DataFrame | None, columns: _Columns, withdrawn: Yes
) -> tuple[SplitRow, ...]:
    """What is charged on each panel, withdrawn vehicles left out; no vehicle lines or discounts."""
    if panels is None or panels.empty:
        return ()
    gone = {claim for claim, out in zip(columns.text("claim"), withdrawn, strict=True) if out}
    kept = panels[~panels["claim"].isin(gone)]
    rows = [
        SplitRow(str(name), len(part), int(part["amount"].sum()), None, 0)
        for name, part in kept.groupby("panel", observed=True)
    ]
    return tuple(sorted(rows, key=lambda row: (-row.revenue, row.name)))
