"""The invented demo storm, priced: a PDF and a JSON for each vehicle, a recount, a summary.

Beside it three invented storms compared, as PDF and JSON. Claims and matrices come from `demo/`
and `matrices/`. A claim that cannot be priced is reported and skipped, and the rest goes on;
interrupted, it leaves whole sheets only.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from hailcalc.columns import columns_text
from hailcalc.estimate import Estimate, price
from hailcalc.files import shipped, write_all
from hailcalc.intake import take_in
from hailcalc.money import money_text
from hailcalc.problems import InputError, Problem
from hailcalc.sheet.document import sheet_json, sheet_text
from hailcalc.sheet.pdf import sheet_pdf


def run_demo(out: Path, paper: str) -> bool:
    """Price every demo claim into `out`. Returns whether none had to be skipped."""
    claims = sorted(shipped("demo", "claims").glob("*.json"))
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            [Problem(str(out), (), (error.strerror or "no folder").lower(), "a folder")]
        ) from None
    done: list[tuple[str, Estimate]] = []
    skipped = 0
    for number, path in enumerate(claims, 1):
        try:
            estimate = _price_one(path, out, paper)
        except InputError as error:
            skipped += 1
            for problem in error.problems:
                print(problem, file=sys.stderr)
            continue
        done.append((path.stem, estimate))
        print(f"{number} of {len(claims)}: {path.stem}", file=sys.stderr)
    recounts = 0
    for second in sorted(shipped("demo", "recount").glob("*.json")):
        try:
            _recount_one(second, out, paper)
            recounts += 1
        except InputError as error:
            skipped += 1
            for problem in error.problems:
                print(problem, file=sys.stderr)
    try:
        _compare_storms(out, paper)
    except InputError as error:
        skipped += 1
        for problem in error.problems:
            print(problem, file=sys.stderr)
    summary = summary_text(done)
    write_all({out / "summary.txt": summary.encode()})
    print(summary, end="")
    told = "1 recount" if recounts == 1 else f"{recounts} recounts"
    print(f"{len(done)} sheets and {told} in {out}, {skipped} skipped", file=sys.stderr)
    return not skipped


def _price_one(path: Path, out: Path, paper: str) -> Estimate:
    intake = take_in(path, folder=shipped("matrices"))
    estimate = price(intake.claim, intake.compiled)
    write_all(
        {
            out / f"{path.stem}.pdf": sheet_pdf(estimate, paper=paper),
            out / f"{path.stem}.json": sheet_text(sheet_json(estimate)).encode(),
        }
    )
    return estimate


def _recount_one(second: Path, out: Path, paper: str) -> None:
    """Compare a second count with the claim whose file begins with the same number."""
    from hailcalc.recount import recount
    from hailcalc.recount.pdf import recount_pdf
    from hailcalc.recount.report import recount_json_text

    number = second.stem.partition("-")[0]
    first = next(shipped("demo", "claims").glob(f"{number}-*.json"))
    folder = shipped("matrices")
    one = take_in(first, folder=folder)
    other = take_in(second, folder=folder)
    compared = recount(one.claim, other.claim, one.compiled)
    write_all(
        {
            out / f"{number}-recount.pdf": recount_pdf(compared, paper=paper),
            out / f"{number}-recount.json": recount_json_text(compared).encode(),
        }
    )


def _compare_storms(out: Path, paper: str) -> None:
    """Compare the storms whose books lie in the demo."""
    from hailcalc.storm.compare import compare
    from hailcalc.storm.folder import figures_of, open_storm, priced_book
    from hailcalc.storm.pdf import comparison_pdf
    from hailcalc.storm.report import comparison_json, json_text

    folders = [
        open_storm(file.parent) for file in sorted(shipped("demo", "storms").glob("*/storm.toml"))
    ]
    matrices = shipped("matrices")
    figures = [figures_of(each, priced_book(each, matrices=matrices)) for each in folders]
    comparison = compare(figures)
    write_all(
        {
            out / "storms.pdf": comparison_pdf(comparison, paper),
            out / "storms.json": json_text(comparison_json(comparison)).encode(),
        }
    )


def summary_text(done: Sequence[tuple[str, Estimate]]) -> str:
    """One row a vehicle: what it was, how many dents, what it came to."""
    rows = [["Sheet", "Body", "Matrix", "Panels", "Dents", "Total", "Net", "", ""]]
    for name, estimate in done:
        totals, tables = estimate.totals, estimate.compiled.tables
        rows.append(
            [
                name,
                estimate.claim.vehicle.body,
                estimate.compiled.matrix.name,
                str(len(estimate.panels)),
                str(sum(panel.count.all for panel in estimate.panels)),
                money_text(totals.total, tables.decimals),
                money_text(totals.net, tables.decimals),
                tables.currency,
                "" if totals.complete else "incomplete",
            ]
        )
    return columns_text(rows, right=[3, 4, 5, 6])
