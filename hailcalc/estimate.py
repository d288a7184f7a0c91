"""The estimate: every line of a claim, its totals, and what must be said about the count.

`price(claim, matrix)` is the whole of it. A matrix is compiled once (`compile_matrix`)
and may be used for many vehicles. Amounts in minor units; each printed line is rounded
once and the totals are sums of printed lines, so the sheet adds up to the cent.

Order: panel by panel (base, oversize, extras; or the replacement), vehicle extras,
removal & refit, other lines, the topping-up to the minimum, tax.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple

from hailcalc.bandedges import NearEdge, Reckoner, near_edges
from hailcalc.claimfile import (
    ClaimFile,
    ClaimParts,
    Mark,
    OtherLine,
    Panel,
    claim_problems,
    needs_survey,
)
from hailcalc.counting import At, PanelCount, count_panel
from hailcalc.extras import ExtraRule, compile_extras, panel_extras, vehicle_extras
from hailcalc.lines import LABOUR, PARTS, SUBLET, Line, dents
from hailcalc.matrix import (
    GridTable,
    Matrix,
    MatrixTables,
    base_amount,
    compile_tables,
    matrix_problem_of_choice,
    mixed_cells,
)
from hailcalc.money import (
    decimals_of,
    minor_units,
    money_text,
    plain,
    round_half_away,
    rounded,
)
from hailcalc.problems import InputError, Place, Problem, shown
from hailcalc.removal import (
    OperationRule,
    RemovalRules,
    cheapest_set,
    compile_removal,
    removal_lines,
    removal_order,
)
from hailcalc.vehicle import PANELS, vin_findings

if TYPE_CHECKING:
    from hailcalc.counting.survey import Survey, Surveys

_PANEL_ORDER = {panel: index for index, panel in enumerate(PANELS)}


class OversizeRule(NamedTuple):
    """Price of one dent beyond the largest coin, minutes exact and as printed."""

    minutes: Fraction
    per_mm: Fraction
    minutes_text: str
    per_mm_text: str


class CompiledMatrix(NamedTuple):
    """A matrix ready for pricing: tables, rules and rates, no text left to parse."""

    matrix: Matrix
    tables: MatrixTables
    extras: tuple[ExtraRule, ...]
    removal: RemovalRules
    oversize: OversizeRule | None
    compound: bool
    minimum: int


@dataclass(frozen=True, slots=True)
class PanelResult:
    """How one panel came out: its count, the band it fell in, and whether it has a price.

    `survey` is what its outline said, if the count depends on it.
    """

    panel: Panel
    survey: Survey | None
    count: PanelCount
    grid: str | None
    band: tuple[int, int] | None
    base: int | None
    total: int
    priced: bool

    @property
    def by_matrix(self) -> bool:
        """Whether the matrix prices it, rather than an agreement or a replacement, or nothing."""
        return self.priced and self.panel.agreed is None and self.panel.access != "replace"


class Totals(NamedTuple):
    """Sums of printed lines in minor units; `complete` is False if a panel has no price yet."""

    subtotal: int
    tax: int
    total: int
    deductible: int
    net: int
    complete: bool

    def as_json(self, decimals: int) -> dict[str, object]:
        """The totals as they stand in a sheet's JSON."""
        names = ("subtotal", "tax", "total", "deductible", "net")
        sums: dict[str, object] = {
            name: money_text(getattr(self, name), decimals) for name in names
        }
        return sums | {"complete": self.complete}


class AtLimit(NamedTuple):
    """The claim with every sampled panel at one of its 95 % limits.

    Totals of the sampled panels by name (None without a price), and of the whole claim.
    """

    panels: dict[str, int | None]
    totals: Totals


