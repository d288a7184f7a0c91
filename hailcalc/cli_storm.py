"""The commands on storms: what one earned, several compared, what if, and the work to come."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hailcalc.cli_store import remark
from hailcalc.storm.forecastcommand import forecast_command

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hailcalc.portfolio import PricedBook
    from hailcalc.storm.folder import StormFolder

_TOLD_ASIDE = 5
"""Vehicles set aside that are printed, each with a reason; `hailcalc portfolio` lists all."""


class By(StrEnum):
    """Measures that storms are compared by."""

    margin = "margin"
    per_vehicle = "per-vehicle"
    per_technician_day = "per-technician-day"
    per_repair_hour = "per-repair-hour"
    share = "share"
    revenue = "revenue"


class ReportPaper(StrEnum):
    """Paper sizes of the comparison."""

    letter = "letter"
    a4 = "a4"


storm_app = typer.Typer(
    help="What storms earned: figures, comparing, what if, and the work to come.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

FolderArgument = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="A storm's folder, or its storm.toml.")
]
AsOfOption = Annotated[
    str | None,
    typer.Option(
        metavar="DATE",
        help="Claims have waited up to it; none: the last day of work or of the book, if later.",
    ),
]
JsonOption = Annotated[Path | None, typer.Option(help="Write every figure as JSON here.")]
CsvOption = Annotated[Path | None, typer.Option(help="Write the figures as CSV here.")]
LevelOption = Annotated[
    int, typer.Option(min=50, max=99, help="Storms in a hundred that lie between the limits.")
]


@storm_app.command("show", epilog="Example: hailcalc storm show demo/storms/NAME --csv figures.csv")
def storm_show(
    folder: FolderArgument,
    as_of: AsOfOption = None,
    json: JsonOption = None,
    csv: CsvOption = None,
) -> None:
    """Show what a storm brought in, what it cost and what is left, by kind and by whom.

    Before tax. Exit code 0: shown; 2: the folder cannot be used.
    """
    from hailcalc.storm.folder import figures_of, open_storm
    from hailcalc.storm.report import json_text, storm_csv, storm_json, storm_text

    _require_apart(json, csv)
    day = None if as_of is None else _day(as_of)
    found = open_storm(folder)
    figures = figures_of(found, _priced(found), as_of=day)
    _write({json: json_text(storm_json(figures)), csv: storm_csv(figures)})
    print(storm_text(figures), end="")


@storm_app.command(
    "compare",
    epilog="Example: hailcalc storm compare demo/storms/ONE demo/storms/OTHER --by per-vehicle",
)
def storm_compare(
    folders: Annotated[list[Path], typer.Argument(metavar="FOLDER…", help="Storms' folders.")],
    by: Annotated[By, typer.Option(help="What the ranking is by.")] = By.margin,
    rate: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CODE=FIGURE",
            help="What one unit of a currency is worth in that of the first storm; repeatable.",
        ),
    ] = None,
    level: LevelOption = 90,
    resamples: Annotated[
        int, typer.Option(min=100, max=100_000, help="Times that the vehicles are drawn anew.")
    ] = 4000,
    json: JsonOption = None,
    csv: CsvOption = None,
    pdf: Annotated[Path | None, typer.Option(help="Write the comparison as PDF here.")] = None,
    svg: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Write the charts as SVG into this folder.")
    ] = None,
    paper: Annotated[ReportPaper, typer.Option(help="Paper of the PDF.")] = ReportPaper.letter,
) -> None:
    """Compare storms: which made most, how sure that is, and how many vehicles each needed.

    Storms in several currencies need a rate for each. The same books give the same figures.
    Exit code 0: compared; 2: a folder or a rate cannot be used.
    """
    from hailcalc.storm.compare import compare
    from hailcalc.storm.folder import figures_of, rates_of
    from hailcalc.storm.report import comparison_csv, comparison_json, comparison_text, json_text

    _require_apart(json, csv, pdf)
    rates = rates_of(rate or [])
    opened = _all_of(folders)
    figures = [figures_of(each, _priced(each)) for each in opened]
    comparison = compare(figures, by.value, rates=rates, level=level, resamples=resamples)
    files: dict[Path | None, str | bytes] = {
        json: json_text(comparison_json(comparison)),
        csv: comparison_csv(comparison),
    }
    if pdf is not None:
        from hailcalc.storm.pdf import comparison_pdf

        files[pdf] = comparison_pdf(comparison, paper.value)
    if svg is not None:
        from hailcalc.storm.charts import svg_files

        files |= {svg / name: chart for name, chart in svg_files(comparison).items()}
        _make_folder(svg)
    _write(files)
    print(comparison_text(comparison), end="")


@storm_app.command(
    "whatif", epilog="Example: hailcalc storm whatif demo/storms/NAME --pay share=50"
)
def storm_whatif(
    folder: FolderArgument,
    matrix: Annotated[
        str | None, typer.Option(metavar="NAME", help="Every vehicle priced under this matrix.")
    ] = None,
    pay: Annotated[
        str | None,
        typer.Option(metavar="KEY=FIGURE", help="One key of [pay] changed, such as share=50."),
    ] = None,
    technicians: Annotated[
        int | None, typer.Option(metavar="N", help="So many technicians.")
    ] = None,
    days: Annotated[int | None, typer.Option(metavar="N", help="So many days worked.")] = None,
    level: LevelOption = 90,
    json: JsonOption = None,
    csv: CsvOption = None,
) -> None:
    """Reckon one change to a storm over the vehicles that it really had: before, after, difference.

    Says what is held fixed. Exit code 0: reckoned; 2: the folder or the change cannot be used.
    """
    from hailcalc.storm.folder import after_change, figures_of, open_storm
    from hailcalc.storm.report import json_text, whatif_csv, whatif_json, whatif_text
    from hailcalc.storm.whatif import change_of, what_if

    _require_apart(json, csv)
    found = open_storm(folder)
    change = change_of(found.storm, matrix=matrix, pay=pay, technicians=technicians, days=days)
    before = figures_of(found, _priced(found))
    result = what_if(before, change, lambda asked: after_change(found, asked), level=level)
    _write({json: json_text(whatif_json(result)), csv: whatif_csv(result)})
    print(whatif_text(result), end="")


def _all_of(folders: list[Path]) -> list[StormFolder]:
    """Every folder, opened. Raises InputError with the mistakes of all of them."""
    from hailcalc.problems import InputError, Problem
    from hailcalc.storm.folder import open_storm

    problems: list[Problem] = []
    found: list[StormFolder] = []
    for folder in folders:
        try:
            found.append(open_storm(folder))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return found


def _priced(folder: StormFolder) -> PricedBook:
    """A storm's book, priced, with a remark on vehicles that were set aside."""
    from hailcalc.storm.folder import priced_book

    book = str(folder.path / folder.storm.storm.book)
    priced = priced_book(folder)
    reasons = {each.claim: each for each in reversed(priced.aside)}
    for each in [*reversed(reasons.values())][:_TOLD_ASIDE]:
        remark(
            f"{book}: row {each.row}: claim {each.claim} is set aside: {each.column}: "
            f"found {each.found}, expected {each.expected}"
        )
    if len(reasons) > _TOLD_ASIDE:
        remark(f"and {len(reasons) - _TOLD_ASIDE:,} more; hailcalc portfolio lists them all")
    return priced


