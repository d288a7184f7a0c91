"""Commands on hail reports: list them, hold a claim against them, draw their footprint.

Reports come from files of the NOAA Storm Prediction Center that somebody has fetched; nothing
is asked for over the network. Rows set aside are told on standard error.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hailcalc.cli_store import remark

if TYPE_CHECKING:
    from hailcalc.reports.days import LocalDay
    from hailcalc.reports.ground import Point
    from hailcalc.reports.reading import Gathered

MOST_SET_ASIDE = 20
"""Rows set aside that are told one by one; JSON has them all."""

reports_app = typer.Typer(
    help="Was there hail? Reports of the NOAA Storm Prediction Center: evidence, never a verdict.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

FilesArgument = Annotated[
    list[Path],
    typer.Argument(metavar="FILE...", help="Hail reports: daily files or the long database."),
]
ZoneOption = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="Time zone of the place, such as America/Chicago."),
]
FileDateOption = Annotated[
    datetime | None,
    typer.Option(
        "--file-date", formats=["%Y-%m-%d"], help="Date of a daily file whose name has none."
    ),
]
ReachOption = Annotated[
    float, typer.Option("--reach", metavar="KM", help="How far around a report, km.")
]
JsonOption = Annotated[Path | None, typer.Option(help="Write every figure as JSON here.")]
SvgOption = Annotated[Path | None, typer.Option(help="Write a small map here.")]


@reports_app.command(
    "list", epilog="Example: hailcalc reports list 180615_rpts_hail.csv --zone America/Chicago"
)
def reports_list(
    files: FilesArgument,
    zone: ZoneOption = None,
    day: Annotated[
        datetime | None,
        typer.Option("--date", formats=["%Y-%m-%d"], help="Only reports of this local date."),
    ] = None,
    file_date: FileDateOption = None,
    json: JsonOption = None,
) -> None:
    """List hail reports by time: size in inches, mm and words, and place."""
    from hailcalc.files import write_all
    from hailcalc.reports.days import local_day, zone_named
    from hailcalc.reports.told import json_text, list_document, list_text

    named = None if zone is None else zone_named(zone)
    wanted = None if day is None else local_day(day.date(), zone)
    gathered = _gathered(files, file_date, wanted)
    reports = [each for each in gathered.reports if wanted is None or wanted.away(each.time) == 0]
    if json is not None:
        write_all({json: json_text(list_document(reports, named, gathered)).encode()})
    if wanted is not None:
        print(f"Hail reports on {wanted.words()}\n")
    print(list_text(reports, named), end="")
    if wanted is not None:
        _tell_missing(wanted, gathered)
    _tell(gathered)


@reports_app.command(
    "near",
    epilog="Example: hailcalc reports near claim.json 180615_rpts_hail.csv --zone America/Chicago",
)
def reports_near(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="[CLAIM] FILE...", help="A claim file, unless a place is given; then reports."
        ),
    ],
    lat: Annotated[float | None, typer.Option(help="Latitude instead of a claim's.")] = None,
    lon: Annotated[float | None, typer.Option(help="Longitude instead of a claim's.")] = None,
    day: Annotated[
        datetime | None,
        typer.Option("--date", formats=["%Y-%m-%d"], help="Date of loss instead of a claim's."),
    ] = None,
    zone: ZoneOption = None,
    reach: ReachOption = 10,
    most: Annotated[int, typer.Option(min=1, max=1000, help="Nearest reports to tell of.")] = 5,
    file_date: FileDateOption = None,
    json: JsonOption = None,
    svg: SvgOption = None,
) -> None:
    """Hold a claim's place and date of loss against hail reports.

    CLAIM needs its loss_location; or give --lat, --lon and --date. Without --zone the local date
    is not guessed: both UTC dates that it can touch are looked at.
    """
    from hailcalc.files import write_all
    from hailcalc.reports.days import local_day
    from hailcalc.reports.near import evidence_near
    from hailcalc.reports.told import json_text, near_document, near_text

    place, of_loss, files = _asked_for(files, lat, lon, day)
    wanted = local_day(of_loss, zone)
    gathered = _gathered(files, file_date, wanted)
    evidence = evidence_near(gathered, place, wanted, reach, most)
    written: dict[Path, bytes] = {}
    if json is not None:
        written[json] = json_text(near_document(evidence, gathered)).encode()
    if svg is not None:
        from hailcalc.reports.picture import near_svg

        written[svg] = near_svg(evidence).encode()
    _require_apart(json, svg)
    write_all(written)
    print(near_text(evidence), end="")
    _tell(gathered)


@reports_app.command(
    "footprint",
    epilog="Example: hailcalc reports footprint 180615_rpts_hail.csv --date 2018-06-15 "
    "--zone America/Chicago --geojson footprint.geojson",
)
def reports_footprint(
    files: FilesArgument,
    day: Annotated[
        datetime, typer.Option("--date", formats=["%Y-%m-%d"], help="Local date of the hail.")
    ],
    zone: ZoneOption = None,
    reach: ReachOption = 10,
    geojson: Annotated[
        Path | None, typer.Option(help="Write footprint and reports here (RFC 7946).")
    ] = None,
    wkt: Annotated[bool, typer.Option("--wkt", help="Print the footprint as WKT, alone.")] = False,
    file_date: FileDateOption = None,
    json: JsonOption = None,
    svg: SvgOption = None,
) -> None:
    """Draw the ground around the hail reports of one local date."""
    from hailcalc.files import write_all
    from hailcalc.reports.days import local_day
    from hailcalc.reports.footprint import footprint
    from hailcalc.reports.geojson import footprint_geojson, footprint_wkt
    from hailcalc.reports.records import NOTICE
    from hailcalc.reports.told import footprint_document, footprint_text, json_text

    wanted = local_day(day.date(), zone)
    gathered = _gathered(files, file_date, wanted)
    drawn = footprint([each for each in gathered.reports if wanted.away(each.time) == 0], reach)
    written: dict[Path, bytes] = {}
    if geojson is not None:
        written[geojson] = json_text(footprint_geojson(drawn, wanted)).encode()
    if json is not None:
        written[json] = json_text(footprint_document(drawn, wanted, gathered)).encode()
    if svg is not None:
        from hailcalc.reports.picture import footprint_svg

        written[svg] = footprint_svg(drawn, wanted).encode()
    _require_apart(geojson, json, svg)
    write_all(written)
    if wkt:
        print(footprint_wkt(drawn))
        remark(NOTICE)
    else:
        print(footprint_text(drawn, wanted), end="")
    _tell_missing(wanted, gathered)
    _tell(gathered)


def _asked_for(
    files: list[Path], lat: float | None, lon: float | None, day: datetime | None
) -> tuple[Point, date, list[Path]]:
    """The place, the date of loss and the files of reports. Raises InputError."""
    from hailcalc.problems import InputError, Problem
    from hailcalc.reports.ground import Point

    given = {"--lat": lat, "--lon": lon, "--date": day}
    if lat is None and lon is None and day is None:
        return (*_of_claim(files[0]), _some(files[1:]))
    if lat is None or lon is None or day is None:
        missing = " and ".join(name for name, value in given.items() if value is None)
        found = f"nothing for {missing}"
        expected = "--lat, --lon and --date together, or a claim file alone"
        raise InputError([Problem("place", (), found, expected)])
    problems = [
        Problem("place", (name,), f"{value:g}", f"degrees from -{limit} to {limit}")
        for name, value, limit in (("--lat", lat, 90), ("--lon", lon, 180))
        if not -limit <= value <= limit
    ]
    if problems:
        raise InputError(problems)
    return Point(lat, lon), day.date(), files


def _some(files: list[Path]) -> list[Path]:
    from hailcalc.problems import InputError, Problem

    if not files:
        expected = "hail reports: daily files or the long database"
        raise InputError([Problem("reports", (), "no file after the claim", expected)])
    return files


def _of_claim(file: Path) -> tuple[Point, date]:
    """Where and when a claim's loss was; other mistakes of the claim do not matter here."""
    from hailcalc.claimfile import read_claim
    from hailcalc.files import read_text
    from hailcalc.problems import InputError, Problem
    from hailcalc.reports.ground import Point

    reading = read_claim(read_text(file), str(file))
    header = reading.parts.claim
    if header is None:
        raise InputError(reading.problems)
    if header.loss_location is None:
        expected = "lat and lon of the loss, or --lat, --lon and --date instead of a claim"
        raise InputError([Problem(str(file), ("claim", "loss_location"), "nothing", expected)])
    if reading.problems:
        remark(f"note: {file} has mistakes elsewhere; hailcalc price lists them")
    where = header.loss_location
    return Point(float(where.lat), float(where.lon)), header.date_of_loss