class Estimate(NamedTuple):
    """A priced claim. `panels` in sheet order; `removal` in order of removal.

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

    @property
    def near_edges(self) -> tuple[NearEdge, ...]:
        """Where a handful of dents decides a band; worked out anew each time it is asked for."""
        return tuple(_near_edges(self.panels, self.claim.vehicle.body, self.compiled))


def compile_matrix(matrix: Matrix) -> CompiledMatrix:
    """Compile a checked matrix for pricing."""
    tables = compile_tables(matrix)
    oversize = None
    if matrix.oversize is not None:
        texts = matrix.oversize.minutes, matrix.oversize.minutes_per_mm
        oversize = OversizeRule(Fraction(texts[0]), Fraction(texts[1]), *texts)
    return CompiledMatrix(
        matrix=matrix,
        tables=tables,
        extras=compile_extras(matrix, tables.decimals),
        removal=compile_removal(matrix, tables),
        oversize=oversize,
        compound=matrix.matrix.stacking == "compound",
        minimum=minor_units(matrix.matrix.minimum, tables.decimals),
    )


def fit_problems(parts: ClaimParts, tables: MatrixTables, file: str = "claim") -> list[Problem]:
    """Mistakes that show only against outlines and a matrix.

    Marks off their panel, squares that do not fit, sizes, oversize, decimals, sampling.
    """
    return _survey_and_fit(parts, tables, file)[1]


def _survey_and_fit(
    parts: ClaimParts, tables: MatrixTables, file: str = "claim"
) -> tuple[Surveys, list[Problem]]:
    surveys: Surveys = {}
    problems: list[Problem] = []
    if any(needs_survey(panel) for _, panel in parts.panels):
        # Geometry is slow to import, and a plain tally has none.
        from hailcalc.counting.survey import survey_claim

        coins = [coin.name for coin in tables.coins]
        surveys, problems = survey_claim(parts, file, coins)
    problems += _matrix_problems(parts, tables, file)
    problems += _sample_problems(parts, surveys, tables, file)
    return surveys, problems


def _sample_problems(
    parts: ClaimParts, surveys: Surveys, tables: MatrixTables, file: str
) -> Iterator[Problem]:
    """Sampling where the matrix wants every dent counted."""
    if tables.sample_from is None:
        return
    for position, panel in parts.panels:
        survey = surveys.get(position)
        if survey is None or survey.sample is None:
            continue
        total = survey.sample.estimate.total
        if total < tables.sample_from:
            found = f"about {total} dents on the {panel.panel} by sample squares"
            expected = f"every dent counted: the matrix accepts samples from {tables.sample_from}"
            yield Problem(file, ("panels", position, "sample"), found, expected)


def _matrix_problems(parts: ClaimParts, tables: MatrixTables, file: str) -> Iterator[Problem]:
    for place, text in _money_figures(parts):
        if decimals_of(text) > tables.decimals:
            yield Problem(
                file,
                place,
                f'"{text}"',
                f"at most {tables.decimals} decimals, as {tables.currency} has",
            )
    largest = tables.columns[-1]
    for position, panel in parts.panels:
        where: Place = ("panels", position)
        if panel.access == "plan":
            yield Problem(
                file,
                (*where, "access"),
                '"plan"',
                "push, glue or replace: this version plans no access",
            )
        yield from _tally_problems(panel.tally, panel.marked, where, tables, file)
        for number, square in enumerate(panel.sample.squares if panel.sample else ()):
            inside: Place = (*where, "sample", "squares", number)
            yield from _tally_problems(square.tally, square.marked, inside, tables, file)
        for index, dent in enumerate(panel.oversize):
            if dent.mm <= largest.mm:
                yield Problem(
                    file,
                    (*where, "oversize", index, "mm"),
                    f"{plain(dent.mm)} mm",
                    f"more than the largest column, {largest.name} ({largest.mm} mm); "
                    "smaller dents belong in the tally",
                )


def _tally_problems(
    tally: Mapping[str, int],
    marked: Mapping[Mark, Mapping[str, int]],
    where: Place,
    tables: MatrixTables,
    file: str,
) -> Iterator[Problem]:
    for coin in tally:
        yield from _size_problem((*where, "tally", coin), coin, tables, file)
    for mark, sizes in marked.items():
        for coin in sorted(sizes.keys() - tally.keys()):
            yield from _size_problem((*where, "marked", mark, coin), coin, tables, file)


def _size_problem(place: Place, coin: str, tables: MatrixTables, file: str) -> Iterator[Problem]:
    if coin in tables.column_of:
        return
    names = ", ".join(column.name for column in tables.columns)
    if any(coin == known.name for known in tables.coins):
        expected = f"dents beyond {tables.columns[-1].name} under oversize, with their millimetres"
    else:
        expected = f"one of the matrix's sizes: {names}"
    yield Problem(file, place, f"the size {shown(coin)}", expected)


def _money_figures(parts: ClaimParts) -> Iterator[tuple[Place, str]]:
    if parts.claim is not None:
        yield ("claim", "deductible"), parts.claim.deductible
    if parts.vehicle is not None and parts.vehicle.value is not None:
        yield ("vehicle", "value"), parts.vehicle.value
    for position, panel in parts.panels:
        for key, text in (("replace_cost", panel.replace_cost), ("agreed", panel.agreed)):
            if text is not None:
                yield ("panels", position, key), text
    for position, other in parts.other:
        yield ("other", position, "unit_price"), other.unit_price


def price(claim: ClaimFile, matrix: Matrix | CompiledMatrix) -> Estimate:
    """Price a claim under a matrix.

    Raises InputError with every reason why the claim cannot be priced. A panel beyond the
    matrix is no such reason: it gets a line without an amount, and `complete` is False.
    """
    compiled = matrix if isinstance(matrix, CompiledMatrix) else compile_matrix(matrix)
    parts = ClaimParts.of(claim)
    surveys, problems = _survey_and_fit(parts, compiled.tables)
    problems = [*claim_problems(parts), *problems]
    if problems:
        raise InputError(problems)
    priced = _priced(claim, compiled, surveys, "estimate")
    return Estimate(
        claim=claim,
        compiled=compiled,
        panels=priced.panels,
        removal=priced.removal,
        lines=priced.lines,
        totals=priced.totals,
        warnings=(*_warnings(claim, compiled), *_survey_warnings(priced.panels)),
        limits=_limits(claim, compiled, surveys),
    )


class _Priced(NamedTuple):
    """A claim with its sampled panels at their estimate or at a limit."""

    panels: tuple[PanelResult, ...]
    removal: tuple[OperationRule, ...]
    lines: tuple[Line, ...]
    totals: Totals


def _priced(claim: ClaimFile, compiled: CompiledMatrix, surveys: Surveys, at: At) -> _Priced:
    panels, lines = _panels(claim, compiled, surveys, at)
    lines += vehicle_extras(compiled.extras, claim.vehicle.body, lines, compiled.tables)
    mask = cheapest_set(compiled.removal, [p.panel.panel for p in panels if _is_pushed(p)])
    order = removal_order(compiled.removal, mask)
    lines += removal_lines(order, compiled.tables)
    lines += [_other_line(other, compiled.tables) for other in claim.other]
    lines += _minimum_line(lines, compiled)
    subtotal = _sum(lines)
    taxes = _tax_lines(lines, compiled)
    deductible = minor_units(claim.claim.deductible, compiled.tables.decimals)
    total = subtotal + _sum(taxes)
    totals = Totals(
        subtotal=subtotal,
        tax=_sum(taxes),
        total=total,
        deductible=deductible,
        net=max(0, total - deductible),
        complete=all(panel.priced for panel in panels),
    )
    return _Priced(panels, tuple(order), (*lines, *taxes), totals)


def _limits(
    claim: ClaimFile, compiled: CompiledMatrix, surveys: Surveys
) -> tuple[AtLimit, AtLimit] | None:
    """The claim at the lower and the upper limits of its sampled panels."""
    if all(survey.sample is None for survey in surveys.values()):
        return None

    def at_limit(at: At) -> AtLimit:
        priced = _priced(claim, compiled, surveys, at)
        sampled = (result for result in priced.panels if _is_sampled(result))
        panels: dict[str, int | None] = {
            result.panel.panel: result.total if result.priced else None for result in sampled
        }
        return AtLimit(panels, priced.totals)

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
    return None if any(line.amount is None for line in lines) else _sum(lines)


def _sum(lines: Sequence[Line]) -> int:
    return sum(line.amount for line in lines if line.amount is not None)


def _is_pushed(result: PanelResult) -> bool:
    """Whether a panel needs push access: it is pushed and not all its dents are glue-only."""
    count = result.count
    return result.panel.access == "push" and count.all > count.marks.get("glue-only", 0)


def _panels(
    claim: ClaimFile, compiled: CompiledMatrix, surveys: Surveys, at: At
) -> tuple[tuple[PanelResult, ...], list[Line]]:
    results: list[PanelResult] = []
    lines: list[Line] = []
    in_order = sorted(enumerate(claim.panels), key=lambda entry: _PANEL_ORDER[entry[1].panel])
    for position, panel in in_order:
        survey = surveys.get(position)
        count = count_panel(panel, compiled.tables.column_of, compiled.tables.columns, survey, at)
        found = panel_lines(panel, count, claim.vehicle.body, compiled)
        results.append(_panel_result(panel, survey, count, found, compiled.tables))
        lines += found
    return tuple(results), lines


def _panel_result(
    panel: Panel,
    survey: Survey | None,
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
        count=count,
        grid=grid.name if grid is not None else None,
        band=grid.band(count.in_columns) if grid is not None and in_grid else None,
        base=_base_of(lines),
        total=_sum(lines),
        priced=all(line.amount is not None for line in lines),
    )


def _base_of(lines: Sequence[Line]) -> int | None:
    """The base of a repaired panel: 0 if it has oversize dents only; None for a replaced one."""
    if not lines or lines[0].kind == "body":
        return None
    return lines[0].amount if lines[0].kind == "repair" else 0


def panel_lines(panel: Panel, count: PanelCount, body: str, compiled: CompiledMatrix) -> list[Line]:
    """A panel's lines at a count: replacement, agreed price, or base, oversize dents, extras."""
    tables = compiled.tables
    if panel.access == "replace":
        assert panel.replace_cost is not None, "a checked claim has the price of a replacement"
        words = f"replacement in place of the repair of {_estimated(panel, count)}"
        return [_given_line("body", panel, "Replacement", panel.replace_cost, words, tables)]
    if panel.agreed is not None:
        words = f"agreed for {_estimated(panel, count)}, in place of base, oversize and extras"
        return [_given_line("repair", panel, "Agreed price", panel.agreed, words, tables)]
    if count.all == 0:
        return []
    index = tables.grid_of.get(panel.panel)
    grid = None if index is None else tables.grids[index]
    reason = _not_priced(count, grid, compiled)
    if reason is not None:
        words = f"{_about(panel)}{reason}" if count.in_columns else reason
        return [Line("repair", panel.panel, "Not priced", None, words, "")]
    lines: list[Line] = []
    if grid is not None and count.in_columns:
        lines.append(_base_line(panel, count, grid, tables))
    lines += [_oversize_line(panel, mm, compiled) for mm in count.oversize]
    lines += panel_extras(
        compiled.extras, panel, count, body, list(lines), tables, compiled.compound
    )
    return lines


