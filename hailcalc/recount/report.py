"""A recount as plain text and as JSON.

Text in aligned columns for people and pipes; JSON with every figure for machines, money as
decimal strings, rates and kappa as decimals with three places. Marks are referred to by
their numbers in each claim file, from 0.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from hailcalc.columns import columns_text
from hailcalc.estimate import PanelResult
from hailcalc.money import money_text, rounded
from hailcalc.recount.compare import MarkedTwice, PanelRecount, Recount
from hailcalc.vehicle import PANEL_LABELS, with_label

PLAUSIBLE = (
    "May differ: two careful counters who each find {found} of 100 dents, independently, stay "
    "within this difference 19 times in 20 (1.96 times the root of the dents in both counts "
    "together times the share overlooked; the {found} are common practice, no source)."
)


def recount_text(recount: Recount, labels: str = "us") -> str:
    """A recount for people: what was counted, what the marks say, what each would cost."""
    names = PANEL_LABELS[labels]
    parts = [_head(recount)]
    parts.append(_counts_table(recount, names) if recount.panels else "Neither has a panel.\n")
    marked = [panel for panel in recount.panels if panel.marked is not None]
    if marked:
        parts.append(_marks_table(recount, marked, names))
        parts.append(_money_table(recount, marked, names))
    parts.append("\n".join(with_label(each, names) for each in remarks(recount)) + "\n")
    return "\n".join(parts)


def _head(recount: Recount) -> str:
    claim = recount.a.claim
    header = recount.a.compiled.matrix.matrix
    lines = [
        f"Recount of claim {claim.claim.number}, {claim.vehicle.body}; "
        f"matrix {header.name} revision {header.revision}"
    ]
    for side, estimate in (("A", recount.a), ("B", recount.b)):
        who = estimate.claim.claim.estimator or "no name given"
        day = estimate.claim.claim.dated
        lines.append(f"{side}: {who}{f', {day}' if day else ''}")
    return "\n".join(lines) + "\n"


def _counts_table(recount: Recount, names: dict[str, str]) -> str:
    currency = recount.a.compiled.tables.currency
    rows = [
        ["Panel", "A", "B", "Differ", "May differ", "Verdict", "Band A", "Band B", f"{currency} A",
         f"{currency} B", "Differ"]
    ]  # fmt: skip
    for panel in recount.panels:
        rows.append([names[panel.panel], *_counts_row(recount, panel)])
    decimals = recount.a.compiled.tables.decimals
    totals = [recount.a.totals.total, recount.b.totals.total]
    sums = [money_text(total, decimals) for total in (*totals, totals[1] - totals[0])]
    so_far = "" if recount.a.totals.complete and recount.b.totals.complete else " so far"
    rows.append([f"Claim, total{so_far}", "", "", "", "", "", "", "", *sums])
    return columns_text(rows, right=[1, 2, 3, 8, 9, 10])


def _counts_row(recount: Recount, panel: PanelRecount) -> list[str]:
    decimals = recount.a.compiled.tables.decimals
    a, b = panel.a, panel.b
    money = [_sum(result, decimals) for result in (a, b)]
    difference = ""
    if a is not None and b is not None and a.priced and b.priced:
        difference = money_text(b.total - a.total, decimals)
    return [
        _number(a),
        _number(b),
        "" if panel.difference is None else f"{panel.difference:+d}",
        plausible_words(panel),
        verdict(panel),
        band_of(a),
        band_of(b),
        *money,
        difference,
    ]


def plausible_words(panel: PanelRecount) -> str:
    """By how much two careful counts of the panel may differ."""
    return "" if panel.plausible is None else f"up to {panel.plausible}"


def verdict(panel: PanelRecount) -> str:
    """Whether the difference is one that careful counters could have."""
    if panel.within is None:
        return ""
    if panel.plausible is None:
        return "within the sample's margin" if panel.within else "beyond the sample's margin"
    return "plausible" if panel.within else "more than that"


def _number(result: PanelResult | None) -> str:
    if result is None:
        return "-"
    return f"~{result.count.all}" if result.panel.sample is not None else str(result.count.all)


def band_of(result: PanelResult | None) -> str:
    """The band of a panel's count; a dash for a panel that is not there."""
    if result is None:
        return "-"
    if result.band is None:
        return "beyond" if not result.priced else ""
    low, high = result.band
    return str(low) if low == high else f"{low}–{high}"


