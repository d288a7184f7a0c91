"""What the command line prints: plain text in aligned columns.

Money as plain decimal strings with a point, so that output can be piped and compared;
locales are for the claim sheet. The last column is free text and is never cut.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from hailcalc.access.plan import left_sentences
from hailcalc.bandedges import edge_words
from hailcalc.columns import columns_text
from hailcalc.estimate import Estimate, PanelResult
from hailcalc.matrix import Extra, Grid, Matrix, MatrixReading
from hailcalc.money import money_text, plain
from hailcalc.vehicle import PANEL_LABELS, with_label


def estimate_text(estimate: Estimate, labels: str = "us") -> str:
    """Lines and totals of an estimate."""
    names = PANEL_LABELS[labels]
    tables = estimate.compiled.tables
    header = estimate.compiled.matrix.matrix
    claim, vehicle = estimate.claim.claim, estimate.claim.vehicle
    head = (
        f"Claim {claim.number}, {vehicle.body}, loss of {claim.date_of_loss}; "
        f"matrix {header.name} revision {header.revision}\n\n"
    )
    rows = [["Panel", "Line", tables.currency, "Because"]]
    before: str | None = None
    for line in estimate.lines:
        panel = names[line.panel] if line.panel else "Vehicle"
        amount = "no price" if line.amount is None else money_text(line.amount, tables.decimals)
        because = line.words + (f" = {line.formula}" if line.formula else "")
        rows.append([panel if panel != before else "", line.label, amount, because])
        before = panel
    totals = estimate.totals
    rows.append(["", "", "", ""])
    sums = [
        ("Subtotal", totals.subtotal),
        ("Tax", totals.tax),
        ("Total", totals.total),
        ("Deductible", totals.deductible),
        ("Net", totals.net),
    ]
    for label, amount_due in sums:
        rows.append(["", label, money_text(amount_due, tables.decimals), ""])
    if not totals.complete:
        rows[-1][-1] = "incomplete: without the panels that have no price yet"
    return head + columns_text(rows, right=[2])


def notes(estimate: Estimate, labels: str = "us") -> Iterator[str]:
    """What must be said beside the lines: samples with their margin, near edges, warnings."""
    names = PANEL_LABELS[labels]
    tables = estimate.compiled.tables
    for result in estimate.panels:
        if result.survey is not None and result.survey.sample is not None:
            yield f"{names[result.panel.panel]}: {_sample_words(estimate, result)}"
    for edge in estimate.near_edges:
        yield f"{names[edge.panel]}: {edge_words(edge, tables)}"
    if estimate.plan is not None:
        yield from left_sentences(estimate.plan, names)
    yield from warnings(estimate, labels)


def warnings(estimate: Estimate, labels: str = "us") -> Iterator[str]:
    """What the estimate warns of."""
    names = PANEL_LABELS[labels]
    yield from (with_label(warning, names) for warning in estimate.warnings)


def _sample_words(estimate: Estimate, result: PanelResult) -> str:
    """A sampled panel's margin in dents and in money."""
    assert result.survey is not None, "only surveyed panels are sampled"
    sample = result.survey.sample
    assert sample is not None, "only sampled panels get here"
    assert estimate.limits is not None, "a sampled panel has limits"
    decimals = estimate.compiled.tables.decimals
    lower, upper = (limit.panels[result.panel.panel] for limit in estimate.limits)
    low, high = (
        "no price" if amount is None else money_text(amount, decimals) for amount in (lower, upper)
    )
    squares = f"{len(sample.per_square)} squares of {plain(sample.side_mm)} mm"
    margin = f"95 % between {sample.lower.total} and {sample.upper.total}"
    return (
        f"sampled, {sample.counted} dents in {squares}; about {sample.estimate.total} dents, "
        f"{margin}, the panel between {low} and {high}"
    )


