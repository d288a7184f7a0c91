"""The command line: pricing, planning, comparing, verifying, serving, and who may come in.

Output is plain text that pipes well: aligned columns, no colour, no boxes. Results go to
standard output, everything about them to standard error. Exit codes: 0 done; 1 a sheet
does not verify; 2 what was given cannot be used; 3 priced, but a panel has no price yet.
Imports sit inside the commands, so that each loads only what it needs.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from enum import StrEnum
from functools import cache
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from hailcalc.cli_store import DataOption, kept_in, remark

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from hailcalc.estimate import Estimate
    from hailcalc.intake import Intake
    from hailcalc.sheet.verify import Difference

NOT_VERIFIED = 1
BAD_INPUT = 2
INCOMPLETE = 3

app = typer.Typer(
    name="hailcalc",
    help="Price hail-damaged vehicles: from dent counts to a claim sheet checked by hand.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
matrix_app = typer.Typer(
    help="Look at and check difficulty matrices.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(matrix_app, name="matrix")
key_app = typer.Typer(
    help="The shop's key, which signs its sheets.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(key_app, name="key")


class Paper(StrEnum):
    """Paper sizes of the claim sheet."""

    letter = "letter"
    a4 = "a4"


class LabelTable(StrEnum):
    """What panels are called in print."""

    us = "us"
    uk = "uk"


class Shape(StrEnum):
    """Files whose JSON Schema is published."""

    claim = "claim"
    matrix = "matrix"
    sheet = "sheet"


class BodyStyle(StrEnum):
    """Bodies that have outlines."""

    sedan = "sedan"
    coupe = "coupe"
    hatch = "hatch"
    wagon = "wagon"
    suv = "suv"
    pickup = "pickup"
    van = "van"
    convertible = "convertible"


class PlanAim(StrEnum):
    """What a plan of access makes least."""

    cost = "cost"
    minutes = "minutes"


MatrixOption = Annotated[
    str | None,
    typer.Option("--matrix", metavar="NAME|FILE", help="Matrix instead of the claim's own choice."),
]
AimOption = Annotated[
    PlanAim | None, typer.Option(help="What planned access makes least; none: the claim's own.")
]
TalliesOption = Annotated[Path | None, typer.Option(help="CSV of tallies to add, one row a panel.")]
DentsOption = Annotated[
    Path | None,
    typer.Option(help="Single dents to add, with or without places: CSV or GeoJSON."),
]
OutlinesOption = Annotated[
    Path | None,
    typer.Option(help="The shop's own outlines and zones: CSV with WKT, or GeoJSON."),
]
PaperOption = Annotated[Paper, typer.Option(help="Paper of the PDF.")]
LabelsOption = Annotated[LabelTable, typer.Option(help="What panels are called in print.")]


def _require_two_places(one: Path | None, other: Path | None) -> None:
    """Raise InputError if two outputs would be written over each other."""
    from hailcalc.problems import InputError, Problem

    if one is not None and other is not None and one.resolve() == other.resolve():
        raise InputError([Problem(str(one), (), "both into one file", "a file for each")])


def _require_sheet_to_sign(sign: Path | None, pdf: Path | None, json: Path | None) -> None:
    """Raise InputError if a key is to sign nothing, or the sheet would be written over it."""
    from hailcalc.problems import InputError, Problem

    if sign is not None and pdf is None and json is None:
        found = "a key and no sheet to sign"
        raise InputError([Problem(str(sign), (), found, "--pdf or --json as well")])
    for written in (pdf, json):
        _require_two_places(written, sign)


def main() -> NoReturn:
    """Run the command line; never a traceback for a mistake in what was given."""
    from hailcalc.problems import InputError

    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            # A terminal that knows few letters gets escapes, not a traceback.
            stream.reconfigure(errors="backslashreplace")
    if sys.argv[1:2] not in [[name] for name in _own_commands()]:
        _add_others()
    try:
        app()
    except InputError as error:
        for problem in error.problems:
            remark(problem)
        sys.exit(BAD_INPUT)
    sys.exit(0)


def _own_commands() -> Iterator[str]:
    """The commands of this module that stand by themselves."""
    for command in app.registered_commands:
        if command.callback is not None and command.callback.__module__ == __name__:
            yield command.name or command.callback.__name__


@cache
def _add_others() -> None:
    """Add the commands on stores, books, storms and reports, which a single claim does not need.

    Making them ready takes about a tenth of the time in which a claim is priced.
    """
    from hailcalc.cli_portfolio import portfolio_commands
    from hailcalc.cli_reports import reports_commands
    from hailcalc.cli_store import store_commands
    from hailcalc.cli_storm import storm_commands

    for add in (store_commands, portfolio_commands, storm_commands, reports_commands):
        add(app)


@app.command(epilog="Example: hailcalc price claim.json --pdf sheet.pdf --json sheet.json")
def price(
    claim: Annotated[Path, typer.Argument(metavar="CLAIM", help="Claim file (JSON).")],
    matrix: MatrixOption = None,
    tallies: TalliesOption = None,
    dents: DentsOption = None,
    outlines: OutlinesOption = None,
    aim: AimOption = None,
    pdf: Annotated[Path | None, typer.Option(help="Write the claim sheet as PDF here.")] = None,
    json: Annotated[Path | None, typer.Option(help="Write the claim sheet as JSON here.")] = None,
    sign: Annotated[
        Path | None, typer.Option(metavar="KEY", help="The shop's private key, to sign the sheet.")
    ] = None,
    paper: PaperOption = Paper.letter,
    labels: LabelsOption = LabelTable.us,
) -> None:
    """Price a claim: print its lines, and write the claim sheet as PDF and JSON.

    Exit code 0: priced; 2: the claim or the matrix cannot be used; 3: priced, but a panel is
    beyond the matrix and needs an agreed price.
    """
    from hailcalc.files import write_all
    from hailcalc.intake import take_in
    from hailcalc.terminal import estimate_text, notes

    _require_two_places(pdf, json)
    _require_sheet_to_sign(sign, pdf, json)
    intake = take_in(claim, matrix, tallies, dents, outlines=outlines)
    intake, estimate = _estimated(intake, claim, aim)
    wanted: dict[Path, bytes] = {}
    document = _sheet_of(estimate, sign) if json is not None or sign is not None else {}
    if json is not None:
        from hailcalc.sheet.document import sheet_text

        wanted[json] = sheet_text(document).encode()
    if pdf is not None:
        from hailcalc.sheet.pdf import sheet_pdf

        wanted[pdf] = sheet_pdf(
            estimate,
            paper=paper.value,
            labels=labels.value,
            signature=document.get("signature"),
        )
    write_all(wanted)
    print(estimate_text(estimate, labels.value), end="")
    _close((*intake.notes, *notes(estimate, labels.value)), estimate)


def _sheet_of(estimate: Estimate, sign: Path | None) -> dict[str, Any]:
    """The sheet's JSON, signed by the key in a file if there is one."""
    from hailcalc.sheet.document import sheet_json

    document = sheet_json(estimate)
    if sign is None:
        return document
    from hailcalc.signing import signed

    return signed(document, _key_in(sign, private=True))


