"""What can be wrong with a claim only against outlines and a matrix.

Marks off their panel, squares that do not fit, sizes, oversize dents, decimals of money,
samples where every dent is to be counted, and panels to be planned that no rule lets be
reached. Runs on whatever parts of a claim file are sound.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from hailcalc.access.rules import METHODS, dent_kinds, no_method_words, ruling
from hailcalc.claimfile import ClaimParts, Mark, needs_survey
from hailcalc.estimate.compiled import CompiledMatrix
from hailcalc.matrix import AccessRules, MatrixTables
from hailcalc.money import decimals_of, plain
from hailcalc.problems import Place, Problem, shown

if TYPE_CHECKING:
    from hailcalc.counting.survey import Surveys


def fit_problems(parts: ClaimParts, compiled: CompiledMatrix, file: str = "claim") -> list[Problem]:
    """Mistakes that show only against outlines and a matrix."""
    return survey_and_fit(parts, compiled, file)[1]


def survey_and_fit(
    parts: ClaimParts, compiled: CompiledMatrix, file: str = "claim"
) -> tuple[Surveys, list[Problem]]:
    """The surveys of a claim's panels, and what `fit_problems` says."""
    tables = compiled.tables
    surveys: Surveys = {}
    problems: list[Problem] = []
    if any(needs_survey(panel) for _, panel in parts.panels):
        # Geometry is slow to import, and a plain tally has none.
        from hailcalc.counting.survey import survey_claim

        coins = [coin.name for coin in tables.coins]
        surveys, problems = survey_claim(parts, file, coins)
    problems += _matrix_problems(parts, tables, file)
    problems += _sample_problems(parts, surveys, tables, file)
    problems += _plan_problems(parts, surveys, compiled.matrix.access, file)
    return surveys, problems


def _plan_problems(
    parts: ClaimParts, surveys: Surveys, rules: AccessRules, file: str
) -> Iterator[Problem]:
    """Panels to be planned that every method is forbidden for."""
    temperature = None if parts.conditions is None else parts.conditions.panel_temperature_c
    for position, panel in parts.panels:
        survey = surveys.get(position)
        if panel.access != "plan" or (survey is None and needs_survey(panel)):
            continue
        found = ruling(panel, dent_kinds(panel, survey, rules), temperature, rules)
        if not any(found.allows(method) for method in METHODS):
            ways = ["a cooler panel"] if found.cooler_helps else []
            ways += ["the price of a replacement"] if panel.agreed is None else []
            expected = ", ".join([*ways, 'or "push" or "glue" by your own decision'])
            yield Problem(
                file,
                ("panels", position, "access"),
                no_method_words(found),
                expected if ways else expected.removeprefix("or "),
            )


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