def _estimated(panel: Panel, count: PanelCount) -> str:
    """A panel's dents, and that they are an estimate if they are."""
    return f"about {dents(count.all)}, sampled" if panel.sample is not None else dents(count.all)


def _about(panel: Panel) -> str:
    """What stands before a count that is an estimate."""
    return "sampled, about " if panel.sample is not None else ""


def _not_priced(count: PanelCount, grid: GridTable | None, compiled: CompiledMatrix) -> str | None:
    """Why the matrix has no price for a panel; None if it has one."""
    if grid is None:
        return "the matrix has no grid for this panel; agree a price or replace"
    if count.in_columns > grid.last:
        return (
            f"{count.in_columns} dents; the matrix prices up to {grid.last} on this panel; "
            "agree a price or replace"
        )
    if count.oversize and compiled.oversize is None:
        return (
            f"{dents(len(count.oversize))} beyond {compiled.tables.columns[-1].name}, which the "
            "matrix does not price; agree a price or replace"
        )
    return None


def _given_line(
    kind: Literal["repair", "body"],
    panel: Panel,
    label: str,
    amount: str,
    words: str,
    tables: MatrixTables,
) -> Line:
    """A line whose amount the claim file gives."""
    return Line(
        kind,
        panel.panel,
        label,
        minor_units(amount, tables.decimals),
        words,
        amount,
    )