def _day(text: str) -> date:
    """A date. Raises InputError for anything else."""
    import re

    from hailcalc.problems import InputError, Problem, shown

    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            pass
    raise InputError([Problem("--as-of", (), shown(text), "a date such as 2026-05-19")])


def _require_apart(*places: Path | None) -> None:
    """Raise InputError if two outputs would be written over each other."""
    from hailcalc.problems import InputError, Problem

    given = [path for path in places if path is not None]
    if len({path.resolve() for path in given}) < len(given):
        raise InputError([Problem(str(given[0]), (), "two into one file", "a file for each")])


def _make_folder(path: Path) -> None:
    """Make a folder if it is not there. Raises InputError if it cannot be made."""
    from hailcalc.problems import InputError, Problem

    try:
        path.mkdir(exist_ok=True)
    except OSError as error:
        reason = (error.strerror or "cannot be made").lower()
        raise InputError([Problem(str(path), (), reason, "a folder to write to")]) from None


def _write(files: Mapping[Path | None, str | bytes]) -> None:
    """Write what was asked for, all of it or nothing."""
    from hailcalc.files import write_all

    write_all(
        {
            path: data if isinstance(data, bytes) else data.encode()
            for path, data in files.items()
            if path is not None
        }
    )


def storm_commands(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    storm_app.command(
        "forecast",
        epilog="Example: hailcalc storm forecast demo/storms/NAME --booked 220 --by 2026-06-06",
    )(forecast_command)
    app.add_typer(storm_app, name="storm")