def _gathered(files: list[Path], file_date: datetime | None, wanted: LocalDay | None) -> Gathered:
    """Every file read; of the long database one day and its neighbours, if a day is wanted.

    Raises InputError with the mistakes of all files.
    """
    from hailcalc.files import read_bytes
    from hailcalc.problems import InputError, Problem
    from hailcalc.reports.reading import MAX_BYTES, gather, read_reports
    from hailcalc.reports.records import Reading, Span

    if file_date is not None and len(files) > 1:
        found = f"one date for {len(files)} files"
        raise InputError([Problem("--file-date", (), found, "one daily file, or dates in names")])
    day = None if file_date is None else file_date.date()
    only = None if wanted is None else Span(wanted.span(-1).begin, wanted.span(1).end)
    readings: list[Reading] = []
    problems: list[Problem] = []
    for file in files:
        try:
            readings.append(read_reports(read_bytes(file, MAX_BYTES), str(file), day, only))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return gather(readings)


def _require_apart(*outputs: Path | None) -> None:
    """Raise InputError if two outputs would be written over each other."""
    from hailcalc.problems import InputError, Problem

    places = [output.resolve() for output in outputs if output is not None]
    for place in {place for place in places if places.count(place) > 1}:
        raise InputError([Problem(str(place), (), "several into one file", "a file for each")])


def _tell_missing(day: LocalDay, gathered: Gathered) -> None:
    from hailcalc.reports.days import files_missing
    from hailcalc.reports.told import missing_words

    missing = files_missing(day.span(), gathered.covered)
    if missing:
        remark(f"note: {missing_words(missing, 'the day')}")


def _tell(gathered: Gathered) -> None:
    """Say how files were read and which rows were set aside."""
    for note in gathered.notes:
        remark(f"note: {note}")
    for each in gathered.set_aside[:MOST_SET_ASIDE]:
        remark(each)
    beyond = len(gathered.set_aside) - MOST_SET_ASIDE
    if beyond > 0:
        remark(f"and {beyond:,} rows more were set aside; --json FILE has them all")


def reports_commands(app: typer.Typer) -> None:
    """Add the commands on hail reports to the program."""
    app.add_typer(reports_app, name="reports")
