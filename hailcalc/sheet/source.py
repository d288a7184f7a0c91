"""What every section of the printed sheet reads: the estimate, its JSON, names and locale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from hailcalc.bandedges import NearEdge
from hailcalc.estimate import Estimate
from hailcalc.money import money_text
from hailcalc.sheet.locale import Writer


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that the sections read."""

    estimate: Estimate
    document: dict[str, Any]
    labels: dict[str, str]
    write: Writer
    numbers: dict[int, int]
    """Printed number of each line, by its identity."""
    edges: tuple[NearEdge, ...]

    def plain_sum(self, amount: int) -> str:
        """An amount with its currency's code, without grouping, its point left to the locale."""
        return f"{money_text(amount, self.write.decimals)} {self.write.currency}"

    def amount(self, amount: int | None) -> str:
        """An amount in print, or that there is none."""
        return "no price yet" if amount is None else self.write.amount(amount)