def _sum(result: PanelResult | None, decimals: int) -> str:
    if result is None:
        return "-"
    return money_text(result.total, decimals) if result.priced else "no price"


def _marks_table(recount: Recount, panels: list[PanelRecount], names: dict[str, str]) -> str:
    rows = [
        ["Marked by both", "Both", "Only A", "Only B", "A found", "B found", "Dents there", "95 %",
         "Same size", "Kappa"]
    ]  # fmt: skip
    rows += [[names[panel.panel], *marks_texts(panel)] for panel in panels]
    return columns_text(rows, right=[1, 2, 3, 4, 5, 9])


def marks_texts(panel: PanelRecount) -> list[str]:
    """What the marks of a panel say: both, only A, only B, rates, dents there, 95 %, sizes."""
    marked = panel.marked
    assert marked is not None, "only panels with marks in both claims get here"
    counts = marked.counts
    return [
        str(counts.both),
        str(counts.only_a),
        str(counts.only_b),
        percent(counts.rate_a),
        percent(counts.rate_b),
        about(marked),
        interval(marked),
        f"{marked.same_size} of {counts.both}",
        decimal(marked.kappa),
    ]


def _money_table(recount: Recount, panels: list[PanelRecount], names: dict[str, str]) -> str:
    tables = recount.a.compiled.tables
    rows = [[f"Would cost, {tables.currency}", "A", "B", "Both counts together", "Dents there"]]
    for panel in panels:
        texts = [_money(cost, tables.decimals) for cost in panel_costs(panel)]
        if not is_estimated(panel):
            texts[-1] = "-"
        rows.append([names[panel.panel], *texts])
    if len(panels) > 1:
        texts = [_money(total, tables.decimals) for total in costs_together(panels)]
        if not all(map(is_estimated, panels)):
            texts[-1] = "-"
        rows.append(["These panels", *texts])
    return columns_text(rows, right=[1, 2, 3, 4])


def costs_together(panels: Sequence[PanelRecount]) -> list[int | None]:
    """The same four sums over several panels; None where a panel has none."""
    by_column = zip(*map(panel_costs, panels), strict=True)
    return [_total_of(column) for column in by_column]


def _total_of(costs: Sequence[int | None]) -> int | None:
    known = [cost for cost in costs if cost is not None]
    return sum(known) if len(known) == len(costs) else None


def is_estimated(panel: PanelRecount) -> bool:
    """Whether there is an estimate of the dents that are there."""
    return panel.marked is not None and panel.marked.estimated is not None


def panel_costs(panel: PanelRecount) -> list[int | None]:
    """What a panel that both marked would cost by A, by B, by their union and by the estimate."""
    marked = panel.marked
    assert marked is not None, "only panels with marks in both claims get here"
    sides = [
        result.total if result is not None and result.priced else None
        for result in (panel.a, panel.b)
    ]
    return [*sides, marked.total_union, marked.total_estimate]


def _money(amount: int | None, decimals: int) -> str:
    return "no price" if amount is None else money_text(amount, decimals)


def percent(rate: Fraction | None) -> str:
    """A share in percent, whole."""
    return "-" if rate is None else f"{rounded(100 * rate)} %"


def decimal(value: Fraction | None) -> str:
    """A figure with two decimals; a dash where there is none."""
    return "-" if value is None else f"{float(value):.2f}"


def about(marked: MarkedTwice) -> str:
    """The estimated number of dents, if there is one."""
    return "-" if marked.estimated is None else f"about {marked.estimated}"


def interval(marked: MarkedTwice) -> str:
    """The 95 % interval of the number of dents."""
    upper = marked.counts.upper
    return f"{marked.counts.lower} or more" if upper is None else f"{marked.counts.lower}–{upper}"


