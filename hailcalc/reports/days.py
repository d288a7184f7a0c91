"""The local date of a report, and which files hold a local day.

Reports have their time in UTC, a loss its local date. The zone is named (IANA) or it is not
known: it is never guessed from a place. Without one a day is taken to be both UTC dates that it
can touch west of Greenwich, where these reports come from: its own and the next. The files of
the Storm Prediction Center run from 1200 UTC to 1159 UTC of the next date, so that a local day
of the United States lies in two of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from hailcalc.problems import InputError, Problem, shown
from hailcalc.reports.records import Span

ONE_DAY = timedelta(days=1)
FILE_BEGINS = time(12, tzinfo=UTC)
"""When a daily file begins, on the date in its name."""

LIKELY_YEARS = range(1900, 2200)
"""Years that a report or a loss can be of; others are slips."""


def zone_named(name: str) -> ZoneInfo:
    """A time zone by its IANA name. Raises InputError if there is none of that name."""
    try:
        return ZoneInfo(name)
    except (LookupError, OSError, ValueError):
        expected = "a time zone's IANA name, such as America/Chicago"
        raise InputError([Problem("zone", (), shown(name), expected)]) from None


@dataclass(frozen=True, slots=True)
class LocalDay:
    """A date of loss, in its zone or, without one, on every UTC date that it can touch."""

    day: date
    zone: ZoneInfo | None = None

    def away(self, moment: datetime) -> int:
        """How many days a time is from this day: 0 on it, -1 on the day before, 1 the day after."""
        if self.zone is not None:
            return (moment.astimezone(self.zone).date() - self.day).days
        days = (moment.astimezone(UTC).date() - self.day).days
        return days if days < 0 else max(days - 1, 0)

    def span(self, away: int = 0) -> Span:
        """When the day, or one so many days away from it, begins and ends in UTC."""
        first = self.day + away * ONE_DAY
        if self.zone is None:
            # The day itself is two UTC dates long.
            begin = first if away <= 0 else first + ONE_DAY
            return Span(_midnight(begin), _midnight(first + ONE_DAY * (1 if away < 0 else 2)))
        begins, ends = (
            datetime.combine(day, time(), self.zone).astimezone(UTC)
            for day in (first, first + ONE_DAY)
        )
        return Span(begins, ends)

    def words(self) -> str:
        """The day as it is printed, and what was looked at for it."""
        if self.zone is not None:
            return f"{self.day} in {self.zone.key}"
        return f"{self.day}, no time zone given: UTC dates {self.day} and {self.day + ONE_DAY}"


def local_day(day: date, zone: str | None = None) -> LocalDay:
    """A date of loss in the zone of that name. Raises InputError for no zone, no likely date."""
    if day.year not in LIKELY_YEARS:
        expected = f"a date from {LIKELY_YEARS[0]} to {LIKELY_YEARS[-1]}"
        raise InputError([Problem("date", (), str(day), expected)])
    return LocalDay(day, None if zone is None else zone_named(zone))


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)


def daily_span(day: date) -> Span:
    """When the reports in the daily file of a date are from."""
    begin = datetime.combine(day, FILE_BEGINS)
    return Span(begin, begin + ONE_DAY)


def files_missing(wanted: Span, covered: Iterable[Span]) -> tuple[date, ...]:
    """Dates of the daily files that hold a part of `wanted` which no `covered` span holds."""
    gaps = [wanted]
    for span in covered:
        gaps = [rest for gap in gaps for rest in _without(gap, span)]
    found: set[date] = set()
    for gap in gaps:
        day = (gap.begin - timedelta(hours=12)).date()
        while daily_span(day).begin < gap.end:
            found.add(day)
            day += ONE_DAY
    return tuple(sorted(found))


def _without(gap: Span, span: Span) -> Iterator[Span]:
    if gap.begin < min(gap.end, span.begin):
        yield Span(gap.begin, min(gap.end, span.begin))
    if max(gap.begin, span.end) < gap.end:
        yield Span(max(gap.begin, span.end), gap.end)
