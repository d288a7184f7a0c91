"""A storm's figures, a comparison and a what-if as plain text, JSON and CSV.

Text in aligned columns for people and pipes; JSON and CSV with every figure for machines and
spreadsheets. Money is before tax, in decimal strings of its currency; days to a tenth; shares in
per cent with two decimals.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from textwrap import fill
from typing import Any

from hailcalc.columns import columns_text, counted, grouped
from hailcalc.money import money_text, rounded
from hailcalc.spreadsheet import Cell, csv_text
from hailcalc.storm.compare import (
    FEW,
    FEWEST_FOR_LIMITS,
    MEASURE_LABELS,
    MEASURES,
    Comparison,
    Measure,
    Measured,
    Ranked,
    measured,
    totals_of,
)
from hailcalc.storm.economics import SplitRow, StormFigures
from hailcalc.storm.whatif import WhatIf

WHAT_IT_IS = (
    "The shop's own figures: estimates under the named matrices and the costs of the storm's file, "
    "before tax. No offer, and no decision on anybody's cover."
)
"""What every report on a storm says of itself."""

WHAT_INTERVALS_ARE = (
    "Limits hold {level} of 100 storms whose vehicles are drawn again, as many, with replacement, "
    "from those in the book ({resamples} draws each); fixed costs stay as they were. They know "
    "that other vehicles might have come; they know nothing of more or fewer vehicles, of another "
    "crew, price or hail."
)

SPLIT_LABELS = {
    "insurer": "Insurer",
    "matrix": "Matrix",
    "body": "Body",
    "technician": "Technician",
    "panel": "Panel",
}
STATE_LABELS = {"draft": "Draft", "issued": "Issued", "answered": "Answered"}
NO_NAME = "(none named)"
REST = "(no single panel)"
"""Revenue of no panel: removal, vehicle lines, less discounts and unpaid supplements."""

_SUPPLEMENT_SUMS = ("asked", "paid", "unpaid", "unsettled")
_WIDTH = 100


def panel_rest(figures: StormFigures) -> int:
    """Revenue that the split by panel leaves over, so that it adds up to the storm's."""
    return figures.revenue_total - sum(row.revenue for row in figures.splits["panel"])


def own_measures(figures: StormFigures) -> dict[Measure, int | None]:
    """A storm's measures in its own currency, None where there is nothing to divide by."""
    sums = totals_of(figures.sample)
    found = {name: measured(sums, figures, name, Fraction(1)) for name in MEASURES}
    return {name: None if value is None else int(value[0]) for name, value in found.items()}


# --- one storm ---------------------------------------------------------------------------------


def storm_text(figures: StormFigures) -> str:
    """A storm for people: vehicles, revenue and cost by kind, measures, waits, splits."""
    parts = [
        _head(figures),
        _money_table(figures),
        _measures_table(figures),
        _waits_table(figures),
        _supplements_text(figures),
        *(_split_table(figures, by) for by in SPLIT_LABELS if figures.splits.get(by)),
        _wrapped("Fixed costs belong to no vehicle and are in no split. " + WHAT_IT_IS),
    ]
    return "\n".join(parts)


def _head(figures: StormFigures) -> str:
    header, crew, counts = figures.storm.storm, figures.storm.crew, figures.counts
    place = f", {header.place}" if header.place and header.place not in header.title else ""
    people = counted(crew.technicians, "technician")
    if crew.estimators:
        people += f" and {counted(crew.estimators, 'estimator')}"
    standing = f"{counts.agreed} agreed, {counts.open} open, {counts.withdrawn} withdrawn"
    lines = [
        f"{header.title}{place}",
        f"Hail on {header.date}; worked {header.first_day} to {header.last_day}, "
        f"{counted(figures.storm.days, 'day')}, by {people}",
        f"{counted(counts.all, 'vehicle')}: {standing}"
        + (f", {counts.aside} that could not be priced" if counts.aside else ""),
    ]
    return "\n".join(lines) + "\n" + "".join(map(_wrapped, notes(figures)))


