"""A hail report as a record, and what came of reading a file of them.

Times are aware and in UTC, sizes whole hundredths of an inch as the reports have them (and
millimetres, exact: an inch is 25.4 mm), places degrees of WGS 84.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Literal, NamedTuple

from hailcalc.problems import printable

Kind = Literal["daily", "long"]
"""The two kinds of file: a day's reports, or the long database of many years."""

NOTICE = (
    "Evidence, never a verdict: this says which hail reports lie near a place and a day. Reports "
    "are sparse, since they need somebody who was there and told; a missing report proves "
    "nothing. It is not a coverage decision."
)
"""Stands on everything that is made of reports."""

MM_OF_A_HUNDREDTH = Decimal("0.254")


class Source(NamedTuple):
    """Where a report stands: the file and the line where its row begins."""

    file: str
    line: int


@dataclass(frozen=True, slots=True)
class Report:
    """One hail report. `hundredths`: the largest stone's longest axis, hundredths of an inch."""

    time: datetime
    hundredths: int
    place: str
    county: str
    state: str
    lat: float
    lon: float
    remark: str
    source: Source

    @property
    def mm(self) -> Decimal:
        """The stone's size in millimetres, exact."""
        return self.hundredths * MM_OF_A_HUNDREDTH

    @property
    def inches(self) -> str:
        """The stone's size in inches with two decimals."""
        return f"{self.hundredths // 100}.{self.hundredths % 100:02d}"

    @property
    def place_words(self) -> str:
        """The place as the report has it: the spot, the county, the state."""
        return printable(", ".join(filter(None, (self.place, self.county, self.state))))

    @property
    def same(self) -> tuple[datetime, int, float, float]:
        """What two records of one report have in common."""
        return self.time, self.hundredths, self.lat, self.lon


class SetAside(NamedTuple):
    """A row that could not be used, or was not needed, and why."""

    source: Source
    reason: str

    def __str__(self) -> str:
        return f"{self.source.file}: line {self.source.line}: set aside: {self.reason}"


class Span(NamedTuple):
    """A stretch of time, its end not in it."""

    begin: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Reading:
    """What one file holds. `covers`: when its reports can be from; None if it has none.

    `notes` say what must be known of how the file was read.
    """

    file: str
    kind: Kind
    reports: tuple[Report, ...]
    set_aside: tuple[SetAside, ...]
    covers: Span | None
    notes: tuple[str, ...] = ()
