"""The estimate: every line of a claim, its totals, and what must be said about the count.

`price(claim, matrix)` is the whole of it. A matrix is compiled once (`compile_matrix`)
and may be used for many vehicles. Amounts in minor units; each printed line is rounded
once and the totals are sums of printed lines, so the sheet adds up to the cent.

Panels whose access is to be planned get one first, at their estimated counts; then panel by
panel (base, oversize, extras; or the replacement), vehicle extras, removal & refit, other
lines, the topping-up to the minimum, tax.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from hailcalc.access.rules import GLUE_ONLY, Ruling, dent_kinds, ruling
from hailcalc.bandedges import NearEdge, Reckoner, near_edges
from hailcalc.claimfile import Access, ClaimFile, ClaimParts, Panel, claim_problems
from hailcalc.counting import At, PanelCount, count_panel
from hailcalc.estimate.compiled import CompiledMatrix, compile_matrix
from hailcalc.estimate.fit import survey_and_fit
from hailcalc.estimate.panels import needs_opening, panel_lines
from hailcalc.estimate.vehicle import (
    Settled,
    Totals,
    comes_off,
    settle,
    sum_of,
    vehicle_removal,
)
from hailcalc.lines import Line, dents
from hailcalc.matrix import Matrix, MatrixTables, matrix_problem_of_choice
from hailcalc.problems import InputError
from hailcalc.removal import OperationRule
from hailcalc.vehicle import PANELS, vin_findings

if TYPE_CHECKING:
    from hailcalc.access.plan import Plan
    from hailcalc.counting.survey import Survey, Surveys

_PANEL_ORDER = {panel: index for index, panel in enumerate(PANELS)}


@dataclass(frozen=True, slots=True)
class PanelResult:
    """How one panel came out: its count, the band it fell in, and whether it has a price.

    `panel` has the access that was chosen where it was to be planned. `survey` is what its
    outline said, if the count depends on it; `ruling` what the rules of access say; `unpriced`
    why a planned panel's repair has no price whatever the matrix holds.
    """

    panel: Panel
    survey: Survey | None
    ruling: Ruling
    unpriced: str
    count: PanelCount
    grid: str | None
    band: tuple[int, int] | None
    base: int | None
    total: int
    priced: bool

    @property
    def glued(self) -> int:
        """Dents that are glued: all of a glued panel, the glue-only ones of a pushed panel."""
        if self.panel.access == "replace":
            return 0
        return self.count.all if self.panel.access == "glue" else self.count.marks.get(GLUE_ONLY, 0)

    @property
    def by_matrix(self) -> bool:
        """Whether the matrix prices it, rather than an agreement or a replacement, or nothing."""
        return self.priced and self.panel.agreed is None and self.panel.access != "replace"


class AtLimit(NamedTuple):
    """The claim with every sampled panel at one of its 95 % limits.

    Totals of the sampled panels by name (None without a price), and of the whole claim.
    """

    panels: dict[str, int | None]
    totals: Totals


class Estimate(NamedTuple):
    """A priced claim. `panels` in sheet order; `removal` in order of removal.

    `plan` says how the access of planned panels was chosen, None if none was to be planned.
    `limits` is the claim at the lower and at the upper limits of its sampled panels, None if
    nothing was sampled.
    """

    claim: ClaimFile
    compiled: CompiledMatrix
    panels: tuple[PanelResult, ...]
    removal: tuple[OperationRule, ...]
    lines: tuple[Line, ...]
    totals: Totals
    warnings: tuple[str, ...]
    limits: tuple[AtLimit, AtLimit] | None
    plan: Plan | None

    @property
    def removal_parts(self) -> tuple[str, ...]:
        """For each operation of `removal` the part of the vehicle where one stands for it."""
        removal = vehicle_removal(self.claim, self.compiled)
        parts = zip(removal.operations, removal.parts, strict=True)
        part_of = {rule.id: part for rule, part in parts}
        return tuple(part_of[rule.id] for rule in self.removal)

    @property
    def removal_minutes(self) -> Fraction:
        """Minutes of removal and refit together."""
        return sum((Fraction(rule.minutes) for rule in self.removal), Fraction(0))

    @property
    def near_edges(self) -> tuple[NearEdge, ...]:
        """Where a handful of dents decides a band; worked out anew each time it is asked for."""
        return tuple(_near_edges(self.panels, self.claim.vehicle.body, self.compiled))


class _Counted(NamedTuple):
    """One panel as counted, in the order of the sheet, with the access that prices it."""

    panel: Panel
    survey: Survey | None
    ruling: Ruling


def price(claim: ClaimFile, matrix: Matrix | CompiledMatrix) -> Estimate:
    """Price a claim under a matrix.

    Raises InputError with every reason why the claim cannot be priced. A panel beyond the
    matrix is no such reason: it gets a line without an amount, and `complete` is False.
    """
    compiled = matrix if isinstance(matrix, CompiledMatrix) else compile_matrix(matrix)
    parts = ClaimParts.of(claim)
    surveys, problems = survey_and_fit(parts, compiled)
    problems = [*claim_problems(parts), *problems]
    if problems:
        raise InputError(problems)
    panels = _in_order(claim, compiled, surveys)
    plan = None
    if any(counted.panel.access == "plan" for counted in panels):
        from hailcalc.estimate.planning import plan_access

        plan = plan_access(claim, compiled, panels)
        chosen = {panel.panel: panel.method for panel in plan.panels}
        panels = [
            each._replace(panel=with_access(each.panel, chosen[each.panel.panel]))
            if each.panel.access == "plan"
            else each
            for each in panels
        ]
    results, settled = _priced(claim, compiled, panels, "estimate")
    return Estimate(
        claim=claim,
        compiled=compiled,
        panels=results,
        removal=settled.removal,
        lines=settled.lines,
        totals=settled.totals,
        warnings=(
            *_warnings(claim, compiled),
            *_access_warnings(claim, compiled, results),
            *_survey_warnings(results),
        ),
        limits=_limits(claim, compiled, panels),
        plan=plan,
    )


def with_access(panel: Panel, access: Access) -> Panel:
    """A panel as it is, reached otherwise."""
    return panel.model_copy(update={"access": access})


def _in_order(claim: ClaimFile, compiled: CompiledMatrix, surveys: Surveys) -> list[_Counted]:
    rules = compiled.matrix.access
    temperature = claim.conditions.panel_temperature_c
    in_order = sorted(enumerate(claim.panels), key=lambda entry: _PANEL_ORDER[entry[1].panel])
    return [
        _Counted(
            panel,
            surveys.get(position),
            ruling(panel, dent_kinds(panel, surveys.get(position), rules), temperature, rules),
        )
        for position, panel in in_order
    ]


def _priced(
    claim: ClaimFile, compiled: CompiledMatrix, panels: Sequence[_Counted], at: At
) -> tuple[tuple[PanelResult, ...], Settled]:
    """The claim with its sampled panels at their estimate or at a limit."""
    planned = {panel.panel for panel in claim.panels if panel.access == "plan"}
    tables, body = compiled.tables, claim.vehicle.body
    results: list[PanelResult] = []
    lines: list[Line] = []
    for panel, survey, found in panels:
        count = count_panel(panel, tables.column_of, tables.columns, survey, at)
        unpriced = found.unpriced if panel.panel in planned else ""
        of_panel = panel_lines(panel, count, body, compiled, unpriced)
        results.append(_panel_result(panel, survey, found, unpriced, count, of_panel, tables))
        lines += of_panel
    pushed = [each.panel.panel for each in results if needs_opening(each.panel, each.count)]
    off = comes_off(claim, vehicle_removal(claim, compiled), pushed)
    return tuple(results), settle(claim, compiled, lines, off)


def _limits(
    claim: ClaimFile, compiled: CompiledMatrix, panels: Sequence[_Counted]
) -> tuple[AtLimit, AtLimit] | None:
    """The claim at the lower and the upper limits of its sampled panels, reached as planned."""
    if all(each.survey is None or each.survey.sample is None for each in panels):
        return None

    def at_limit(at: At) -> AtLimit:
        results, settled = _priced(claim, compiled, panels, at)
        of_sampled: dict[str, int | None] = {
            result.panel.panel: result.total if result.priced else None
            for result in results
            if _is_sampled(result)
        }
        return AtLimit(of_sampled, settled.totals)

    return at_limit("lower"), at_limit("upper")


def _is_sampled(result: PanelResult) -> bool:
    return result.panel.sample is not None


def _survey_warnings(panels: Sequence[PanelResult]) -> Iterator[str]:
    for result in panels:
        if result.survey is not None:
            from hailcalc.counting.survey import survey_notes

            yield from survey_notes(result.panel, result.survey)


def _near_edges(
    panels: Sequence[PanelResult], body: str, compiled: CompiledMatrix
) -> Iterator[NearEdge]:
    """Edges near the counts of panels priced by the matrix; a sample has its limits instead."""
    tables = compiled.tables
    for result in panels:
        if result.band is None or not result.by_matrix or _is_sampled(result):
            continue
        name = result.panel.panel
        grid = tables.grids[tables.grid_of[name]]
        total = partial(_total_at, result=result, body=body, compiled=compiled)
        yield from near_edges(
            result.count.counts, Reckoner(name, grid, tables, result.total, total)
        )


def _total_at(
    counts: Sequence[int], result: PanelResult, body: str, compiled: CompiledMatrix
) -> int | None:
    """A panel's sum at other counts by column, its marks as they are."""
    count = result.count
    everything = sum(counts) + len(count.oversize)
    marks = {mark: min(number, everything) for mark, number in count.marks.items()}
    lines = panel_lines(
        result.panel, PanelCount(tuple(counts), count.oversize, marks), body, compiled
    )
    return None if any(line.amount is None for line in lines) else sum_of(lines)


