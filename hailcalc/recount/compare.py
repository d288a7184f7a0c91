"""Two counts of one vehicle compared, panel by panel and, where there are marks, mark by mark.

A and B are claims on the same vehicle, priced under the same matrix; sizes in mm, amounts in
minor units. Every panel is compared in dents, band and money, and held against what two
careful counters could differ by. Where both counters marked a panel on its outline, marks are
matched one to one, and from what both found, only A and only B, follow each one's detection
rate, the number of dents that are there, and the panel's price at each count, at the union
and at the estimate.

The union takes each matched pair as one dent, at A's place with the mean of both sizes; the
estimate keeps the union's oversize dents and scales the rest of it, sizes and marks, to the
estimated number, since dents that nobody found have no size of their own. Both are priced
with the panel as A describes it (metal, access), by the matrix, whatever was agreed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from math import pi
from typing import TYPE_CHECKING, NamedTuple

from hailcalc.claimfile import (
    ClaimFile,
    MeasuredDent,
    Panel,
    has_positions,
    longest_axis,
)
from hailcalc.coins import Coin, size_class
from hailcalc.counting import PanelCount, count_panel
from hailcalc.counting.marks import as_arrays, onto_panel
from hailcalc.counting.matching import Matching, match_marks
from hailcalc.counting.squares import Scaled, scaled_to
from hailcalc.counting.survey import Survey, survey_panel
from hailcalc.counting.twocounts import TwoCounts, kappa, plausible_difference, two_counts
from hailcalc.estimate import CompiledMatrix, Estimate, PanelResult, panel_lines, price
from hailcalc.money import round_half_away
from hailcalc.problems import InputError, Problem
from hailcalc.vehicle import PANELS
from hailcalc.vehicle.shapes import PanelShape

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

GATE_MM = 15.0
"""Marks farther apart than this are two dents. Where each of two people places a mark with a
standard error of 3 mm in x and in y, five of them: a narrower gate tears dents in two, a wider
one pairs neighbours on a crowded panel (measured in tests/published/test_coverage.py)."""

FOUND = Fraction(95, 100)
"""Share of the dents that a careful counter finds (common practice, no source)."""

_CROWDED = 0.3
"""Marks expected within a gate by chance, from which matching becomes doubtful."""


class MarkedTwice(NamedTuple):
    """A panel that both counters marked.

    `b` are B's dents as they lie on A's outline. `union` holds the dents of both, matched ones
    once, in the order of `matching`: pairs, only A, only B. Totals are the panel's sums, None
    without a price; `estimated` is None if no dent is common, since nothing then limits it.
    """

    a: tuple[MeasuredDent, ...]
    b: tuple[MeasuredDent, ...]
    matching: Matching
    counts: TwoCounts
    same_size: int
    kappa: Fraction | None
    union: tuple[MeasuredDent, ...]
    estimated: int | None
    total_union: int | None
    total_estimate: int | None
    survey: Survey
    crowded: bool


class PanelRecount(NamedTuple):
    """One panel in two counts. A side is None if that counter has not the panel at all.

    `plausible` is how far two careful counters may differ, None if a side is missing or
    sampled; `within` whether they do not differ more, for a sampled side whether the other
    count lies within its 95 % limits.
    """

    panel: str
    a: PanelResult | None
    b: PanelResult | None
    plausible: int | None
    within: bool | None
    marked: MarkedTwice | None

    @property
    def difference(self) -> int | None:
        """B's dents less A's."""
        if self.a is None or self.b is None:
            return None
        return self.b.count.all - self.a.count.all


class Recount(NamedTuple):
    """Two counts compared, panels in sheet order."""

    a: Estimate
    b: Estimate
    gate_mm: float
    found: Fraction
    panels: tuple[PanelRecount, ...]
    notes: tuple[str, ...]


def recount(
    a: ClaimFile,
    b: ClaimFile,
    compiled: CompiledMatrix,
    *,
    gate_mm: float = GATE_MM,
    found: Fraction = FOUND,
) -> Recount:
    """Compare two claims on one vehicle, both priced under the same matrix.

    Raises InputError if they cannot be about the same vehicle, or if one cannot be priced.
    """
    problems = list(_pair_problems(a, b))
    if problems:
        raise InputError(problems)
    first, second = (price(_by_matrix(claim), compiled) for claim in (a, b))
    ours = {result.panel.panel: result for result in first.panels}
    theirs = {result.panel.panel: result for result in second.panels}
    panels = tuple(
        _panel(a, ours.get(name), theirs.get(name), compiled, gate_mm, found)
        for name in PANELS
        if name in ours or name in theirs
    )
    notes = (*_notes(a, b, panels, gate_mm), *_warnings(first, second))
    return Recount(first, second, gate_mm, found, panels, notes)


def _by_matrix(claim: ClaimFile) -> ClaimFile:
    """A claim without agreed prices, which would hide what the counts come to."""
    panels = tuple(panel.model_copy(update={"agreed": None}) for panel in claim.panels)
    return claim.model_copy(update={"panels": panels})


def _pair_problems(a: ClaimFile, b: ClaimFile) -> Iterator[Problem]:
    """Signs that two claims are about two vehicles."""
    for key in ("body", "vin"):
        one, other = getattr(a.vehicle, key), getattr(b.vehicle, key)
        if one is not None and other is not None and one != other:
            expected = f'"{one}", as in A: both counts of one vehicle'
            yield Problem("B", ("vehicle", key), f'"{other}"', expected)


def _panel(
    claim: ClaimFile,
    ours: PanelResult | None,
    theirs: PanelResult | None,
    compiled: CompiledMatrix,
    gate_mm: float,
    found: Fraction,
) -> PanelRecount:
    one = ours or theirs
    assert one is not None, "a panel is in one of the two claims"
    name = one.panel.panel
    if ours is None or theirs is None:
        return PanelRecount(name, ours, theirs, None, None, None)
    b_dents = _on_outline_of_a(ours, theirs)
    marked = None
    if b_dents is not None:
        marked = _marked(claim, ours, b_dents, compiled, gate_mm)
    plausible = None
    if ours.panel.sample is None and theirs.panel.sample is None:
        plausible = plausible_difference(ours.count.all, theirs.count.all, found)
        within = abs(ours.count.all - theirs.count.all) <= plausible
    else:
        low_a, high_a = _interval(ours)
        low_b, high_b = _interval(theirs)
        within = low_a <= high_b and low_b <= high_a
    return PanelRecount(name, ours, theirs, plausible, within, marked)


def _interval(result: PanelResult) -> tuple[int, int]:
    """A panel's dents, from and to: 95 % limits of a sample, the count itself otherwise."""
    if result.survey is None or result.survey.sample is None:
        return result.count.all, result.count.all
    sample, singly = result.survey.sample, len(result.count.oversize)
    return sample.lower.total + singly, sample.upper.total + singly


