"""Lines of a claim sheet: what is charged, how much, and the figures that make the amount.

An amount is in minor units; None means not priced. `words` say which rule and which
counts; `formula` is plain arithmetic (+ - * / and brackets) whose exact value, rounded
half away from zero to the currency's minor unit, is the amount: an adjuster can type it
into a pocket calculator. Every figure in it stands on the same sheet.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from hailcalc.money import money_text

Kind = Literal[
    "repair", "oversize", "extra", "removal", "fastener", "part", "sublet", "refinish", "body",
    "minimum", "tax",
]  # fmt: skip

LABOUR: frozenset[Kind] = frozenset(
    {"repair", "oversize", "extra", "removal", "refinish", "body", "minimum"}
)
PARTS: frozenset[Kind] = frozenset({"part", "fastener"})
SUBLET: frozenset[Kind] = frozenset({"sublet"})


class Line(NamedTuple):
    """One printed line. `panel` is None for what belongs to the whole vehicle."""

    kind: Kind
    panel: str | None
    label: str
    amount: int | None
    words: str
    formula: str

    def as_json(self, decimals: int) -> dict[str, object]:
        """The line as it stands in a sheet's JSON."""
        because: dict[str, str] = {"words": self.words}
        if self.formula:
            because["formula"] = self.formula
        return {
            "kind": self.kind,
            "panel": self.panel,
            "label": self.label,
            "amount": None if self.amount is None else money_text(self.amount, decimals),
            "because": because,
        }


def dents(count: int, kind: str = "") -> str:
    """1 dent, 2 dents; of a kind: 2 sharp dents."""
    word = f"{kind} dent" if kind else "dent"
    return f"1 {word}" if count == 1 else f"{count} {word}s"
