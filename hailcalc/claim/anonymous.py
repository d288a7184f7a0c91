"""A claim file or a claim sheet without persons, VIN, places and free text.

What is left is what can be compared and added up: dents, panels, dates, matrix, sums. Insurer and
storm stay, since owners compare by them and they name nobody. A sheet keeps its lines and totals;
its claim file is another one, so its digest is too, and it verifies like any sheet.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hailcalc.sheet.document import KEYS, digest
from hailcalc.vehicle import vin_findings

_KEPT_OF_CLAIM = ("date_of_loss", "insurer", "dated", "deductible", "revision")
_LEFT_OUT_OF_VEHICLE = ("vin", "description")
_LEFT_OUT = ("shop", "photographs")


def anonymous_claim(file: Mapping[str, Any], number: str) -> dict[str, Any]:
    """A claim file under another number, without what names a person or a place."""
    claim = {key: file["claim"][key] for key in _KEPT_OF_CLAIM if key in file["claim"]}
    vehicle = {
        key: value for key, value in file["vehicle"].items() if key not in _LEFT_OUT_OF_VEHICLE
    }
    changed: dict[str, Any] = {"claim": {"number": number} | claim, "vehicle": vehicle}
    if "panels" in file:
        changed["panels"] = [
            {key: value for key, value in panel.items() if key != "note"}
            for panel in file["panels"]
        ]
    if "other" in file:
        changed["other"] = [other | {"label": other["kind"]} for other in file["other"]]
    return {key: changed.get(key, value) for key, value in file.items() if key not in _LEFT_OUT}


def anonymous_sheet(document: Mapping[str, Any], number: str) -> dict[str, Any]:
    """A sheet under another number, with the same lines and sums and a digest of its own."""
    file = document["claim_file"]
    labels = {(other["kind"], other["label"]) for other in file.get("other", ())}
    changed: dict[str, Any] = {
        "claim_file": anonymous_claim(file, number),
        "lines": [_line(line, labels) for line in document["lines"]],
        "evidence": _evidence(document["evidence"], file["vehicle"].get("vin")),
    }
    content = {key: changed.get(key, document[key]) for key in KEYS[:-1]}
    return content | {"digest": digest(content)}


def anonymous_answers(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Answers to lines without their reasons."""
    return [{key: value for key, value in line.items() if key != "reason"} for line in lines]


def _line(line: Mapping[str, Any], labels: set[tuple[str, str]]) -> dict[str, Any]:
    """A line; one that was typed in is called by its kind."""
    typed = line["panel"] is None and (line["kind"], line["label"]) in labels
    return dict(line) | ({"label": line["kind"]} if typed else {})


def _evidence(evidence: Mapping[str, Any], vin: str | None) -> dict[str, Any]:
    """Evidence without the remark on the VIN."""
    remark = None if vin is None else vin_findings(vin)[1]
    warnings = [warning for warning in evidence["warnings"] if warning != remark]
    return dict(evidence) | {"warnings": warnings}