def _on_outline_of_a(ours: PanelResult, theirs: PanelResult) -> tuple[MeasuredDent, ...] | None:
    """B's dents where they lie on A's outline; None if the two outlines cannot be compared.

    Generic outlines of two sizes are one drawing stretched, so places are stretched with it.
    """
    if not (has_positions(ours.panel) and has_positions(theirs.panel)):
        return None
    assert ours.survey is not None, "a panel with places has a survey"
    assert theirs.survey is not None, "a panel with places has a survey"
    mine, other = ours.survey.shape, theirs.survey.shape
    across = up = Decimal(1)
    if not _same_outline(mine, other):
        if not (mine.generic and other.generic):
            return None
        widths, heights = zip(_extent(mine), _extent(other), strict=True)
        across, up = (Decimal(repr(one)) / Decimal(repr(its)) for one, its in (widths, heights))
    dents = theirs.panel.dents
    if across != 1 or up != 1:
        dents = tuple(
            _moved(dent, float((dent.x or 0) * across), float((dent.y or 0) * up)) for dent in dents
        )
    x, y, _ = as_arrays([(float(dent.x or 0), float(dent.y or 0), 0.0) for dent in dents])
    on_x, on_y, beyond = onto_panel(mine, x, y)
    return tuple(
        _moved(dent, float(on_x[index]), float(on_y[index])) if beyond[index] else dent
        for index, dent in enumerate(dents)
    )