def _panel_result(
    panel: Panel,
    survey: Survey | None,
    found: Ruling,
    unpriced: str,
    count: PanelCount,
    lines: Sequence[Line],
    tables: MatrixTables,
) -> PanelResult:
    index = tables.grid_of.get(panel.panel)
    grid = None if index is None else tables.grids[index]
    in_grid = grid is not None and 1 <= count.in_columns <= grid.last
    return PanelResult(
        panel=panel,
        survey=survey,
        ruling=found,
        unpriced=unpriced,
        count=count,
        grid=grid.name if grid is not None else None,
        band=grid.band(count.in_columns) if grid is not None and in_grid else None,
        base=_base_of(lines),
        total=sum_of(lines),
        priced=all(line.amount is not None for line in lines),
    )


def _base_of(lines: Sequence[Line]) -> int | None:
    """The base of a repaired panel: 0 if it has oversize dents only; None for a replaced one."""
    if not lines or lines[0].kind == "body":
        return None
    return lines[0].amount if lines[0].kind == "repair" else 0


def _warnings(claim: ClaimFile, compiled: CompiledMatrix) -> Iterator[str]:
    yield from matrix_problem_of_choice(claim.claim, compiled.matrix)
    if claim.vehicle.vin is not None:
        _, warning = vin_findings(claim.vehicle.vin)
        if warning:
            yield warning


def _access_warnings(
    claim: ClaimFile, compiled: CompiledMatrix, results: Sequence[PanelResult]
) -> Iterator[str]:
    """What the rules of access say against the panels as they are reached."""
    planned = {panel.panel for panel in claim.panels if panel.access == "plan"}
    for result in results:
        panel, found = result.panel, result.ruling
        if result.count.all == 0 or panel.access == "replace":
            continue
        if panel.access == "glue":
            for hold in found.holds:
                if hold.method == "glue":
                    yield f"{panel.panel}: to be glued, but {hold.words} ({hold.rule})."
        elif panel.panel in planned:
            # The plan says it, with what remains.
            continue
        elif found.waits:
            yield (
                f"{panel.panel}: {dents(found.left, GLUE_ONLY)}, but {found.left_words}; priced "
                "as glued once the panel is cooler."
            )
        elif found.left:
            yield f"{panel.panel}: {found.unpriced}."
    unknown = claim.conditions.panel_temperature_c is None and compiled.matrix.access.glue_hot
    if unknown and unknown != "allow" and any(result.glued for result in results):
        yield "Dents are to be glued, and no panel temperature is given: measure it first."