def notes(figures: StormFigures) -> list[str]:
    """What must be said of a storm's figures before anybody trusts them."""
    counts, found = figures.counts, []
    currency, decimals = figures.storm.storm.currency, figures.storm.decimals
    if counts.open:
        money = grouped(figures.open_revenue, decimals)
        found.append(f"Of the revenue {currency} {money} is on claims not agreed yet.")
    if counts.incomplete:
        found.append(
            f"{counted(counts.incomplete, 'vehicle')} with a panel that has no price: counted "
            "with the rest of it alone."
        )
    if counts.aside:
        found.append(f"{counted(counts.aside, 'vehicle')} without any price, in no figure.")
    if counts.withdrawn:
        found.append(
            "Margin a vehicle, and the vehicles that pay the fixed costs, count withdrawn ones too."
        )
    return found


def _money_table(figures: StormFigures) -> str:
    decimals, whole = figures.storm.decimals, figures.revenue_total

    def row(label: str, amount: int, kind: str = "") -> list[str]:
        return [label, grouped(amount, decimals), _share_text(amount, whole), kind]

    rows = [["", figures.storm.storm.currency, "% of revenue", ""]]
    rows += [row(each.label, each.amount) for each in figures.revenue]
    rows.append(row("Revenue", whole))
    rows += [row(each.label, -each.amount, "by vehicle") for each in figures.direct_costs]
    rows += [row(each.label, -each.amount, "fixed") for each in figures.fixed_costs]
    rows.append(row("Margin", figures.margin))
    return columns_text(rows, right=(1, 2))


def _measures_table(figures: StormFigures) -> str:
    rows = [["Measure", figures.storm.storm.currency]]
    for name, value in own_measures(figures).items():
        if name not in ("margin", "revenue", "share"):
            rows.append([MEASURE_LABELS[name], _measure_text(value, name, figures.storm.decimals)])
    rows.append(["Technician-days", str(figures.technician_days)])
    rows.append(["Hours of repair sold", _tenths(rounded(Fraction(figures.repair_tenths, 60)))])
    rows.append(
        ["Hours of removal & refit", _tenths(rounded(Fraction(figures.removal_tenths, 60)))]
    )
    return columns_text(rows, right=(1,))


def _waits_table(figures: StormFigures) -> str:
    rows = [
        [
            "Days in state",
            "Left it",
            "Median",
            "Mean",
            f"In it on {figures.as_of}",
            "Longest so far",
        ]
    ]
    for wait in figures.waits:
        rows.append(
            [
                STATE_LABELS[wait.state],
                str(wait.left),
                _tenths(wait.median_tenths),
                _tenths(wait.mean_tenths),
                str(wait.waiting),
                "-" if wait.longest is None else str(wait.longest),
            ]
        )
    return columns_text(rows, right=range(1, 6))


def _supplements_text(figures: StormFigures) -> str:
    found, decimals = figures.supplements, figures.storm.decimals
    if not found.number:
        return "No supplements.\n"
    asked, paid, unpaid, unsettled = (
        grouped(amount, decimals)
        for amount in (found.asked, found.paid, found.unpaid, found.unsettled)
    )
    still = f", {unsettled} not settled" if found.unsettled else ""
    return (
        f"{counted(found.number, 'supplement')}: {found.won} paid in full, {found.part} in part, "
        f"{found.lost} not at all, {found.open} not settled; {figures.storm.storm.currency} "
        f"{asked} asked: {paid} paid, {unpaid} lost{still}\n"
    )


