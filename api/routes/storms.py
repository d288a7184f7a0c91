"""What the shop's storms earned: the owner's view of the folder that the server was given.

Every figure is the shop's own estimate; nothing here changes anything. The answers are those of
`hailcalc storm compare` over the same folders.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path as FilePath
from typing import Annotated, Any, Literal

from fastapi import APIRouter, FastAPI, Path, Query, Request
from pydantic import ConfigDict, Field, StringConstraints
from starlette.responses import Response

from api.auth import Owner
from api.examples import COMPARISON, STORMS
from api.problems import Mistake, Refusal, at
from api.replying import json_reply, response_of
from api.responses import problem_responses
from api.routing import described
from api.state import storms_of
from api.storms import Compared, StormEntry, StormShelf
from api.views import View, view_text
from hailcalc.money import money_text
from hailcalc.problems import InputError, Problem, shown
from hailcalc.storm.compare import Measure
from hailcalc.storm.folder import RATE, rates_of

router = APIRouter(prefix="/v1/storms", tags=["storms"])

SVG = "image/svg+xml"


class StormProblem(View):
    """A mistake in a storm's folder: in which file, where in it (RFC 6901), found and expected."""

    file: str
    pointer: str
    found: str
    expected: str


class StormItem(View):
    """A storm in a list; all but the name is null for one that cannot be read.

    `vehicles` are all of the book. `cost` and `margin` are estimates, like `revenue`, before tax.
    """

    name: str
    title: str | None = None
    place: str | None = None
    hail: date | None = None
    first_day: date | None = None
    last_day: date | None = None
    currency: str | None = None
    vehicles: int | None = None
    revenue: str | None = None
    cost: str | None = None
    margin: str | None = None
    problems: list[StormProblem] = Field(default_factory=list)


class StormList(View):
    """The storms of the server's folder by name."""

    storms: list[StormItem]


class LimitsView(View):
    """A measure: decimal text, null where there is nothing to divide by."""

    value: str | None
    low: str | None
    high: str | None


class BreakEvenView(View):
    """Vehicles that pay for the fixed costs, null where they never do.

    Limits are null too where the vehicles are too few for any.
    """

    vehicles: int | None
    low: int | None
    high: int | None


class RankedView(View):
    """A storm's rank and its measures in the currency of the comparison.

    The figures are of `priced` vehicles; `aside` of all its `vehicles` have no price.
    """

    rank: int
    storm: str
    vehicles: int
    priced: int
    aside: int
    measures: dict[Measure, LimitsView]
    break_even: BreakEvenView


class ComparisonView(View):
    """Storms ranked by a measure, as `hailcalc storm compare --json` writes it.

    `chances[one][other]`: that one beats the other, 0 to 1. `storms` are all figures of each.
    """

    by: Measure
    currency: str
    rates: dict[str, str]
    level: int
    resamples: int
    answer: str
    notes: list[str] = Field(description="What must be known before the ranking is trusted.")
    ranking: list[RankedView]
    chances: dict[str, dict[str, str | None]]
    storms: list[dict[str, Any]]


RateText = Annotated[str, StringConstraints(pattern=RATE, max_length=24)]


class MeasureQuery(View):
    """What the ranking is by, and what other currencies are worth."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    by: Measure = Field("margin", description="What the ranking is by.")
    rate: list[RateText] = Field(
        default_factory=list,
        max_length=20,
        description="What one unit of a currency is worth in that of the first storm by name, such "
        "as EUR=1.085; once for each other currency.",
    )


class ChartQuery(MeasureQuery):
    """Of which comparison a chart is, and for how wide a screen."""

    width: Literal["wide", "narrow"] = Field(
        "wide", description="`narrow`: for the screen of a phone."
    )


@router.get("", summary="List the storms", **described(StormList, STORMS, 401, 403, 404, 503))
def list_storms(request: Request, _: Owner) -> Response:
    """Every storm of the server's folder with its headline figures.

    One that cannot be read comes with what is wrong with it.
    """
    entries = _shelf(request.app).entries()
    return response_of(json_reply(view_text(StormList(storms=[_item(each) for each in entries]))))


@router.get(
    "/comparison",
    summary="Compare the storms",
    **described(ComparisonView, COMPARISON, 401, 403, 404, 409, 422, 503),
)
def compare_storms(request: Request, _: Owner, query: Annotated[MeasureQuery, Query()]) -> Response:
    """The storms that can be read, the best first, with intervals and chances.

    Storms in several currencies need a rate for each that is not the first one's.
    """
    return response_of(json_reply(_compared(request.app, query).text))


@router.get(
    "/charts/{chart}.svg",
    summary="One chart of the comparison",
    response_class=Response,
    responses={
        200: {
            "description": "The chart as SVG, with a title and all of it in words; no script.",
            "content": {SVG: {"schema": {"type": "string"}}},
        },
        **problem_responses(401, 403, 404, 409, 422, 503),
    },
)
def show_chart(
    request: Request,
    _: Owner,
    chart: Annotated[
        str,
        Path(
            description="`measure-` and the measure, `measures`, `waits`, `chances`; a storm's "
            "name with `-waterfall` or `-money`.",
            examples=["measures"],
        ),
    ],
    query: Annotated[ChartQuery, Query()],
) -> Response:
    """A chart of the comparison by this measure."""
    compared = _compared(request.app, query)
    charts = compared.narrow if query.width == "narrow" else compared.charts
    content = charts.get(f"{chart}.svg")
    if content is None:
        names = ", ".join(FilePath(name).stem for name in charts)
        missing = at("path", ("chart",), shown(chart), f"one of {names}")
        raise Refusal("no-such-chart", f"There is no chart {shown(chart)}.", [missing])
    return Response(content, media_type=SVG)


def _shelf(app: FastAPI) -> StormShelf:
    shelf = storms_of(app)
    if shelf is None:
        detail = "This server shows no storms: start it with hailcalc serve --storms DIR."
        raise Refusal("no-storms", detail)
    return shelf


def _compared(app: FastAPI, query: MeasureQuery) -> Compared:
    shelf = _shelf(app)
    try:
        rates = rates_of(query.rate)
    except InputError as error:
        mistakes = [at("query", ("rate",), each.found, each.expected) for each in error.problems]
        raise Refusal("invalid-request", "The rates cannot be used.", mistakes) from None
    try:
        return shelf.comparison(query.by, rates)
    except InputError as error:
        mistakes = [_mistake(problem) for problem in error.problems]
        detail = "The storms cannot be compared as they are."
        raise Refusal("storms-not-comparable", detail, mistakes) from None


def _mistake(problem: Problem) -> Mistake:
    """A problem of a storm; no path of this machine is told."""
    name = FilePath(problem.file).name
    return Mistake("storm", problem.pointer, problem.found, problem.expected, name)


def _item(entry: StormEntry) -> StormItem:
    figures = entry.figures
    if figures is None:
        problems = [
            StormProblem(
                file=FilePath(each.file).name,
                pointer=each.pointer,
                found=each.found,
                expected=each.expected,
            )
            for each in entry.problems
        ]
        return StormItem(name=entry.name, problems=problems)
    header, decimals = figures.storm.storm, figures.storm.decimals
    return StormItem(
        name=header.name,
        title=header.title,
        place=header.place,
        hail=header.date,
        first_day=header.first_day,
        last_day=header.last_day,
        currency=header.currency,
        vehicles=figures.counts.all,
        revenue=money_text(figures.revenue_total, decimals),
        cost=money_text(figures.cost_total, decimals),
        margin=money_text(figures.margin, decimals),
    )
