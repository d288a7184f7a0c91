"""The count of one panel under a matrix's columns.

Counts by column (ascending coins), oversize dents by their own millimetres, and for each
mark how many dents carry it. A tally's coin counts in the smallest column that covers it;
a single measured dent goes where its longest axis does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Literal, NamedTuple

from hailcalc.claimfile import MeasuredDent, Panel, longest_axis
from hailcalc.coins import Coin, size_class

if TYPE_CHECKING:
    from hailcalc.counting.survey import Survey

At = Literal["estimate", "lower", "upper"]
"""A sampled panel's count: as estimated, or at one of its limits."""


class PanelCount(NamedTuple):
    """One panel's dents. `marks` counts oversize dents too."""

    counts: tuple[int, ...]
    oversize: tuple[Decimal, ...]
    marks: dict[str, int]

    @property
    def in_columns(self) -> int:
        """Dents that the grid prices, N."""
        return sum(self.counts)

    @property
    def all(self) -> int:
        """All dents, oversize ones included."""
        return sum(self.counts) + len(self.oversize)


def count_panel(
    panel: Panel,
    column_of: Mapping[str, int],
    columns: Sequence[Coin],
    survey: Survey | None = None,
    at: At = "estimate",
) -> PanelCount:
    """Count a panel whose coins are all known to `column_of`.

    `survey` is what its outline says, for a panel with places or sample squares; `at` takes a
    sample at its estimate or at a limit.
    """
    if panel.dents:
        return _count_single(panel.dents, columns, survey)
    tally: Mapping[str, int] = panel.tally
    marked: Mapping[str, Mapping[str, int]] = {str(mark): n for mark, n in panel.marked.items()}
    if survey is not None and survey.sample is not None:
        tally, marked = getattr(survey.sample, at)
    counts = [0] * len(columns)
    for coin, number in tally.items():
        counts[column_of[coin]] += number
    marks: dict[str, int] = {mark: sum(sizes.values()) for mark, sizes in marked.items()}
    for dent in panel.oversize:
        for mark in dent.marks:
            marks[mark] = marks.get(mark, 0) + 1
    return PanelCount(tuple(counts), tuple(dent.mm for dent in panel.oversize), marks)


def _count_single(
    dents: Sequence[MeasuredDent], columns: Sequence[Coin], survey: Survey | None
) -> PanelCount:
    counts = [0] * len(columns)
    oversize: list[Decimal] = []
    marks: dict[str, int] = {}
    for index, dent in enumerate(dents):
        size = longest_axis(dent)
        column = size_class(size, columns)
        if column is None:
            oversize.append(size)
        else:
            counts[column] += 1
        for mark in dent_marks(index, dent, survey):
            marks[mark] = marks.get(mark, 0) + 1
    return PanelCount(tuple(counts), tuple(oversize), marks)


def dent_marks(index: int, dent: MeasuredDent, survey: Survey | None) -> tuple[str, ...]:
    """What is said of one dent: by the estimator, then by the zones that it lies in."""
    if survey is None or not survey.zone_marks:
        return dent.marks
    return dent.marks + tuple(kind for kind in survey.zone_marks[index] if kind not in dent.marks)
