"""The claim sheet as JSON: claim, matrix, lines, totals, evidence, and a digest over them.

The digest is SHA-256 over the RFC 8785 canonical form of everything else, so it does not
depend on spacing or the order of keys. Money is decimal strings; nothing is left out that
is needed to recompute every line.
"""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal
from typing import Any

from hailcalc.claimfile import Panel
from hailcalc.counting import PanelCount
from hailcalc.estimate import Estimate, PanelResult
from hailcalc.fields import as_json

KEYS = ("claim_file", "matrix", "lines", "totals", "evidence", "digest")


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
        "counts": [_counted(result) for result in estimate.panels],
        "not_priced": [result.panel.panel for result in estimate.panels if not result.priced],
        "warnings": list(estimate.warnings),
    }
    return found


def _counted(result: PanelResult) -> dict[str, Any]:
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
    return counted


def counting_method(panel: Panel) -> str:
    """How a panel was counted: a tally by coin, or each dent measured."""
    return "single dents" if panel.dents else "tally"