def _key_in(file: Path, *, private: bool = False) -> dict[str, Any]:
    from hailcalc.files import read_text
    from hailcalc.signing import read_key

    return read_key(read_text(file), str(file), private=private)


def _estimated(
    intake: Intake, file: Path, aim: PlanAim | None, every: bool = False
) -> tuple[Intake, Estimate]:
    """What was taken in with another aim, or every panel to be planned, and its estimate."""
    from hailcalc.estimate import price as price_claim
    from hailcalc.intake import to_be_planned

    if aim is not None or every:
        intake = to_be_planned(intake, file, None if aim is None else aim.value, every)
    return intake, price_claim(intake.claim, intake.compiled)


def _close(notes: Iterable[str], estimate: Estimate) -> None:
    """Say what must be said beside an estimate, and leave with 3 if a panel has no price."""
    for note in notes:
        remark(f"note: {note}")
    if not estimate.totals.complete:
        remark("incomplete: a panel has no price yet")
        raise typer.Exit(INCOMPLETE)


@app.command(epilog="Example: hailcalc plan claim.json --pdf job-card.pdf")
def plan(
    claim: Annotated[Path, typer.Argument(metavar="CLAIM", help="Claim file (JSON).")],
    matrix: MatrixOption = None,
    tallies: TalliesOption = None,
    dents: DentsOption = None,
    outlines: OutlinesOption = None,
    aim: AimOption = None,
    all_panels: Annotated[
        bool, typer.Option("--all-panels", help="Plan every panel, whatever access it has.")
    ] = False,
    pdf: Annotated[Path | None, typer.Option(help="Write the job card as PDF here.")] = None,
    json: Annotated[Path | None, typer.Option(help="Write the plan as JSON here.")] = None,
    paper: PaperOption = Paper.letter,
    labels: LabelsOption = LabelTable.us,
) -> None:
    """Plan how each panel is reached, and what comes off in which order; write the job card.

    Exit code 0: planned; 2: the claim or the matrix cannot be used; 3: planned, but a panel has
    no price yet.
    """
    import json as json_text

    from hailcalc.files import write_all
    from hailcalc.intake import take_in
    from hailcalc.planreport import plan_report, plan_text
    from hailcalc.terminal import warnings

    _require_two_places(pdf, json)
    intake = take_in(claim, matrix, tallies, dents, outlines=outlines)
    intake, estimate = _estimated(intake, claim, aim, every=all_panels)
    wanted: dict[Path, bytes] = {}
    if json is not None:
        report = plan_report(estimate)
        wanted[json] = (json_text.dumps(report, ensure_ascii=False, indent=2) + "\n").encode()
    if pdf is not None:
        from hailcalc.jobcard.pdf import job_card_pdf

        wanted[pdf] = job_card_pdf(estimate, paper=paper.value, labels=labels.value)
    write_all(wanted)
    print(plan_text(estimate, labels.value), end="")
    _close((*intake.notes, *warnings(estimate, labels.value)), estimate)


