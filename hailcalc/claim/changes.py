"""What a supplement changes against the sheet before it, by panel and by line.

A supplement is a whole new estimate; the difference is worked out from both, so that it can
never say anything that the two sheets do not. Lines are matched within their panel by what
they are: a repair line with the repair line even if it is now glued, an extra or an operation
by its label, lines of one kind and label first where they are equal, then in order. Amounts
in minor units; a line without a price has none, and counts as nothing in the sums.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from hailcalc.estimate import Estimate, Totals
from hailcalc.lines import Line
from hailcalc.problems import InputError, Problem
from hailcalc.vehicle import PANELS

_BY_KIND = ("repair", "body", "minimum")
"""Kinds of which a panel or a vehicle has one line, whatever it is called."""


class LineChange(NamedTuple):
    """A line as it was and as it is; None where it was not, or is no more."""

    old: Line | None
    new: Line | None

    @property
    def line(self) -> Line:
        """The line as it is, or was if it is gone."""
        found = self.new or self.old
        assert found is not None, "a change has a line on one side"
        return found

    @property
    def old_amount(self) -> int | None:
        """What it was; None if it was not, or had no price."""
        return None if self.old is None else self.old.amount

    @property
    def new_amount(self) -> int | None:
        """What it is; None if it is not, or has no price."""
        return None if self.new is None else self.new.amount

    @property
    def difference(self) -> int:
        """New less old, without a price as nothing."""
        return (self.new_amount or 0) - (self.old_amount or 0)

    @property
    def same(self) -> bool:
        """Whether nothing about the line changed but perhaps its wording."""
        both = self.old is not None and self.new is not None
        return both and self.old_amount == self.new_amount and self.line.label == self._old_label

    @property
    def _old_label(self) -> str:
        return self.old.label if self.old is not None else ""


class PanelChange(NamedTuple):
    """A panel's lines, or the whole vehicle's where `panel` is None, with both sums."""

    panel: str | None
    lines: tuple[LineChange, ...]

    @property
    def old(self) -> int:
        """What the lines came to."""
        return sum(line.old_amount or 0 for line in self.lines)

    @property
    def new(self) -> int:
        """What they come to."""
        return sum(line.new_amount or 0 for line in self.lines)

    @property
    def changed(self) -> tuple[LineChange, ...]:
        """The lines that changed."""
        return tuple(line for line in self.lines if not line.same)


class Changes(NamedTuple):
    """Everything between two sheets of one claim: panels in sheet order, then the vehicle."""

    old: Estimate
    new: Estimate
    panels: tuple[PanelChange, ...]

    @property
    def totals(self) -> tuple[Totals, Totals]:
        """The totals as they were and as they are."""
        return self.old.totals, self.new.totals


def changes_between(old: Estimate, new: Estimate) -> Changes:
    """What changed from one estimate of a claim to the next.

    Raises InputError if the two are not about one claim, vehicle and currency.
    """
    problems = list(_pair_problems(old, new))
    if problems:
        raise InputError(problems)
    groups: list[PanelChange] = []
    for panel in (*PANELS, None):
        before = [line for line in old.lines if line.panel == panel]
        after = [line for line in new.lines if line.panel == panel]
        if before or after:
            groups.append(PanelChange(panel, tuple(_matched(before, after))))
    return Changes(old, new, tuple(groups))


def _pair_problems(old: Estimate, new: Estimate) -> Iterator[Problem]:
    pairs = (
        ("claim.number", old.claim.claim.number, new.claim.claim.number),
        ("vehicle.body", old.claim.vehicle.body, new.claim.vehicle.body),
        ("vehicle.vin", old.claim.vehicle.vin, new.claim.vehicle.vin),
        ("the currency", old.compiled.tables.currency, new.compiled.tables.currency),
    )
    for what, before, after in pairs:
        if before is not None and after is not None and before != after:
            found = f'{what} "{after}"'
            yield Problem("the new sheet", (), found, f'"{before}", as on the old one')


def _key(line: Line) -> tuple[str, str]:
    return line.kind, "" if line.kind in _BY_KIND else line.label


def _matched(before: Sequence[Line], after: Sequence[Line]) -> Iterator[LineChange]:
    """Lines side by side in the order of the new sheet, those that are gone after their kind."""
    waiting: dict[tuple[str, str], list[Line]] = {}
    for line in before:
        waiting.setdefault(_key(line), []).append(line)
    partner: dict[int, Line] = {}
    for exact in (True, False):
        for position, line in enumerate(after):
            left = waiting.get(_key(line), [])
            if position in partner or not left:
                continue
            equal = [old for old in left if (old.amount, old.words) == (line.amount, line.words)]
            if equal or not exact:
                partner[position] = equal[0] if equal else left[0]
                left.remove(partner[position])
    gone = [line for line in before if any(line is old for old in waiting.get(_key(line), ()))]
    for position, line in enumerate(after):
        yield LineChange(partner.get(position), line)
    for line in gone:
        yield LineChange(line, None)