def _moved(dent: MeasuredDent, x: float, y: float) -> MeasuredDent:
    """A dent at another place, to a thousandth of a millimetre."""
    return dent.model_copy(update={"x": Decimal(f"{x:.3f}"), "y": Decimal(f"{y:.3f}")})


def _extent(shape: PanelShape) -> tuple[float, float]:
    left, bottom, right, top = shape.outline.bounds
    return right - left, top - bottom


def _same_outline(one: PanelShape, other: PanelShape) -> bool:
    return _same(one.outline, other.outline)


def _same(one: BaseGeometry, other: BaseGeometry) -> bool:
    """Whether two shapes are one to half a millimetre, wherever their rings begin."""
    return bool(one.normalize().equals_exact(other.normalize(), 0.5))


def _same_zones(one: PanelShape, other: PanelShape) -> bool:
    return len(one.zones) == len(other.zones) and all(
        a.kind == b.kind and a.reach_mm == b.reach_mm and _same(a.geometry, b.geometry)
        for a, b in zip(one.zones, other.zones, strict=True)
    )


def _marked(
    claim: ClaimFile,
    ours: PanelResult,
    b: tuple[MeasuredDent, ...],
    compiled: CompiledMatrix,
    gate_mm: float,
) -> MarkedTwice:
    a = ours.panel.dents
    matching = match_marks(_marks(a), _marks(b), gate_mm)
    counts = two_counts(len(a), len(b), len(matching.pairs))
    columns = compiled.tables.columns
    classes = [(_class(a[i], columns), _class(b[j], columns)) for i, j in matching.pairs]
    union = (
        *(_one_dent(a[i], b[j]) for i, j in matching.pairs),
        *(a[i] for i in matching.only_a),
        *(b[j] for j in matching.only_b),
    )
    panel = ours.panel.model_copy(update={"dents": union})
    survey, problems = survey_panel(panel, claim.vehicle, (panel.panel,), "A and B together")
    if survey is None:
        raise InputError(problems)
    count = count_panel(panel, compiled.tables.column_of, columns, survey)
    estimated = None
    if counts.both:
        estimated = max(counts.union, round_half_away(*counts.chapman.as_integer_ratio()))
    body = claim.vehicle.body
    return MarkedTwice(
        a=a,
        b=b,
        matching=matching,
        counts=counts,
        same_size=sum(one == other for one, other in classes),
        kappa=kappa(classes),
        union=union,
        estimated=estimated,
        total_union=_total(panel, count, body, compiled, ours.unpriced),
        total_estimate=None
        if estimated is None
        else _total(panel, _scaled(count, estimated, columns), body, compiled, ours.unpriced),
        survey=survey,
        crowded=max(len(a), len(b)) * pi * gate_mm**2 > _CROWDED * survey.shape.area_mm2,
    )


def _marks(dents: Sequence[MeasuredDent]) -> list[tuple[float, float, float]]:
    return [(float(dent.x or 0), float(dent.y or 0), float(longest_axis(dent))) for dent in dents]


def _class(dent: MeasuredDent, columns: Sequence[Coin]) -> int:
    """A dent's column; one beyond the last for an oversize dent."""
    column = size_class(longest_axis(dent), columns)
    return len(columns) if column is None else column


def _one_dent(one: MeasuredDent, other: MeasuredDent) -> MeasuredDent:
    """A dent that both marked: A's place, the mean of the sizes, the marks of both."""
    size = (longest_axis(one) + longest_axis(other)) / 2
    marks = (*one.marks, *(mark for mark in other.marks if mark not in one.marks))
    return MeasuredDent.model_construct(mm=size, mm2=None, x=one.x, y=one.y, marks=marks)


