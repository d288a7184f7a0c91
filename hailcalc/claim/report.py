"""What a supplement changes, as text for the terminal and as JSON.

Old, new and difference for every line that changed, every panel and the totals. Money as
decimal strings with a point.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from hailcalc.claim.changes import Changes, LineChange, PanelChange
from hailcalc.columns import columns_text
from hailcalc.lines import Line
from hailcalc.money import money_text
from hailcalc.vehicle import PANEL_LABELS

TOTALS = (
    ("subtotal", "Subtotal of the lines without tax"),
    ("tax", "Tax"),
    ("total", "Total"),
    ("deductible", "Deductible"),
    ("net", "Net of the deductible"),
)
"""Sums that both sheets have, with their names in print."""


def changes_text(changes: Changes, labels: str = "us", reason: str = "") -> str:
    """What changed, a row a line; panels that stayed as they were only in one sentence."""
    names = PANEL_LABELS[labels]
    tables = changes.new.compiled.tables
    rows = [["Panel", "Line", f"Old {tables.currency}", f"New {tables.currency}", "Differ", ""]]
    for group in changes.panels:
        if group.changed:
            rows += _group_rows(group, names, tables.decimals)
    rows.append(["", "", "", "", "", ""])
    for key, label in TOTALS:
        old, new = (getattr(totals, key) for totals in changes.totals)
        rows.append(["", label, *_three(old, new, tables.decimals), ""])
    claim = changes.new.claim
    head = f"Changes of claim {claim.claim.number}, {claim.vehicle.body}\n"
    if reason:
        head += f"Reason: {reason}\n"
    same = [group_name(group, names) for group in changes.panels if not group.changed]
    tail = f"As before: {', '.join(same)}\n" if same else ""
    return f"{head}\n{columns_text(rows, right=[2, 3, 4])}\n{tail}".rstrip("\n") + "\n"


def group_name(group: PanelChange, names: dict[str, str]) -> str:
    """What a group of lines is called."""
    return "Vehicle" if group.panel is None else names[group.panel]


def _group_rows(group: PanelChange, names: dict[str, str], decimals: int) -> Iterator[list[str]]:
    name = group_name(group, names)
    for change in group.changed:
        old, new, differ = line_sums(change, lambda amount: money_text(amount, decimals))
        yield [name, change.line.label, old, new, differ, change_words(change)]
        name = ""
    yield ["", "Together", *_three(group.old, group.new, decimals), ""]


def _three(old: int, new: int, decimals: int) -> list[str]:
    return [money_text(old, decimals), money_text(new, decimals), signed(new - old, decimals)]


def signed(amount: int, decimals: int) -> str:
    """A difference with its sign; nothing where there is none."""
    if amount == 0:
        return ""
    return ("+" if amount > 0 else "") + money_text(amount, decimals)


def line_sums(change: LineChange, write: Any) -> tuple[str, str, str]:
    """Old, new and difference of a line in print, `write` for an amount."""

    def side(line: Line | None) -> str:
        if line is None:
            return "none"
        return "no price" if line.amount is None else str(write(line.amount))

    difference = change.difference
    sign = "+" if difference > 0 else ""
    return side(change.old), side(change.new), f"{sign}{write(difference)}" if difference else ""


def change_words(change: LineChange) -> str:
    """What happened to a line, and why it comes to what it does."""
    if change.new is None:
        return "no longer"
    if change.old is None:
        return f"new: {change.new.words}"
    label = ""
    if change.old.label != change.new.label:
        label = f"instead of {change.old.label}: "
    if change.old.words == change.new.words:
        return label + change.new.words
    return f"{label}{change.new.words}; was: {change.old.words}"


def changes_json(changes: Changes, reason: str = "") -> dict[str, Any]:
    """Every line of both sheets side by side, as JSON values."""
    decimals = changes.new.compiled.tables.decimals

    def money(amount: int | None) -> str | None:
        return None if amount is None else money_text(amount, decimals)

    return {
        "claim": changes.new.claim.claim.number,
        "reason": reason,
        "currency": changes.new.compiled.tables.currency,
        "panels": [
            {
                "panel": group.panel,
                "old": money(group.old),
                "new": money(group.new),
                "difference": money(group.new - group.old),
                "lines": [_line_json(change, decimals) for change in group.lines],
            }
            for group in changes.panels
        ],
        "totals": {
            key: {
                "old": money(getattr(changes.old.totals, key)),
                "new": money(getattr(changes.new.totals, key)),
                "difference": money(
                    getattr(changes.new.totals, key) - getattr(changes.old.totals, key)
                ),
            }
            for key, _ in TOTALS
        },
    }


def _line_json(change: LineChange, decimals: int) -> dict[str, Any]:
    return {
        "change": "same" if change.same else _kind(change),
        "old": None if change.old is None else change.old.as_json(decimals),
        "new": None if change.new is None else change.new.as_json(decimals),
        "difference": money_text(change.difference, decimals),
    }


def _kind(change: LineChange) -> str:
    if change.old is None:
        return "added"
    return "removed" if change.new is None else "changed"