def matrices_text(readings: Sequence[tuple[Path, MatrixReading]]) -> str:
    """One row a matrix file."""
    rows = [["Name", "Revision", "Currency", "Insurer", "Dates of loss", "Title"]]
    for path, reading in readings:
        if reading.matrix is None:
            rows.append([path.stem, "", "", "", "", f"{len(reading.problems)} mistakes"])
            continue
        header = reading.matrix.matrix
        dates = f"{header.effective} to {header.until or 'further notice'}"
        owner = header.insurer or "(the shop's own)"
        revision = str(header.revision)
        rows.append([header.name, revision, header.currency, owner, dates, header.title])
    return columns_text(rows)


def matrix_text(matrix: Matrix, labels: str = "us") -> str:
    """A matrix as tables."""
    header = matrix.matrix
    dates = f"{header.effective} to {header.until or 'further notice'}"
    parts = [
        f"{header.name}, revision {header.revision}: {header.title}\n"
        f"Insurer {header.insurer or '(the shop’s own)'}; dates of loss {dates}\n"
        f"Cells in {header.cells}, {header.currency}; several sizes: {header.mixed}; "
        f"within a band: {header.within_band}; extras: {header.stacking}\n"
        f"Rates an hour: repair {matrix.rates.repair}, removal {matrix.rates.removal}; "
        f"minimum {header.minimum}\n"
    ]
    parts += [_grid_text(grid, header.columns, labels) for grid in matrix.grid]
    if matrix.oversize is not None:
        over = matrix.oversize
        parts.append(
            f"Oversize dent: {over.minutes} min, and {over.minutes_per_mm} min for every mm "
            f"beyond {header.columns[-1]}\n"
        )
    if matrix.extra:
        rows = [["Extra", "Amount", "Of", "When"], *map(_extra_row, matrix.extra)]
        parts.append(columns_text(rows))
    if matrix.removal:
        rows = [["Removal & refit", "min", "Fasteners", "After", "Opens", "Only on", "Caution"]]
        for op in matrix.removal:
            fasteners = ""
            if op.fasteners:
                fasteners = f"{op.fasteners} at {op.fastener_price}" if op.fastener_price else ""
                fasteners = fasteners or str(op.fasteners)
            only = " ".join([*(op.body or ()), *([op.equipment] if op.equipment else [])])
            after, opens, cautions = map(" ".join, (op.after, op.opens, op.cautions))
            rows.append([op.id, op.minutes, fasteners, after, opens, only, cautions])
        parts.append(columns_text(rows, right=[1]))
    access = matrix.access
    parts.append(
        f"Glue on a panel hotter than {access.glue_limit_c} °C: {access.glue_hot}; repainted: "
        f"{access.glue_repainted}; sharp dents: {access.glue_sharp}; dents on a body line: "
        f"{access.glue_body_line}\n"
    )
    tax = matrix.tax
    parts.append(f"Tax in percent: labour {tax.labour}, parts {tax.parts}, sublet {tax.sublet}\n")
    return "\n".join(parts)


def _grid_text(grid: Grid, columns: Sequence[str], labels: str) -> str:
    names = ", ".join(PANEL_LABELS[labels][panel] for panel in grid.panels)
    rows = [["dents", *columns]]
    ends = [*(band - 1 for band in grid.bands[1:]), grid.last]
    for low, high, cells in zip(grid.bands, ends, grid.rows, strict=True):
        band = str(low) if low == high else f"{low}-{high}"
        rows.append([band, *map(str, cells)])
    return f"Grid {grid.name}: {names}\n" + columns_text(rows, right=range(len(columns) + 1))


def _extra_row(extra: Extra) -> list[str]:
    if extra.percent is not None:
        amount = f"{extra.percent} %"
    elif extra.minutes is not None:
        amount = f"{extra.minutes} min"
    else:
        amount = f"{extra.money}"
    if extra.per is not None:
        amount += f" a {extra.per}"
    conditions = []
    for key, value in extra.when.model_dump(exclude_none=True).items():
        text = "/".join(value) if isinstance(value, tuple) else str(value).lower()
        conditions.append(f"{key} {text}")
    return [extra.label, amount, extra.of, ", ".join(conditions) or "always"]