def _base_line(panel: Panel, count: PanelCount, grid: GridTable, tables: MatrixTables) -> Line:
    """The base of a panel: cells by the mixed rule, at the repair rate if they are minutes."""
    uses, divisor = mixed_cells(tables.mixed, count.counts)
    amount = base_amount(grid, tables, count.counts)
    formula = _cells_formula(
        [(use.weight, _cell_text(use.dents, use.column, grid, tables)) for use in uses]
    )
    if divisor > 1:
        formula = f"({formula}) / {divisor}"
    if tables.in_minutes:
        if " + " in formula and divisor == 1 and len(uses) > 1:
            formula = f"({formula})"
        formula += f" * {money_text(tables.repair_rate, tables.decimals)} / 60"
    label = "Glue pull" if panel.access == "glue" else "Push"
    words = _about(panel) + _base_words(count, grid, tables)
    return Line("repair", panel.panel, label, amount, words, formula)


def _cells_formula(cells: Sequence[tuple[int, str]]) -> str:
    """Cells with weights as one sum: 117 + (69 - 58), or 3 * 28 + 2 * 36.

    A cell taken away stands with the larger one that follows it, as the step that it is.
    """
    terms: list[str] = []
    taken = ""
    for weight, cell in cells:
        if weight < 0:
            taken = cell
        elif taken:
            terms.append(f"({cell} - {taken})")
            taken = ""
        else:
            terms.append(f"{weight} * {cell}" if weight > 1 else cell)
    return " + ".join(terms)


