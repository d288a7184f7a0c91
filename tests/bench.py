"""How fast: ratios measured in one run, so that a slow or busy machine changes both sides.

    make bench

Each figure is the best of several interleaved runs. Nothing here is a test; the aims are
printed beside the figures.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from time import perf_counter
from typing import Any

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import Estimate, compile_matrix, price
from hailcalc.files import load_matrix
from hailcalc.intake import take_in
from hailcalc.sheet.layout import TextMark
from hailcalc.sheet.pdf import PAPERS, composed, sheet_pdf
from hailcalc.vehicle import PANELS_OF_BODY

ROOT = Path(__file__).parent.parent
CLAIM = ROOT / "demo" / "claims" / "12-sedan-every-panel.json"
MARKS = 100_000
MATRIX = ROOT / "matrices" / "copperfin-2026.toml"


def best_of(runs: int, *actions: Callable[[], object]) -> list[float]:
    """Best seconds of each action, all run in turn."""
    best = [float("inf")] * len(actions)
    for _ in range(runs):
        for position, action in enumerate(actions):
            start = perf_counter()
            action()
            best[position] = min(best[position], perf_counter() - start)
    return best


def process(*arguments: str) -> Callable[[], object]:
    """A fresh Python process, its output thrown away."""
    command = [sys.executable, *arguments]
    quiet = subprocess.DEVNULL
    return lambda: subprocess.run(command, check=True, stdout=quiet, stderr=quiet)


def fourteen_panels() -> dict[str, Any]:
    """A pickup with tallies, marks and an oversize dent on fourteen panels."""
    panels = [
        {
            "panel": panel,
            "tally": {"dime": 11 + number, "nickel": 6, "quarter": 2},
            "marked": {"braced": {"dime": 3}},
            "oversize": [{"mm": 41.0}] if number == 0 else [],
        }
        for number, panel in enumerate(sorted(PANELS_OF_BODY["pickup"])[:14])
    ]
    return {
        "claim": {"number": "BENCH", "date_of_loss": "2026-05-19"},
        "vehicle": {"body": "pickup"},
        "panels": panels,
    }


def bare_canvas(estimate: Estimate) -> Callable[[], bytes]:
    """The sheet's strings on a bare reportlab canvas: same places, fonts and sizes."""
    from reportlab.pdfgen.canvas import Canvas

    pages = [
        [mark for mark in marks if isinstance(mark, TextMark)] for marks in composed(estimate).pages
    ]

    def draw() -> bytes:
        out = BytesIO()
        canvas = Canvas(out, pagesize=PAPERS["letter"], pageCompression=1, invariant=1)
        for marks in pages:
            for mark in marks:
                canvas.setFont(mark.face, mark.size)
                canvas.drawString(mark.x, mark.y, mark.text)
            canvas.showPage()
        canvas.save()
        return out.getvalue()

    return draw


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        pdf = str(Path(folder) / "sheet.pdf")
        base, plain, both = best_of(
            12,
            process("-c", "import pydantic, reportlab.pdfgen.canvas"),
            process("-m", "hailcalc", "price", str(CLAIM)),
            process("-m", "hailcalc", "price", str(CLAIM), "--pdf", pdf),
        )
    row("price, a process", plain / base, "× importing pydantic and a reportlab canvas", "≤ 2.5")
    row("price with --pdf, a process", both / base, "× the same", "")

    data = fourteen_panels()
    claim, matrix = require_claim(claim_from_data(data)), compile_matrix(load_matrix(MATRIX))
    text = json.dumps(data)
    one, parsed = best_of(300, lambda: price(claim, matrix), lambda: json.loads(text))
    row("price 14 panels, in process", one * 1000, "ms", "< 1")
    row("", one / parsed, "× parsing the claim's JSON", "")

    marks()

    intake = take_in(ROOT / "demo" / "claims" / "01-sedan-three-dents.json")
    estimate = price(intake.claim, intake.compiled)
    bare = bare_canvas(estimate)
    sheet, strings = best_of(40, lambda: sheet_pdf(estimate), bare)
    pages = len(composed(estimate).pages)
    row(f"a {pages}-page sheet", sheet / strings, "× its strings on a bare canvas", "≤ 2")


def marks() -> None:
    """A hundred thousand marks on a hood: classified, and against reading their CSV."""
    import csv
    from io import StringIO

    import numpy as np

    from hailcalc.counting.marks import classify, marked_twice, zone_marks
    from hailcalc.vehicle.outlines import outline
    from hailcalc.vehicle.shapes import generic_shape

    shape = generic_shape(outline("sedan", "hood"))
    random = np.random.default_rng(20260519)
    left, bottom, right, top = shape.outline.bounds
    x = np.round(random.uniform(left, right, MARKS), 1)
    y = np.round(random.uniform(bottom, top, MARKS), 1)
    size = np.round(random.uniform(8, 40, MARKS), 1)
    text = "".join(f"hood,{mm},{a},{b}\n" for mm, a, b in zip(size, x, y, strict=True))
    steps = np.arange(MARKS, dtype=np.float64)
    apart = steps % 400 * 20.0, steps // 400 * 20.0
    classified, twice, read = best_of(
        5,
        lambda: zone_marks(classify(shape, x, y, size)),
        # On a grid, so that none stands twice and all have to be looked at.
        lambda: marked_twice(*apart, size),
        lambda: list(csv.reader(StringIO(text))),
    )
    row(f"{MARKS:,} marks classified", classified, "s", "< 1")
    row("", classified / read, "× reading their CSV with the csv module", "")
    row("the same, looked at for twice", twice, "s", "")


def row(what: str, figure: float, unit: str, aim: str) -> None:
    """One line of the table."""
    print(f"{what:30} {figure:8.2f} {unit:46} {'aim ' + aim if aim else ''}".rstrip())


if __name__ == "__main__":
    main()