@app.command(epilog="Example: hailcalc recount shop.json adjuster.json --pdf recount.pdf")
def recount(
    a: Annotated[Path, typer.Argument(metavar="A", help="Claim file with the first count.")],
    b: Annotated[
        Path, typer.Argument(metavar="B", help="The second count: a claim file, or dents.")
    ],
    matrix: MatrixOption = None,
    gate: Annotated[
        float, typer.Option(min=1, max=100, help="Marks farther apart are two dents, mm.")
    ] = 15.0,
    found: Annotated[
        float, typer.Option(min=50, max=99.9, help="Dents of 100 that a careful counter finds.")
    ] = 95.0,
    pdf: Annotated[Path | None, typer.Option(help="Write tables and drawings here.")] = None,
    json: Annotated[Path | None, typer.Option(help="Write every figure as JSON here.")] = None,
    paper: PaperOption = Paper.letter,
    labels: LabelsOption = LabelTable.us,
) -> None:
    """Compare two counts of one vehicle: dents, bands and money, and mark by mark.

    B may be a claim file, or only the second counter's dents as CSV or GeoJSON. A's matrix
    prices both. Exit code 0: compared; 2: a file cannot be used, or they are not
    about one vehicle.
    """
    from fractions import Fraction

    from hailcalc.files import write_all
    from hailcalc.intake import take_in_two
    from hailcalc.problems import InputError
    from hailcalc.recount import recount as compare
    from hailcalc.recount.report import recount_json_text, recount_text

    _require_two_places(pdf, json)
    first, second = take_in_two(a, b, matrix)
    try:
        compared = compare(
            first.claim,
            second.claim,
            first.compiled,
            gate_mm=gate,
            found=Fraction(str(found)) / 100,
        )
        wanted: dict[Path, bytes] = {}
        if json is not None:
            wanted[json] = recount_json_text(compared).encode()
        if pdf is not None:
            from hailcalc.recount.pdf import recount_pdf

            wanted[pdf] = recount_pdf(compared, paper=paper.value, labels=labels.value)
    except InputError as error:
        files = {"A": str(a), "B": str(b)}
        raise InputError(
            [replace(each, file=files.get(each.file, each.file)) for each in error.problems]
        ) from None
    write_all(wanted)
    print(recount_text(compared, labels.value), end="")


