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
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from random import Random
from time import perf_counter
from typing import Any

from hailcalc.access.decide import (
    Fixed,
    MethodCost,
    Picks,
    Table,
    best,
    best_with,
    tabulate,
)
from hailcalc.access.rules import Method
from hailcalc.claimfile import ClaimFile, claim_from_data, require_claim
from hailcalc.estimate import Estimate, compile_matrix, price
from hailcalc.files import load_matrix
from hailcalc.intake import take_in
from hailcalc.removal import OperationRule, Removal
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

    plans(data)
    marks()

    intake = take_in(ROOT / "demo" / "claims" / "01-sedan-three-dents.json")
    estimate = price(intake.claim, intake.compiled)
    bare = bare_canvas(estimate)
    sheet, strings = best_of(40, lambda: sheet_pdf(estimate), bare)
    pages = len(composed(estimate).pages)
    row(f"a {pages}-page sheet", sheet / strings, "× its strings on a bare canvas", "≤ 2")


def plans(data: dict[str, Any]) -> None:
    """Planning: fourteen panels, twenty with sixty operations, the demo."""
    matrix = compile_matrix(load_matrix(MATRIX))
    planned = data | {"panels": [panel | {"access": "plan"} for panel in data["panels"]]}
    claim = require_claim(claim_from_data(planned))
    settled = as_planned(price(claim, matrix))
    whole, alone = best_of(40, lambda: price(claim, matrix), lambda: price(settled, matrix))
    row("14 panels planned and priced", whole * 1000, "ms", "")
    row("", whole / alone, "× pricing them as planned", "")

    panels, removal = twenty_panels()
    choose, reasons = best_of(
        20, lambda: chosen(panels, removal), lambda: with_next_best(panels, removal)
    )
    row("20 panels, 60 operations: plan", choose * 1000, "ms", "< 20")
    row("the same with every next best", reasons * 1000, "ms", "")
    tangle = tangled(panels, removal)
    choose, reasons = best_of(
        3, lambda: chosen(panels, tangle), lambda: with_next_best(panels, tangle)
    )
    row("the same as a random tangle", choose * 1000, "ms", "< 20")
    row("the tangle with every next best", reasons * 1000, "ms", "")

    intakes = [take_in(path) for path in sorted(CLAIM.parent.glob("*.json"))]
    pairs = [(each.claim, each.compiled) for each in intakes]
    fixed_pairs = [(as_planned(price(*pair)), pair[1]) for pair in pairs]
    planning, pricing = best_of(
        5,
        lambda: [price(*pair) for pair in pairs],
        lambda: [price(*pair) for pair in fixed_pairs],
    )
    row("demo: what planning adds", planning - pricing, "s", "< 1")


Panels = list[tuple[str, list[MethodCost]]]


def chosen(panels: Panels, removal: Removal) -> tuple[Table, Picks]:
    """The best plan, fixed extras left out."""
    table = tabulate(panels, removal, Fixed(Fraction(0), Fraction(0)), "cost")
    return table, best(table)


def with_next_best(panels: Panels, removal: Removal) -> None:
    """The best plan, and the best with the other method on every panel."""
    table, picks = chosen(panels, removal)
    for at, methods in enumerate(table.methods):
        for method in range(len(methods)):
            if method != picks[at]:
                best_with(table, picks, at, method)


def tangled(panels: Panels, removal: Removal) -> Removal:
    """Every operation needed by two to six panels at random; half the panels open in two ways."""
    random = Random(20260519)
    names = [name for name, _ in panels]
    ways = {name: [0] * (1 + number % 2) for number, name in enumerate(names)}
    for index in range(len(removal.operations)):
        for name in random.sample(names, random.randint(2, 6)):
            ways[name][random.randrange(len(ways[name]))] |= 1 << index
    return removal._replace(ways={name: tuple(masks) for name, masks in ways.items()})


def as_planned(estimate: Estimate) -> ClaimFile:
    """A claim with the access that the plan chose."""
    panels = tuple(result.panel for result in estimate.panels)
    return estimate.claim.model_copy(update={"panels": panels})


def twenty_panels() -> tuple[Panels, Removal]:
    """Twenty panels, push or glue: five parts with four panels that share a lining's trim.

    Sixty operations: a part has seven of which the last opens all its panels once the others are
    off, and each panel one of its own beside, with a step before it at every other.
    """
    random = Random(20260519)
    after: list[tuple[int, ...]] = []
    opened: dict[str, list[int]] = {}
    for part in range(5):
        names = [f"{part}-{number}" for number in range(4)]
        first = len(after)
        after += [()] * 6 + [tuple(range(first, first + 6))]
        for number, name in enumerate(names):
            if number < 1:
                after.append(())
            after.append((len(after) - 1,) if number < 1 else ())
            opened[name] = [first + 6, len(after) - 1]
    assert len(after) == 60, len(after)
    needs: list[int] = []
    for index, before in enumerate(after):
        needs.append((1 << index) | sum(1 << other for other in before))
    minutes = [random.randint(4, 30) for _ in after]
    rules = tuple(
        OperationRule(
            id=f"op-{index}",
            label="",
            minutes=str(minutes[index]),
            after=before,
            opens=(),
            labour=minutes[index] * 120,
            fasteners=0,
            fastener_price="",
            fastener_amount=None,
            cost=Fraction(minutes[index] * 120),
            cautions=(),
            bodies=None,
            equipment=None,
        )
        for index, before in enumerate(after)
    )
    removal = Removal(
        operations=rules,
        after=tuple(sum(1 << other for other in before) for before in after),
        needs=tuple(needs),
        ways={name: tuple(needs[index] for index in ways) for name, ways in opened.items()},
        parts=("front",) * len(after),
        by_cost=tuple(rule.labour for rule in rules),
        by_minutes=tuple(minutes),
    )
    panels = []
    for name in opened:
        push = Fraction(random.randint(4000, 40000))
        glue = push * Fraction(133, 100) + 1120
        methods: list[tuple[Method, Fraction]] = [("push", push), ("glue", glue)]
        panels.append(
            (
                name,
                [
                    MethodCost(method, cost, cost / 160, True, method == "push", True)
                    for method, cost in methods
                ],
            )
        )
    return panels, removal


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