def remarks(recount: Recount) -> Iterator[str]:
    """What the figures rest on, and what must be said about them."""
    if any(panel.plausible is not None for panel in recount.panels):
        yield PLAUSIBLE.format(found=f"{float(100 * recount.found):g}")
    marked = [panel.marked for panel in recount.panels if panel.marked is not None]
    if any(each.estimated is None for each in marked):
        yield "Where no dent is common to both, how many are there cannot be estimated."
    if marked:
        yield (
            f"Marks up to {recount.gate_mm:g} mm apart are taken as one dent, paired so that the "
            "distances are least. A found the share of B's dents that A has too, and the reverse. "
            f"Dents there: Chapman 1951, Seber 1970; it {marked[0].counts.assumptions}. Small "
            "dents are harder to find, so there are rather more."
        )
        yield (
            "Both counts together: each matched dent once, with the mean of both sizes. Dents "
            "there: the same, scaled to the estimated number. Kappa: agreement on size classes "
            "beyond chance, 1 is full (Cohen 1960)."
        )
    yield from recount.notes
    yield "An aid to two people who look again at the vehicle together, not a decision."


def recount_json(recount: Recount) -> dict[str, Any]:
    """A recount for machines."""
    tables = recount.a.compiled.tables
    header = recount.a.compiled.matrix.matrix
    return {
        "claim": recount.a.claim.claim.number,
        "matrix": {"name": header.name, "revision": header.revision},
        "currency": tables.currency,
        "gate_mm": recount.gate_mm,
        "found_percent": f"{float(100 * recount.found):g}",
        "counters": {
            side: {
                "estimator": estimate.claim.claim.estimator,
                "total": money_text(estimate.totals.total, tables.decimals),
                "complete": estimate.totals.complete,
            }
            for side, estimate in (("a", recount.a), ("b", recount.b))
        },
        "panels": [_panel_json(panel, tables.decimals) for panel in recount.panels],
        "remarks": list(remarks(recount)),
    }


def recount_json_text(recount: Recount) -> str:
    """A recount as the text of its JSON file."""
    return json.dumps(recount_json(recount), ensure_ascii=False, indent=2) + "\n"


def _panel_json(panel: PanelRecount, decimals: int) -> dict[str, Any]:
    found: dict[str, Any] = {
        "panel": panel.panel,
        "a": _side_json(panel.a, decimals),
        "b": _side_json(panel.b, decimals),
        "difference": panel.difference,
        "plausible_difference": panel.plausible,
        "plausible": panel.within,
    }
    if panel.marked is not None:
        found["marked"] = _marked_json(panel, panel.marked, decimals)
    return found


def _side_json(result: PanelResult | None, decimals: int) -> dict[str, Any] | None:
    if result is None:
        return None
    return {
        "dents": result.count.all,
        "sampled": result.panel.sample is not None,
        "band": None if result.band is None else list(result.band),
        "total": money_text(result.total, decimals) if result.priced else None,
    }


def _marked_json(panel: PanelRecount, marked: MarkedTwice, decimals: int) -> dict[str, Any]:
    counts = marked.counts
    names = ("a", "b", "union", "estimate")
    costs = zip(names, panel_costs(panel), strict=True)
    return {
        "found_by_both": counts.both,
        "only_a": counts.only_a,
        "only_b": counts.only_b,
        "union": counts.union,
        "rate_a": _three_places(counts.rate_a),
        "rate_b": _three_places(counts.rate_b),
        "estimate": marked.estimated,
        "chapman": _three_places(counts.chapman if counts.both else None),
        "standard_error": f"{float(counts.variance) ** 0.5:.3f}" if counts.both else None,
        "interval": [counts.lower, counts.upper],
        "level_percent": 95,
        "same_size": marked.same_size,
        "kappa": _three_places(marked.kappa),
        "would_cost": {
            name: None if cost is None else money_text(cost, decimals) for name, cost in costs
        },
        "pairs": [list(pair) for pair in marked.matching.pairs],
        "marks_only_a": list(marked.matching.only_a),
        "marks_only_b": list(marked.matching.only_b),
    }


def _three_places(value: Fraction | None) -> str | None:
    return None if value is None else f"{float(value):.3f}"
