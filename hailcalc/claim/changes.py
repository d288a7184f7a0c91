"""What a supplement changes against the sheet before it, by panel and by line.

A supplement is a whole new sheet; the difference is worked out from both as they were issued, so
that it can never say anything that the two sheets do not, and a later version reads them alike.
Lines are matched within their panel by what they are: a repair line with the repair line even if
it is now glued, an extra or an operation by its label, lines of one kind and label first where
they are equal, then in order. A line is as before only if its amount, its figures and its words
are. Amounts in minor units; a line without a price has none, and counts as nothing in the sums.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from hailcalc.claim.facts import FactChange, claim_changes, panel_changes
from hailcalc.estimate import Estimate, Totals
from hailcalc.lines import Line
from hailcalc.money import decimals_of, minor_units
from hailcalc.problems import InputError, Problem
from hailcalc.sheet.document import plain_numbers, sheet_json
from hailcalc.vehicle import PANELS

Sheet = Mapping[str, Any]
"""A sheet's JSON document."""

_BY_KIND = ("repair", "body", "minimum")
"""Kinds of which a panel or a vehicle has one line, whatever it is called."""


class LineChange(NamedTuple):
    """A line as it was and as it is; None where it was not, or is no more.

    `by_words`: whether other words alone make it another line. Two versions may word one rule
    otherwise; two sheets of one version do not without a reason.
    """

    old: Line | None
    new: Line | None
    by_words: bool = True

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
        """Whether nothing about the line changed."""
        if self.old is None or self.new is None:
            return False
        old, new = self.old, self.new
        return _figures(old) == _figures(new) and (not self.by_words or old.words == new.words)


def _figures(line: Line) -> tuple[str, int | None, str]:
    """What is charged for, how much, and the arithmetic of it."""
    return line.label, line.amount, line.formula


class PanelChange(NamedTuple):
    """A panel's lines, or the whole vehicle's where `panel` is None, with both sums.

    `facts`: what its count and its other particulars say otherwise.
    """

    panel: str | None
    lines: tuple[LineChange, ...]
    facts: tuple[FactChange, ...] = ()

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

    @property
    def same(self) -> bool:
        """Whether neither a line nor a particular changed."""
        return not self.changed and not self.facts


class Changes(NamedTuple):
    """Everything between two sheets of one claim: panels in sheet order, then the vehicle.

    `facts`: what is said otherwise of claim, vehicle and matrix. `versions` of hailcalc, the old
    sheet's and the new one's, where they are known.
    """

    old: Sheet
    new: Sheet
    panels: tuple[PanelChange, ...]
    facts: tuple[FactChange, ...] = ()
    versions: tuple[str, str] | None = None

    @property
    def currency(self) -> str:
        """The currency of both sheets."""
        return str(self.new["matrix"]["matrix"]["currency"])

    @property
    def decimals(self) -> int:
        """With how many decimals the new sheet is printed."""
        return _decimals(self.new)

    @property
    def totals(self) -> tuple[Totals, Totals]:
        """The totals as they were and as they are."""
        return _totals(self.old), _totals(self.new)

    @property
    def about_versions(self) -> str:
        """A sentence on two versions; empty if there is but one, or they are not known."""
        if self.versions is None or self.versions[0] == self.versions[1]:
            return ""
        old, new = self.versions
        return (
            f"The old sheet was priced by hailcalc {old}, the new one by {new}: a line that is "
            "only worded otherwise counts as before."
        )