def _cell_text(count: int, column: int, grid: GridTable, tables: MatrixTables) -> str:
    """A cell as the file has it, or the ramp between two cells as arithmetic."""
    row = grid.row_of[count]
    here = grid.texts[row][column]
    if not tables.ramp or row + 1 == len(grid.bands) or count == grid.bands[row]:
        return here
    there = grid.texts[row + 1][column]
    low, high = grid.bands[row], grid.bands[row + 1]
    return (
        here if here == there else f"({here} + ({there} - {here}) * {count - low} / {high - low})"
    )


def _band_words(count: int, grid: GridTable) -> str:
    low, high = grid.band(count)
    return f"band {low}" if low == high else f"band {low}–{high}"


def _base_words(count: PanelCount, grid: GridTable, tables: MatrixTables) -> str:
    """Which counts met which bands and columns under the mixed rule."""
    names = [column.name for column in tables.columns]
    total = count.in_columns
    head = f"{dents(total)}, {_band_words(total, grid)}"
    present = [column for column, number in enumerate(count.counts) if number]
    if len(present) == 1 and tables.mixed != "each":
        return f"{head}, {names[present[0]]}"
    if tables.mixed == "layers":
        return head + _layer_words(count.counts, names, grid)
    if tables.mixed == "share":
        each = ", ".join(f"{count.counts[column]} {names[column]}" for column in present)
        return f"{head}, by share: {each}"
    if tables.mixed == "largest":
        return f"{head}, largest size {names[present[-1]]}"
    if tables.mixed == "most":
        most = max(present, key=lambda column: (count.counts[column], column))
        return f"{head}, most are {names[most]} ({count.counts[most]})"
    each = "; ".join(
        f"{count.counts[column]} {names[column]}, {_band_words(count.counts[column], grid)}"
        for column in present
    )
    return f"each size by its own band: {each}"


def _layer_words(counts: Sequence[int], names: Sequence[str], grid: GridTable) -> str:
    """The steps of `layers`: how many dents reach each larger size, from which smaller one."""
    present = [column for column, number in enumerate(counts) if number]
    words = f", {names[present[0]]}"
    for before, column in pairwise(present):
        reached = sum(counts[column:])
        larger = " or larger" if column != present[-1] else ""
        words += (
            f"; {reached} of {names[column]}{larger}, {_band_words(reached, grid)}: "
            f"step from {names[before]}"
        )
    return words