def _looked_at(
    file: Path, key: dict[str, Any] | None = None
) -> tuple[dict[str, Any], list[Difference]]:
    """A claim sheet, JSON or PDF, and every difference from what is recomputed."""
    from hailcalc.files import MAX_PDF_BYTES, read_bytes, text_of
    from hailcalc.sheet.verify import read_sheet, verify_sheet

    data = read_bytes(file, MAX_PDF_BYTES)
    if data[:1024].lstrip().startswith(b"%PDF"):
        from hailcalc.sheet.pdfcheck import verify_pdf

        return verify_pdf(data, str(file), key)
    document = read_sheet(text_of(data, str(file)), str(file))
    return document, verify_sheet(document, str(file), key)


def _estimate_on(file: Path) -> Estimate:
    """The estimate of a claim sheet that verifies. Raises InputError for one that does not."""
    from hailcalc.problems import InputError, Problem
    from hailcalc.sheet.verify import estimate_on

    document, differences = _looked_at(file)
    if differences:
        found = "a sheet that does not verify"
        raise InputError([Problem(str(file), (), found, "one as it was made; see hailcalc verify")])
    return estimate_on(document)


@app.command(epilog="Example: hailcalc changes sheet.pdf supplement.pdf --pdf changes.pdf")
def changes(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="The sheet before, JSON or PDF.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The supplement's sheet.")],
    reason: Annotated[str, typer.Option(help="Why there is a supplement; printed.")] = "",
    pdf: Annotated[Path | None, typer.Option(help="Write the difference sheet here.")] = None,
    json: Annotated[Path | None, typer.Option(help="Write every line side by side here.")] = None,
    paper: PaperOption = Paper.letter,
    labels: LabelsOption = LabelTable.us,
) -> None:
    """Compare two sheets of one claim, line by line: what a supplement changes.

    Both sheets are recomputed first. Exit code 0: compared; 2: a sheet does not verify, or they
    are not about one claim.
    """
    import json as json_text

    from hailcalc.claim import changes_between
    from hailcalc.claim.report import changes_json, changes_text
    from hailcalc.files import write_all

    _require_two_places(pdf, json)
    found = changes_between(_estimate_on(old), _estimate_on(new))
    wanted: dict[Path, bytes] = {}
    if json is not None:
        told = changes_json(found, reason)
        wanted[json] = (json_text.dumps(told, ensure_ascii=False, indent=2) + "\n").encode()
    if pdf is not None:
        from hailcalc.claim.pdf import changes_pdf

        wanted[pdf] = changes_pdf(found, reason=reason, paper=paper.value, labels=labels.value)
    write_all(wanted)
    print(changes_text(found, labels.value, reason), end="")


@app.command(epilog="Example: hailcalc verify sheet.pdf")
def verify(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A claim sheet, JSON or PDF.")],
    key: Annotated[
        Path | None, typer.Option(help="The shop's key, which must have signed the sheet.")
    ] = None,
) -> None:
    """Recompute a claim sheet from the claim and the matrix inside it, and list every difference.

    Exit code 0: every line, total and the digest agree; 1: something differs; 2: not a sheet.
    """
    document, differences = _looked_at(file, None if key is None else _key_in(key))
    for difference in differences:
        print(difference)
    if differences:
        how_many = "1 difference" if len(differences) == 1 else f"{len(differences)} differences"
        remark(f"{file}: does not verify, {how_many}")
        raise typer.Exit(NOT_VERIFIED)
    number = document["claim_file"]["claim"]["number"]
    print(f"{file}: claim {number}, {len(document['lines'])} lines recomputed, all agree")
    print(f"digest {document['digest']}")
    print(_signed_words(document, key is not None))