def _split_table(figures: StormFigures, by: str) -> str:
    rows, decimals, whole = figures.splits[by], figures.storm.decimals, figures.revenue_total
    label, currency = SPLIT_LABELS[by], figures.storm.storm.currency
    if by == "panel":
        table = [[label, "Panels", f"Revenue {currency}", "% of revenue"]]
        shown = [(row.name, str(row.number), row.revenue) for row in rows]
        shown.append((REST, "", panel_rest(figures)))
        for name, number, revenue in shown:
            share = _share_text(revenue, whole)
            table.append([name, number, grouped(revenue, decimals), share])
        return columns_text(table, right=range(1, 4))
    table = [
        [label, "Vehicles", f"Revenue {currency}", "% of revenue", "Direct cost", "Direct margin",
         "% of its revenue"]
    ]  # fmt: skip
    for row in rows:
        cost = _direct_cost(row)
        table.append(
            [
                row.name or NO_NAME,
                str(row.number),
                grouped(row.revenue, decimals),
                _share_text(row.revenue, whole),
                grouped(cost, decimals),
                grouped(row.revenue - cost, decimals),
                _share_text(row.revenue - cost, row.revenue),
            ]
        )
    return columns_text(table, right=range(1, 7))


def _direct_cost(row: SplitRow) -> int:
    return row.direct_cost or 0


def storm_json(figures: StormFigures) -> dict[str, Any]:
    """A storm with every figure, for machines."""
    header, decimals = figures.storm.storm, figures.storm.decimals

    def money(amount: int) -> str:
        return money_text(amount, decimals)

    return {
        "storm": header.name,
        "title": header.title,
        "place": header.place,
        "hail": header.date.isoformat(),
        "first_day": header.first_day.isoformat(),
        "last_day": header.last_day.isoformat(),
        "currency": header.currency,
        "technicians": figures.storm.crew.technicians,
        "estimators": figures.storm.crew.estimators,
        "work_days": figures.storm.days,
        "technician_days": figures.technician_days,
        "vehicles": {**figures.counts._asdict(), "priced": len(figures.sample.claims)},
        "revenue": {each.kind: money(each.amount) for each in figures.revenue},
        "revenue_total": money(figures.revenue_total),
        "open_revenue": money(figures.open_revenue),
        "direct_costs": {each.kind: money(each.amount) for each in figures.direct_costs},
        "fixed_costs": {each.kind: money(each.amount) for each in figures.fixed_costs},
        "cost_total": money(figures.cost_total),
        "margin": money(figures.margin),
        "measures": {
            name: _measure_json(value, name, decimals)
            for name, value in own_measures(figures).items()
        },
        "repair_minutes": _tenths(figures.repair_tenths),
        "removal_minutes": _tenths(figures.removal_tenths),
        "as_of": figures.as_of.isoformat(),
        "waits": [
            {
                "state": wait.state,
                "left": wait.left,
                "median_days": _tenths_json(wait.median_tenths),
                "mean_days": _tenths_json(wait.mean_tenths),
                "waiting": wait.waiting,
                "longest_days": wait.longest,
            }
            for wait in figures.waits
        ],
        "supplements": _supplements_json(figures),
        "splits": {by: list(_split_json(figures, by)) for by in SPLIT_LABELS},
        "notes": notes(figures),
    }


def _supplements_json(figures: StormFigures) -> dict[str, Any]:
    found = figures.supplements._asdict()
    for name in _SUPPLEMENT_SUMS:
        found[name] = money_text(found[name], figures.storm.decimals)
    return found


def _split_json(figures: StormFigures, by: str) -> Iterator[dict[str, Any]]:
    decimals = figures.storm.decimals
    for row in figures.splits.get(by, ()):
        found: dict[str, Any] = {
            "name": row.name or None,
            "number": row.number,
            "revenue": money_text(row.revenue, decimals),
        }
        if row.direct_cost is not None:
            found["direct_cost"] = money_text(row.direct_cost, decimals)
            found["direct_margin"] = money_text(row.revenue - row.direct_cost, decimals)
            found["repair_minutes"] = _tenths(row.repair_tenths)
        yield found
    if by == "panel":
        rest = money_text(panel_rest(figures), decimals)
        yield {"name": None, "number": None, "revenue": rest}


def storm_csv(figures: StormFigures) -> str:
    """A storm as a table: one figure a row, with what it is a figure of."""
    head = ("storm", "part", "item", "figure", "value", "unit")
    name = figures.storm.storm.name
    return csv_text(head, ((name, *row) for row in _storm_rows(figures)))