def _oversize_line(panel: Panel, mm: Decimal, compiled: CompiledMatrix) -> Line:
    rule = compiled.oversize
    assert rule is not None, "a panel with oversize dents and no rule is not priced"
    tables = compiled.tables
    largest = tables.columns[-1]
    minutes = rule.minutes + rule.per_mm * (Fraction(mm) - Fraction(largest.mm))
    size = plain(mm)
    rate = money_text(tables.repair_rate, tables.decimals)
    return Line(
        "oversize",
        panel.panel,
        "Oversize dent",
        rounded(minutes * tables.repair_rate / 60),
        f"{size} mm, {plain(mm - largest.mm)} mm beyond {largest.name} ({largest.mm} mm)",
        f"({rule.minutes_text} + {rule.per_mm_text} * ({size} - {largest.mm})) * {rate} / 60",
    )


def _other_line(other: OtherLine, tables: MatrixTables) -> Line:
    amount = other.quantity * minor_units(other.unit_price, tables.decimals)
    if other.quantity == 1:
        return Line(other.kind, None, other.label, amount, "as priced", other.unit_price)
    words = f"{other.quantity} at {other.unit_price}"
    return Line(
        other.kind, None, other.label, amount, words, f"{other.quantity} * {other.unit_price}"
    )


def _minimum_line(lines: Sequence[Line], compiled: CompiledMatrix) -> list[Line]:
    subtotal = _sum(lines)
    if not lines or subtotal >= compiled.minimum:
        return []
    decimals = compiled.tables.decimals
    minimum, so_far = money_text(compiled.minimum, decimals), money_text(subtotal, decimals)
    return [
        Line(
            "minimum",
            None,
            "Topping up to the minimum",
            compiled.minimum - subtotal,
            f"the matrix's minimum for a vehicle, {minimum}, less the lines so far",
            f"{minimum} - {so_far}" if subtotal >= 0 else f"{minimum} - ({so_far})",
        )
    ]


def _tax_lines(lines: Sequence[Line], compiled: CompiledMatrix) -> list[Line]:
    tax = compiled.matrix.tax
    decimals = compiled.tables.decimals
    result: list[Line] = []
    for name, text, kinds in (
        ("labour", tax.labour, LABOUR),
        ("parts", tax.parts, PARTS),
        ("sublet", tax.sublet, SUBLET),
    ):
        taxed = [line for line in lines if line.kind in kinds and line.amount is not None]
        rate = Fraction(text)
        if rate == 0 or not taxed:
            continue
        base = _sum(taxed)
        amount = round_half_away(rate.numerator * base, rate.denominator * 100)
        printed = money_text(base, decimals)
        words = f"{text} % of the {name} lines, together {printed}"
        result.append(
            Line("tax", None, f"Tax on {name}", amount, words, f"{printed} * {text} / 100")
        )
    return result


GLUE_LIMIT_C = 30
"""Panel temperature from which hot-melt glue holds poorly (common practice, no source)."""


def _warnings(claim: ClaimFile, compiled: CompiledMatrix) -> Iterator[str]:
    yield from matrix_problem_of_choice(claim.claim, compiled.matrix)
    if claim.vehicle.vin is not None:
        _, warning = vin_findings(claim.vehicle.vin)
        if warning:
            yield warning
    glued = any(panel.access == "glue" for panel in claim.panels)
    temperature = claim.conditions.panel_temperature_c
    if glued and temperature is not None and temperature >= GLUE_LIMIT_C:
        yield (
            f"A panel is to be glued at {plain(temperature)} °C; hot-melt glue holds poorly from "
            f"about {GLUE_LIMIT_C} °C up (common practice)."
        )
    if any(panel.access == "glue" and panel.repainted for panel in claim.panels):
        yield "A repainted panel is to be glued; a pull can lift new paint (common practice)."
