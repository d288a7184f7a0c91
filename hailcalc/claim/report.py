"""What a supplement changes, as text for the terminal and as JSON.

Old, new and difference for every line that changed, every panel and the totals, and what is said
otherwise beside the sums. Money as decimal strings with a point.
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
    currency = changes.currency
    rows = [["Panel", "Line", f"Old {currency}", f"New {currency}", "Differ", ""]]
    for group in changes.panels:
        if not group.same:
            rows += _group_rows(group, names, changes.decimals)
    rows.append(["", "", "", "", "", ""])
    for key, label in TOTALS:
        old, new = (getattr(totals, key) for totals in changes.totals)
        rows.append(["", label, *_three(old, new, changes.decimals), ""])
    file = changes.new["claim_file"]
    head = f"Changes of claim {file['claim']['number']}, {file['vehicle']['body']}\n"
    if reason:
        head += f"Reason: {reason}\n"
    for fact in changes.facts:
        head += f"{fact.label}: {fact.words}\n"
    same = [group_name(group, names) for group in changes.panels if group.same]
    tail = f"As before: {', '.join(same)}\n" if same else ""
    if changes.about_versions:
        tail += f"{changes.about_versions}\n"
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
    for fact in group.facts:
        yield [name, fact.label, "", "", "", fact.words]
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
    told = difference != 0 or None not in (change.old_amount, change.new_amount)
    return side(change.old), side(change.new), f"{sign}{write(difference)}" if told else ""


def change_words(change: LineChange, formula: Any = str) -> str:
    """What happened to a line, and why it comes to what it does; `formula` for its arithmetic."""
    old, new = change.old, change.new
    if new is None:
        return "no longer"
    if old is None:
        return f"new: {new.words}"
    label = "" if old.label == new.label else f"instead of {old.label}: "
    if old.formula != new.formula and old.amount == new.amount:
        was, now = (f"{side.words}: {formula(side.formula) or 'none'}" for side in (old, new))
        return f"{label}other figures, same amount: {now}; was: {was}"
    if old.words == new.words:
        return label + new.words
    same = "same amount: " if old.amount == new.amount else ""
    return f"{label}{same}{new.words}; was: {old.words}"


def changes_json(changes: Changes, reason: str = "") -> dict[str, Any]:
    """Every line of both sheets side by side, as JSON values."""
    decimals = changes.decimals

    def money(amount: int | None) -> str | None:
        return None if amount is None else money_text(amount, decimals)

    old, new = changes.totals
    return {
        "claim": changes.new["claim_file"]["claim"]["number"],
        "reason": reason,
        "currency": changes.currency,
        "versions": changes.versions and dict(zip(("old", "new"), changes.versions, strict=True)),
        "facts": [fact._asdict() for fact in changes.facts],
        "panels": [
            {
                "panel": group.panel,
                "old": money(group.old),
                "new": money(group.new),
                "difference": money(group.new - group.old),
                "facts": [fact._asdict() for fact in group.facts],
                "lines": [_line_json(change, decimals) for change in group.lines],
            }
            for group in changes.panels
        ],
        "totals": {
            key: {
                "old": money(getattr(old, key)),
                "new": money(getattr(new, key)),
                "difference": money(getattr(new, key) - getattr(old, key)),
            }
            for key, _ in TOTALS
        },
    }


def _line_json(change: LineChange, decimals: int) -> dict[str, Any]:
    return {
        "change": "same" if change.same else _kind(change),
        "words": "" if change.same else change_words(change),
        "old": None if change.old is None else change.old.as_json(decimals),
        "new": None if change.new is None else change.new.as_json(decimals),
        "difference": money_text(change.difference, decimals),
    }


def _kind(change: LineChange) -> str:
    if change.old is None:
        return "added"
    return "removed" if change.new is None else "changed"