def _scaled(count: PanelCount, total: int, columns: Sequence[Coin]) -> PanelCount:
    """A count scaled to so many dents in the same proportions; oversize dents stay as they are."""
    names = [coin.name for coin in columns]
    seen = Scaled(dict(zip(names, count.counts, strict=True)), {})
    scaled = scaled_to(seen, max(total - len(count.oversize), count.in_columns))
    marks = {
        mark: min(total, round_half_away(number * total, count.all))
        for mark, number in count.marks.items()
    }
    if not count.in_columns:
        return count
    return PanelCount(tuple(scaled.tally[name] for name in names), count.oversize, marks)


def _total(
    panel: Panel, count: PanelCount, body: str, compiled: CompiledMatrix, unpriced: str
) -> int | None:
    """The panel's sum at a count; None where it has no price."""
    amounts = [line.amount for line in panel_lines(panel, count, body, compiled, unpriced)]
    known = [amount for amount in amounts if amount is not None]
    return sum(known) if len(known) == len(amounts) else None


def _notes(
    a: ClaimFile, b: ClaimFile, panels: Sequence[PanelRecount], gate_mm: float
) -> Iterator[str]:
    """What must be said about a comparison."""
    if a.claim.number != b.claim.number:
        yield f"The claims have two numbers: {a.claim.number} and {b.claim.number}."
    if a.claim.date_of_loss != b.claim.date_of_loss:
        days = f"{a.claim.date_of_loss} in A, {b.claim.date_of_loss} in B"
        yield f"The dates of loss differ: {days}."
    if _sizes(a) != _sizes(b):
        yield (
            "The two files give the vehicle different overall sizes; B's marks on generic "
            "outlines were stretched to A's."
        )
    agreed = [panel.panel for claim in (a, b) for panel in claim.panels if panel.agreed is not None]
    if agreed:
        names = ", ".join(dict.fromkeys(agreed))
        yield f"Priced by the matrix; agreed prices are left out: {names}."
    for panel in panels:
        if panel.a is None or panel.b is None:
            who = "B" if panel.b is None else "A"
            yield f"{panel.panel}: not in {who}; not compared."
            continue
        for mine, other in _described(panel.a, panel.b):
            told = f"{mine} in A, {other} in B"
            yield f"{panel.panel}: {told}; part of the difference in price."
        yield from _outline_notes(panel.a, panel.b)
        if panel.marked is not None and panel.marked.crowded:
            yield (
                f"{panel.panel}: so many marks that neighbours lie within {gate_mm:g} mm by "
                "chance; compare with a smaller gate."
            )


def _warnings(first: Estimate, second: Estimate) -> Iterator[str]:
    """What the two sheets warn of, said once where both do."""
    for warning in first.warnings:
        yield warning if warning in second.warnings else f"{warning} (A)"
    for warning in second.warnings:
        if warning not in first.warnings:
            yield f"{warning} (B)"


def _described(a: PanelResult, b: PanelResult) -> Iterator[tuple[str, str]]:
    """What the two say differently of a panel itself."""
    paints = {True: "repainted", False: "original paint"}
    for mine, other in (
        (a.panel.access, b.panel.access),
        (a.panel.metal, b.panel.metal),
        (paints[a.panel.repainted], paints[b.panel.repainted]),
    ):
        if mine != other:
            yield mine, other


def _outline_notes(a: PanelResult, b: PanelResult) -> Iterator[str]:
    """What two outlines of one panel do to the comparison."""
    if a.survey is None or b.survey is None:
        return
    mine, other = a.survey.shape, b.survey.shape
    if mine.generic and other.generic:
        if _same_outline(mine, other) and not _same_zones(mine, other):
            yield _zones_differ(a)
    elif not _same_outline(mine, other):
        yield (
            f"{a.panel.panel}: marked on two different outlines; the marks are not compared, only "
            "their numbers."
        )
    elif not _same_zones(mine, other):
        yield _zones_differ(a)


def _zones_differ(a: PanelResult) -> str:
    return (
        f"{a.panel.panel}: the zones differ, part of the difference in price; A's are taken for "
        "both counts together."
    )


def _sizes(claim: ClaimFile) -> tuple[int | None, int | None, int | None]:
    vehicle = claim.vehicle
    return vehicle.length_mm, vehicle.width_mm, vehicle.height_mm