def _signed_words(document: dict[str, Any], checked: bool) -> str:
    """Whether a sheet is signed, by which key, and whether that was looked into."""
    from hailcalc.signing import shown_fingerprint, signer

    named = signer(document.get("signature"))
    if named is None:
        return "not signed by a key"
    told = f"by the key {shown_fingerprint(named)}"
    return f"signed {told}" if checked else f"signed, it says, {told}: check it with --key"


@key_app.command("new", epilog="Example: hailcalc key new --out shop-key.json")
def key_new(
    out: Annotated[
        Path, typer.Option(metavar="FILE", help="Where the private key is to lie.")
    ] = Path("shop-key.json"),
) -> None:
    """Make the shop's key: a private file to sign with, a public one to hand out.

    The private key lets whoever has it sign as the shop. Nothing is written over.
    """
    import json as json_text

    from hailcalc.files import write_new
    from hailcalc.problems import InputError, Problem
    from hailcalc.signing import fingerprint, new_key, public_key, shown_fingerprint

    if not out.name:
        raise InputError([Problem(str(out), (), "a folder", "a name for the key's file")])
    key = new_key()
    public = out.with_suffix(".public.json")
    write_new(
        {
            out: (json_text.dumps(key, indent=2) + "\n").encode(),
            public: (json_text.dumps(public_key(key), indent=2) + "\n").encode(),
        },
        secret={out},
    )
    print(f"fingerprint {shown_fingerprint(fingerprint(key))}")
    print(f"{out}: signs sheets; keep it to yourself, with a copy in a safe place")
    print(f"{public}: checks them; hand it out, and tell the fingerprint by another way")


@matrix_app.command("list", epilog="Example: hailcalc matrix list")
def matrix_list() -> None:
    """List the matrices that claims may name, and those that have mistakes."""
    from hailcalc.files import matrices_folder, read_matrices
    from hailcalc.terminal import matrices_text

    readings = list(read_matrices(matrices_folder()))
    print(matrices_text(readings), end="")
    broken = [problem for _, reading in readings for problem in reading.problems]
    for problem in broken:
        remark(problem)
    if broken:
        raise typer.Exit(BAD_INPUT)


@matrix_app.command("show", epilog="Example: hailcalc matrix show copperfin-2026")
def matrix_show(
    name: Annotated[str, typer.Argument(metavar="NAME|FILE", help="A matrix.")],
    labels: LabelsOption = LabelTable.us,
) -> None:
    """Print a matrix as tables: cells by band and size, extras, removal & refit."""
    from hailcalc.intake import matrix_named
    from hailcalc.terminal import matrix_text

    print(matrix_text(matrix_named(name), labels.value), end="")


@matrix_app.command("check", epilog="Example: hailcalc matrix check matrices/copperfin-2026.toml")
def matrix_check(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="[FILE]...", help="Matrix files; none: all.")
    ] = None,
) -> None:
    """Check matrix files and list every mistake with its table, row and column."""
    from hailcalc.files import matrices_folder, matrix_files, read_matrix_file

    broken = False
    for path in files or matrix_files(matrices_folder()):
        reading = read_matrix_file(path)
        for problem in reading.problems:
            remark(problem)
        broken = broken or bool(reading.problems)
        if reading.matrix is not None:
            header = reading.matrix.matrix
            grids = len(reading.matrix.grid)
            extras, operations = len(reading.matrix.extra), len(reading.matrix.removal)
            print(
                f"{path}: sound; {header.currency}, {grids} grids, {extras} extras, "
                f"{operations} operations"
            )
    if broken:
        raise typer.Exit(BAD_INPUT)