def _storm_rows(figures: StormFigures) -> Iterator[tuple[Cell, ...]]:
    currency, decimals = figures.storm.storm.currency, figures.storm.decimals

    def money(part: str, item: str, figure: str, amount: int) -> tuple[Cell, ...]:
        return part, item, figure, money_text(amount, decimals), currency

    for kind, number in figures.counts._asdict().items():
        yield "vehicles", kind, "number", number, ""
    yield "vehicles", "priced", "number", len(figures.sample.claims), ""
    for each in figures.revenue:
        yield money("revenue", each.kind, "amount", each.amount)
    for part, amounts in (
        ("direct cost", figures.direct_costs),
        ("fixed cost", figures.fixed_costs),
    ):
        for each in amounts:
            yield money(part, each.kind, "amount", each.amount)
    yield money("total", "revenue", "amount", figures.revenue_total)
    yield money("total", "cost", "amount", figures.cost_total)
    yield money("total", "margin", "amount", figures.margin)
    for name, value in own_measures(figures).items():
        unit = "%" if name == "share" else currency
        yield "measure", name, "value", _measure_json(value, name, decimals), unit
    for wait in figures.waits:
        yield "wait", wait.state, "left", wait.left, ""
        yield "wait", wait.state, "median", _tenths_json(wait.median_tenths), "days"
        yield "wait", wait.state, "mean", _tenths_json(wait.mean_tenths), "days"
        yield "wait", wait.state, "waiting", wait.waiting, ""
        yield "wait", wait.state, "longest", wait.longest, "days"
    for kind, number in figures.supplements._asdict().items():
        if kind in _SUPPLEMENT_SUMS:
            yield money("supplement", kind, "amount", number)
        else:
            yield "supplement", kind, "number", number, ""
    for by in SPLIT_LABELS:
        for row in figures.splits.get(by, ()):
            yield by, row.name, "number", row.number, ""
            yield money(by, row.name, "revenue", row.revenue)
            if row.direct_cost is not None:
                yield money(by, row.name, "direct cost", row.direct_cost)
    yield money("panel", "", "revenue", panel_rest(figures))


# --- several storms ----------------------------------------------------------------------------


def comparison_text(comparison: Comparison) -> str:
    """A comparison for people: the answer, the ranking, the chances, every measure."""
    said = answer(comparison) + "\n" + "".join(map(_wrapped, comparison_notes(comparison)))
    parts = [said, _ranking_table(comparison)]
    if len(comparison.storms) > 1:
        parts.append(_chances_table(comparison))
    parts += [_every_measure(comparison), _break_even_table(comparison)]
    if comparison.rates:
        given = ", ".join(
            f"one {code} = {rate_text(rate)} {comparison.currency}"
            for code, rate in sorted(comparison.rates.items())
        )
        parts.append(f"Rates as given: {given}\n")
    parts.append(_wrapped(what_intervals_are(comparison.level, comparison.resamples)))
    parts.append(_wrapped(WHAT_IT_IS))
    return "\n".join(parts)


def what_intervals_are(level: int, resamples: int) -> str:
    """What an interval means, in words."""
    return WHAT_INTERVALS_ARE.format(level=level, resamples=f"{resamples:,}")


def comparison_notes(comparison: Comparison) -> list[str]:
    """What must be said of storms before anybody trusts their ranking."""
    found = []
    for each in comparison.storms:
        title, counts = each.figures.storm.storm.title, each.figures.counts
        if counts.aside:
            found.append(
                f"{title}: {counts.aside:,} of {counted(counts.all, 'vehicle')} could not be "
                "priced and are in no figure, while the fixed costs are whole."
            )
        if not each.has_limits:
            found.append(
                f"{title}: {counted(each.priced, 'vehicle')}, too few for limits and chances, "
                f"which need {FEWEST_FOR_LIMITS}."
            )
        elif each.priced < FEW:
            found.append(
                f"{title}: {counted(each.priced, 'vehicle')}; with so few the limits are narrower "
                "than they should be."
            )
    return found


