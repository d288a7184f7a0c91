"""The claim sheet as JSON: claim, matrix, lines, totals, evidence, and a digest over them.

The digest is SHA-256 over the RFC 8785 canonical form of everything else, so it does not
depend on spacing or the order of keys; a signature of the digest may follow. Money is decimal
strings; nothing is left out that is needed to recompute every line.
"""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Literal

from hailcalc.access.plan import minutes_text, plan_json
from hailcalc.bandedges import NearEdge
from hailcalc.claimfile import Panel, has_positions
from hailcalc.counting import PanelCount
from hailcalc.estimate import Estimate, PanelResult
from hailcalc.fields import as_json
from hailcalc.money import money_text, plain

if TYPE_CHECKING:
    from hailcalc.counting.squares import SampleEstimate

CountingMethod = Literal["tally", "single dents", "marks", "sample squares"]

KEYS = ("claim_file", "matrix", "lines", "totals", "evidence", "digest")
SIGNATURE = "signature"
"""A key that a sheet may have beside those: the shop's signature of the digest."""


def digest(content: Any) -> str:
    """SHA-256, in hex, over the RFC 8785 canonical form of JSON values.

    Raises ValueError for numbers that JSON cannot carry exactly (RFC 8785, section 3.2.2.3).
    """
    import rfc8785

    return hashlib.sha256(rfc8785.dumps(plain_numbers(content))).hexdigest()


def plain_numbers(value: Any) -> Any:
    """JSON values with `Decimal`s as the numbers that JSON has."""
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    if isinstance(value, dict):
        return {key: plain_numbers(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [plain_numbers(inner) for inner in value]
    return value


def sheet_json(estimate: Estimate) -> dict[str, Any]:
    """The claim sheet of an estimate, with its digest."""
    decimals = estimate.compiled.tables.decimals
    content: dict[str, Any] = {
        "claim_file": as_json(estimate.claim),
        "matrix": as_json(estimate.compiled.matrix),
        "lines": [line.as_json(decimals) for line in estimate.lines],
        "totals": estimate.totals.as_json(decimals),
        "evidence": evidence(estimate),
    }
    return content | {"digest": digest(content)}


def sheet_text(document: dict[str, Any]) -> str:
    """A sheet as the text of its JSON file."""
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def evidence(estimate: Estimate) -> dict[str, Any]:
    """How the count of each panel was made, and what must be said about the estimate."""
    found: dict[str, Any] = {
        "counts": [_counted(result, estimate) for result in estimate.panels],
        "not_priced": [result.panel.panel for result in estimate.panels if not result.priced],
        "near_edges": [_near_edge(edge, estimate) for edge in estimate.near_edges],
        "warnings": list(estimate.warnings),
    }
    if estimate.removal:
        found["removal"] = {
            "off": [rule.id for rule in estimate.removal],
            "refit": [rule.id for rule in reversed(estimate.removal)],
            "minutes": minutes_text(estimate.removal_minutes),
        }
    if estimate.plan is not None:
        found["plan"] = plan_json(estimate.plan, estimate.compiled.tables.decimals)
    if estimate.limits is not None:
        decimals = estimate.compiled.tables.decimals
        lower, upper = (limit.totals.as_json(decimals) for limit in estimate.limits)
        found["sampled_totals"] = {"lower": lower, "upper": upper}
    return found


def _counted(result: PanelResult, estimate: Estimate) -> dict[str, Any]:
    count: PanelCount = result.count
    counted: dict[str, Any] = {
        "panel": result.panel.panel,
        "method": counting_method(result.panel),
        "dents": count.all,
    }
    if result.band is not None:
        counted["band"] = list(result.band)
    if count.oversize:
        counted["largest_mm"] = plain_numbers(max(count.oversize))
    if result.survey is not None and counted["method"] in ("marks", "sample squares"):
        counted["outline"] = "generic" if result.survey.shape.generic else "the shop's own"
        counted["marked"] = dict(sorted(count.marks.items()))
        if result.survey.sample is not None:
            counted["sample"] = _sample(result, result.survey.sample, estimate)
    return counted


def _sample(result: PanelResult, sample: SampleEstimate, estimate: Estimate) -> dict[str, Any]:
    """Sample squares: what was counted, how it was scaled, its limits, and the price at each."""
    decimals = estimate.compiled.tables.decimals
    name = result.panel.panel
    assert estimate.limits is not None, "a sampled panel has limits"
    lower, upper = (limit.panels[name] for limit in estimate.limits)
    prices = (lower, result.total if result.priced else None, upper)
    dispersion = sample.limits.dispersion
    return {
        "squares": len(sample.per_square),
        "side_mm": plain_numbers(sample.side_mm),
        "counted": sample.counted,
        "per_square": list(sample.per_square),
        "area_cm2": sample.area_cm2,
        "tally": sample.estimate.tally,
        "estimate": sample.estimate.total,
        "interval": [sample.lower.total, sample.upper.total],
        "level_percent": 95,
        "method": sample.limits.method,
        "counted_limits": [plain(sample.limits.lower), plain(sample.limits.upper)],
        "dispersion": None if dispersion is None else f"{float(dispersion.index):.2f}",
        "because": sample.limits.because,
        "price": dict(
            zip(
                ("lower", "estimate", "upper"),
                (None if sum_ is None else money_text(sum_, decimals) for sum_ in prices),
                strict=True,
            )
        ),
    }


def _near_edge(edge: NearEdge, estimate: Estimate) -> dict[str, Any]:
    tables = estimate.compiled.tables
    base, total, change = (
        None if sum_ is None else money_text(sum_, tables.decimals)
        for sum_ in (edge.base, edge.total, edge.change)
    )
    return {
        "panel": edge.panel,
        "dents": edge.dents,
        "size": tables.columns[edge.column].name,
        "of": edge.of or "panel",
        "band": None if edge.band is None else list(edge.band),
        "base": base,
        "total": total,
        "change": change,
    }


def counting_method(panel: Panel) -> CountingMethod:
    """How a panel was counted: by coin, each dent measured, with its place, or in squares."""
    if panel.sample is not None:
        return "sample squares"
    if panel.dents:
        return "marks" if has_positions(panel) else "single dents"
    return "tally"