@app.command(epilog="Example: hailcalc outlines hatch --geojson hatch.geojson")
def outlines(
    body: Annotated[BodyStyle, typer.Argument(metavar="BODY", help="sedan, coupe, hatch, …")],
    length: Annotated[
        int | None, typer.Option(min=2000, max=9000, help="Overall length, mm.")
    ] = None,
    width: Annotated[
        int | None, typer.Option(min=1000, max=2600, help="Overall width, mm.")
    ] = None,
    height: Annotated[
        int | None, typer.Option(min=900, max=3500, help="Overall height, mm.")
    ] = None,
    geojson: Annotated[
        Path | None, typer.Option(help="Write outlines and zones here, to be changed.")
    ] = None,
    pdf: Annotated[
        Path | None, typer.Option(help="Write empty drawings here, to count on by hand.")
    ] = None,
    paper: PaperOption = Paper.letter,
    labels: LabelsOption = LabelTable.us,
) -> None:
    """List the generic outlines of a body's panels: size, area, zones.

    They are drawn from plain proportions and are no maker's drawing.
    """
    from hailcalc.files import write_all
    from hailcalc.outlinesheets import counting_pdf, outlines_geojson, outlines_text

    _require_two_places(geojson, pdf)
    sizes = (length, width, height)
    wanted: dict[Path, bytes] = {}
    if geojson is not None:
        wanted[geojson] = outlines_geojson(body.value, sizes).encode()
    if pdf is not None:
        wanted[pdf] = counting_pdf(body.value, sizes, paper=paper.value, labels=labels.value)
    write_all(wanted)
    print(outlines_text(body.value, sizes, labels.value), end="")


@app.command(epilog="Example: hailcalc schema claim > claim.schema.json")
def schema(
    shape: Annotated[Shape, typer.Argument(metavar="claim|matrix|sheet", help="Which file.")],
) -> None:
    """Print the JSON Schema (2020-12) of a claim file, a matrix file or a claim sheet."""
    import json

    from hailcalc.schemas import schema as schema_of

    print(json.dumps(schema_of(shape.value), indent=2))


@app.command(epilog="Example: hailcalc demo --out demo/out")
def demo(
    out: Annotated[Path, typer.Option(help="Folder for the sheets.")] = Path("demo/out"),
    paper: PaperOption = Paper.letter,
    data: Annotated[
        Path | None, typer.Option(help="Keep the claims in a new store here instead.")
    ] = None,
) -> None:
    """Price the invented demo storm: sixteen vehicles, a PDF and a JSON each, and a summary.

    Beside them what three more invented storms earned, compared: storms.pdf and storms.json.
    With --data the same claims live in a store, each in another state, for hailcalc serve.
    """
    from hailcalc.demo import run_demo

    if data is not None:
        from api.demostore import fill
        from hailcalc.files import shipped

        with kept_in(data, create=True) as store:
            kept = fill(store, shipped("matrices"))
        print(f"{kept} claims kept in {data}; look at them: hailcalc serve --data {data}")
        return
    if not run_demo(out, paper.value):
        raise typer.Exit(BAD_INPUT)


@app.command(epilog="Example: hailcalc serve --port 8423")
def serve(
    host: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Address of this machine to listen on.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0: any.")] = 8423,
    name: Annotated[
        list[str] | None,
        typer.Option(metavar="HOSTNAME", help="A further name to answer under; may be repeated."),
    ] = None,
    address: Annotated[
        str | None,
        typer.Option(metavar="URL", help="What links begin with, behind a proxy."),
    ] = None,
    data: DataOption = None,
    tls_certificate: Annotated[
        Path | None, typer.Option(help="Certificate with its chain, PEM.")
    ] = None,
    tls_key: Annotated[Path | None, typer.Option(help="The certificate's key, PEM.")] = None,
    key: Annotated[
        Path | None,
        typer.Option(help="Key that signs sheets; none: signing-key.json of the data folder."),
    ] = None,
    storms: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder of storms' folders, shown to the owner: /storms."),
    ] = None,
) -> None:
    """Serve the pages and the REST API, with its interactive documentation under /docs.

    On this machine alone no token is needed beforehand: one is made that ends with the server. To
    be reached by others make tokens first, and let TLS guard them. One line of JSON for each
    request goes to standard error.
    """
    from api.serve import Wanted
    from api.serve import serve as serve_api

    serve_api(
        Wanted(
            port=port,
            host=host,
            names=tuple(name or ()),
            address=address,
            data=data,
            tls_certificate=tls_certificate,
            tls_key=tls_key,
            key=key,
            storms=storms,
        )
    )