def answer(comparison: Comparison) -> str:
    """Which storm comes first by the measure, and how sure that is, in words."""
    first = comparison.storms[0]
    value = first.measures[comparison.by]
    label = _label(comparison)
    if value.value is None:
        return f"No storm has a figure for {label}."
    name = first.figures.storm.storm.title
    said = f"{name} comes first by {label}: {_with_unit(value.value, comparison)}"
    if value.low is not None and value.high is not None:
        low, high = (_with_unit(each, comparison) for each in (value.low, value.high))
        said += f" ({comparison.level} in 100: {low} to {high})"
    if len(comparison.storms) > 1:
        second = comparison.storms[1].figures.storm.storm.title
        chance = comparison.chances[0][1]
        if chance is not None:
            said += f". Chance that it beats {second}, the next: {chance_text(chance)}"
    return said + "."


def _label(comparison: Comparison) -> str:
    label = MEASURE_LABELS[comparison.by]
    return label[0].lower() + label[1:]


def _with_unit(value: int, comparison: Comparison) -> str:
    text = _measure_text(value, comparison.by, comparison.decimals)
    return f"{text} %" if comparison.by == "share" else f"{comparison.currency} {text}"


def _ranking_table(comparison: Comparison) -> str:
    unit = "%" if comparison.by == "share" else comparison.currency
    rows = [
        ["", "Storm", "Vehicles", f"{MEASURE_LABELS[comparison.by].removesuffix(', %')} ({unit})",
         "Lower", "Upper"]
    ]  # fmt: skip
    for rank, each in enumerate(comparison.storms, start=1):
        rows.append(
            [
                str(rank),
                each.figures.storm.storm.name,
                vehicles_text(each),
                *_three(each.measures[comparison.by], comparison.by, comparison.decimals),
            ]
        )
    return columns_text(rows, right=(0, 2, 3, 4, 5))


def vehicles_text(each: Ranked) -> str:
    """How many vehicles the figures are of, and of how many if some have no price."""
    priced = f"{each.priced:,}"
    return f"{priced} of {each.figures.counts.all:,}" if each.figures.counts.aside else priced


def _three(found: Measured, name: Measure, decimals: int) -> list[str]:
    return [_measure_text(value, name, decimals) for value in found]


def _chances_table(comparison: Comparison) -> str:
    names = [each.figures.storm.storm.name for each in comparison.storms]
    rows = [["Chance that … beats", *names]]
    for name, chances in zip(names, comparison.chances, strict=True):
        rows.append([name, *("" if each is None else chance_text(each) for each in chances)])
    return columns_text(rows, right=range(1, len(names) + 1))


def chance_text(chance: Fraction) -> str:
    """A chance in whole per cent; never 0 or 100, which no resampling can know."""
    if chance < Fraction(1, 100):
        return "under 1 %"
    if chance > Fraction(99, 100):
        return "over 99 %"
    return f"{rounded(100 * chance)} %"


def _every_measure(comparison: Comparison) -> str:
    rows = [["Measure", "Storm", "", "Value", "Lower", "Upper"]]
    for name in MEASURES:
        for at, each in enumerate(comparison.storms):
            rows.append(
                [
                    "" if at else MEASURE_LABELS[name].removesuffix(", %"),
                    each.figures.storm.storm.name,
                    "%" if name == "share" else comparison.currency,
                    *_three(each.measures[name], name, comparison.decimals),
                ]
            )
    return columns_text(rows, right=(3, 4, 5))


def _break_even_table(comparison: Comparison) -> str:
    rows = [["Vehicles that pay the fixed costs", "", "Fixed", "Needed", "Lower", "Upper", "Had"]]
    for each in comparison.storms:
        figures = each.figures
        rows.append(
            [
                figures.storm.storm.name,
                figures.storm.storm.currency,
                grouped(figures.fixed_total, figures.storm.decimals),
                *_break_even_texts(each),
                f"{each.priced:,}",
            ]
        )
    return columns_text(rows, right=range(2, 7))