def changes_between(
    old: Estimate | Sheet,
    new: Estimate | Sheet,
    *,
    one_claim: bool = False,
    versions: tuple[str, str] | None = None,
) -> Changes:
    """What changed from one sheet of a claim to the next; an estimate stands for its sheet.

    `one_claim`: they are known to be of one claim, whatever number and VIN they say. Raises
    InputError if they do not look like one claim, or are in two currencies.
    """
    before, after = _sheet_of(old), _sheet_of(new)
    problems = [] if one_claim else list(_claim_problems(before, after))
    problems += currency_problems(before, after["matrix"]["matrix"])
    if problems:
        raise InputError(problems)
    by_words = versions is None or versions[0] == versions[1]
    lines = _lines(before), _lines(after)
    panels = _panels(before), _panels(after)
    groups: list[PanelChange] = []
    for name in (*PANELS, None):
        was, is_ = ([line for line in side if line.panel == name] for side in lines)
        facts: tuple[FactChange, ...] = ()
        if all(name in side for side in panels):
            facts = panel_changes(*(side[name] for side in panels))
        if was or is_ or facts:
            groups.append(PanelChange(name, tuple(_matched(was, is_, by_words)), facts))
    return Changes(before, after, tuple(groups), claim_changes(before, after), versions)


def currency_problems(old: Sheet, header: Mapping[str, Any]) -> Iterator[Problem]:
    """A matrix that is not in the currency of the sheet before: nothing then compares."""
    before, after = old["matrix"]["matrix"]["currency"], header["currency"]
    if before != after:
        found = f'matrix "{header["name"]}" in {after}'
        expected = (
            f"a matrix in {before}, as the old sheet is; name one in the draft, or withdraw the "
            f"claim and open another in {after}"
        )
        yield Problem("the new sheet", ("matrix",), found, expected)


def _claim_problems(old: Sheet, new: Sheet) -> Iterator[Problem]:
    """Two sheets that have neither the number nor the VIN in common.

    Either may have been corrected, but of sheets that share neither nobody knows.
    """
    (was, vin), (number, new_vin) = (
        (side["claim_file"]["claim"]["number"], side["claim_file"]["vehicle"].get("vin"))
        for side in (old, new)
    )
    if was != number and (vin is None or vin != new_vin):
        expected = f'"{was}", as on the old one, or the same VIN'
        yield Problem("the new sheet", (), f'claim.number "{number}"', expected)


def _sheet_of(side: Estimate | Sheet) -> Sheet:
    """A sheet's document with the numbers that JSON has, so that two of them compare."""
    document: Sheet = plain_numbers(sheet_json(side) if isinstance(side, Estimate) else dict(side))
    return document


def _decimals(sheet: Sheet) -> int:
    # As printed: a currency's decimals may be other ones by the time that the sheet is read.
    return decimals_of(sheet["totals"]["total"])


def _totals(sheet: Sheet) -> Totals:
    totals, decimals = sheet["totals"], _decimals(sheet)
    sums = {name: minor_units(totals[name], decimals) for name in Totals._fields[:-1]}
    return Totals(**sums, complete=bool(totals["complete"]))


def _lines(sheet: Sheet) -> list[Line]:
    decimals = _decimals(sheet)
    return [
        Line(
            line["kind"],
            line["panel"],
            line["label"],
            None if line["amount"] is None else minor_units(line["amount"], decimals),
            line["because"]["words"],
            line["because"].get("formula", ""),
        )
        for line in sheet["lines"]
    ]


def _panels(sheet: Sheet) -> dict[str | None, Mapping[str, Any]]:
    return {panel["panel"]: panel for panel in sheet["claim_file"].get("panels", ())}


def _key(line: Line) -> tuple[str, str]:
    return line.kind, "" if line.kind in _BY_KIND else line.label


def _matched(before: Sequence[Line], after: Sequence[Line], by_words: bool) -> Iterator[LineChange]:
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
            equal = [old for old in left if LineChange(old, line, by_words).same]
            if equal or not exact:
                partner[position] = equal[0] if equal else left[0]
                left.remove(partner[position])
    gone = [line for line in before if any(line is old for old in waiting.get(_key(line), ()))]
    for position, line in enumerate(after):
        yield LineChange(partner.get(position), line, by_words)
    for line in gone:
        yield LineChange(line, None, by_words)