def _break_even_texts(each: Ranked) -> list[str]:
    """The number that is needed and its limits."""
    value, *limits = ("none do" if value is None else f"{value:,}" for value in each.break_even)
    return [value, *(limits if each.has_limits else ["-", "-"])]


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """A comparison with every figure, for machines; storms in the order of their ranks."""
    names = [each.figures.storm.storm.name for each in comparison.storms]
    return {
        "by": comparison.by,
        "currency": comparison.currency,
        "rates": {code: rate_text(rate) for code, rate in sorted(comparison.rates.items())},
        "level": comparison.level,
        "resamples": comparison.resamples,
        "answer": answer(comparison),
        "notes": comparison_notes(comparison),
        "ranking": [
            _ranked_json(rank, each, comparison)
            for rank, each in enumerate(comparison.storms, start=1)
        ],
        "chances": {
            name: {
                other: _four(chance)
                for other, chance in zip(names, chances, strict=True)
                if other != name
            }
            for name, chances in zip(names, comparison.chances, strict=True)
        },
        "storms": [storm_json(each.figures) for each in comparison.storms],
    }


def _ranked_json(rank: int, each: Ranked, comparison: Comparison) -> dict[str, Any]:
    return {
        "rank": rank,
        "storm": each.figures.storm.storm.name,
        "vehicles": each.figures.counts.all,
        "priced": each.priced,
        "aside": each.figures.counts.aside,
        "measures": {
            name: {
                limit: _measure_json(value, name, comparison.decimals)
                for limit, value in found._asdict().items()
            }
            for name, found in each.measures.items()
        },
        "break_even": each.break_even._asdict(),
    }


def comparison_csv(comparison: Comparison) -> str:
    """A comparison as a table: one row a storm, the best first."""
    head = ["rank", "storm", "title", "currency", "vehicles", "priced"]
    for name in MEASURES:
        head += [name, f"{name} lower", f"{name} upper"]
    head += ["break-even", "break-even lower", "break-even upper", "chance to beat the next"]
    rows = []
    for at, each in enumerate(comparison.storms):
        header = each.figures.storm.storm
        row: list[Cell] = [at + 1, header.name, header.title, comparison.currency,
                           each.figures.counts.all, each.priced]  # fmt: skip
        for name in MEASURES:
            row += [_measure_json(v, name, comparison.decimals) for v in each.measures[name]]
        last = at + 1 == len(comparison.storms)
        row += [*each.break_even, None if last else _four(comparison.chances[at][at + 1])]
        rows.append(row)
    return csv_text(head, rows)


# --- what if -----------------------------------------------------------------------------------


def whatif_text(found: WhatIf) -> str:
    """A what-if for people: what changes, what is held fixed, before, after and the difference."""
    header, decimals = found.before.storm.storm, found.before.storm.decimals
    *kinds, margin = found.rows
    rows = [[header.currency, "Before", "After", "Difference"]]
    for row in [*(row for row in kinds if row.difference), margin, *found.measures]:
        amounts = (row.before, row.after, row.difference)
        rows.append([row.label, *(grouped(amount, decimals) for amount in amounts)])
    incomplete = found.after.counts.incomplete - found.before.counts.incomplete
    lines = [_difference_text(found), *_pace_text(found)]
    if incomplete:
        more = "more" if incomplete > 0 else "fewer"
        count = counted(abs(incomplete), "vehicle")
        lines.append(f"Not like for like: {count} {more} with a panel that has no price.")
    return "\n".join(
        [
            f"{header.title}: {found.change.words}\n{_wrapped(found.change.held)}",
            columns_text(rows, right=(1, 2, 3)),
            _wrapped(" ".join(lines)),
            _wrapped("Lines that stay as they are have no row. Before and after are resampled "
                     "with the same vehicles. " + WHAT_IT_IS),
        ]
    )  # fmt: skip


def _difference_text(found: WhatIf) -> str:
    """By how much the margin changes, and between which limits if there are any."""
    storm, difference = found.before.storm, found.rows[-1].difference
    if found.low is not None and found.high is not None:
        low, high = (grouped(each, storm.decimals) for each in (found.low, found.high))
        limits = f"{found.level} in 100: {low} to {high}"
    elif len(found.before.sample.claims) < FEWEST_FOR_LIMITS:
        limits = f"no limits: they need {FEWEST_FOR_LIMITS} vehicles"
    elif difference:
        limits = "whichever vehicles had come: fixed costs alone move"
    else:
        return "The margin stays as it is."
    amount = f"{storm.storm.currency} {grouped(difference, storm.decimals)}"
    return f"The margin changes by {amount} ({limits})."


def _pace_text(found: WhatIf) -> Iterator[str]:
    """Whether other people or days could have done the work, as far as figures tell."""
    before, after = found.paces
    if found.before.technician_days == found.after.technician_days or not before:
        return
    yield (
        f"Hours of repair sold in an hour of a technician: {_hundredths(before)} before, "
        f"{_hundredths(after)} after."
    )
    if after > before:
        yield (
            f"The same vehicles in fewer technician-days ask for {_hundredths(after / before)} "
            "times the pace: what a crew cannot do is not sold, and this margin is then not made."
        )
    else:
        yield "The days gained are idle in these figures: no more vehicles come by themselves."


def _hundredths(value: Fraction) -> str:
    return grouped(rounded(100 * value), 2)


def whatif_json(found: WhatIf) -> dict[str, Any]:
    """A what-if with every figure, for machines."""
    decimals = found.before.storm.decimals

    def money(amount: int) -> str:
        return money_text(amount, decimals)

    return {
        "storm": found.before.storm.storm.name,
        "change": found.change.words,
        "held": found.change.held,
        "currency": found.before.storm.storm.currency,
        "rows": [
            {
                "label": row.label,
                "before": money(row.before),
                "after": money(row.after),
                "difference": money(row.difference),
            }
            for row in (*found.rows, *found.measures)
        ],
        "margin_difference": {
            "value": money(found.after.margin - found.before.margin),
            "low": None if found.low is None else money(found.low),
            "high": None if found.high is None else money(found.high),
            "level": found.level,
        },
        "hours_sold_an_hour": dict(
            zip(("before", "after"), map(_hundredths, found.paces), strict=True)
        ),
        "before": storm_json(found.before),
        "after": storm_json(found.after),
    }


def whatif_csv(found: WhatIf) -> str:
    """A what-if as a table: one row a figure."""
    decimals = found.before.storm.decimals
    rows = [
        [
            row.label,
            *(money_text(each, decimals) for each in (row.before, row.after, row.difference)),
        ]
        for row in (*found.rows, *found.measures)
    ]
    return csv_text(["figure", "before", "after", "difference"], rows)


def json_text(document: dict[str, Any]) -> str:
    """A report as JSON text."""
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


# --- figures as text ---------------------------------------------------------------------------


def _measure_text(value: int | None, name: Measure, decimals: int) -> str:
    return "-" if value is None else grouped(value, _decimals(name, decimals))


def _decimals(name: Measure, decimals: int) -> int:
    """Decimals of a measure in print: a share has two whatever the currency."""
    return 2 if name == "share" else decimals


def _measure_json(value: int | None, name: Measure, decimals: int) -> str | None:
    if value is None:
        return None
    return money_text(value, _decimals(name, decimals))


def _share_text(amount: int, whole: int) -> str:
    """Per cent of a whole, to a tenth; nothing where the whole is not above zero."""
    return money_text(rounded(Fraction(1000 * amount, whole)), 1) if whole > 0 else "-"


def _tenths(value: int | None) -> str:
    return _tenths_json(value) or "-"


def _tenths_json(value: int | None) -> str | None:
    return None if value is None else money_text(value, 1)


def _four(value: Fraction | None) -> str | None:
    return None if value is None else money_text(rounded(value * 10_000), 4)


def rate_text(rate: Fraction) -> str:
    """A rate as it was given: a decimal without trailing zeros."""
    digits = 0
    while (rate * 10**digits).denominator != 1:
        digits += 1
    return money_text((rate * 10**digits).numerator, digits)


def _wrapped(text: str) -> str:
    return fill(text, _WIDTH) + "\n"
