"""From a file's bytes to hail reports, with every row that was set aside and why.

Two kinds of file of the NOAA Storm Prediction Center, told apart by their headings. A *daily
file*: `Time,Size,Location,County,State,Lat,Lon,Comments`, the time HHMM in UTC, the size in
hundredths of an inch; it runs from 1200 UTC on its date to 1159 UTC of the next. The *long
database*: `om,yr,mo,dy,date,time,tz,…,mag,…,slat,slon,…`, the size in inches, the time zone 3
for Central Standard Time all year round (UTC-6) or 9 for Greenwich (the 9 from memory); a row
with any other zone is set aside, not guessed at.

A row that cannot be used does not make a file unusable, and is never dropped in silence.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal
from typing import NamedTuple

from hailcalc.problems import InputError, Problem, shown
from hailcalc.reports.days import LIKELY_YEARS, ONE_DAY, daily_span
from hailcalc.reports.records import Reading, Report, SetAside, Source, Span
from hailcalc.reports.rows import Row, csv_rows

MAX_BYTES = 150_000_000
"""Largest file that is read: the long database several times over."""

DAILY_HEADING = ("time", "size", "location", "county", "state", "lat", "lon", "comments")
OTHER_HEADINGS = ("f_scale", "speed")
"""The second heading of tornado and wind reports, which may stand in one file with hail (from
memory)."""

LONG_HEADING = ("om", "yr", "mo", "dy", "date", "time", "tz", "st", "mag", "slat", "slon")
"""Headings of the long database that are needed; it has more."""

ZONES = {"3": timezone(timedelta(hours=-6)), "9": UTC}

LARGEST = 1000
"""Hundredths of an inch: a larger stone is a slip, or another unit."""

MAX_REMARK = 2000

_LONG_DATE = re.compile(r"(?:19|20|21)[0-9]{2}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12][0-9]|3[01])")
_NUMBER = re.compile(r"-?[0-9]{1,5}(\.[0-9]{1,12})?")
_DATE_IN_NAME = re.compile(r"(?<![0-9])((?:19|20)[0-9]{2})-?([0-9]{2})-?([0-9]{2})(?![0-9])")
_SHORT_DATE_IN_NAME = re.compile(r"(?<![0-9])([0-9]{2})([0-9]{2})([0-9]{2})_rpts")


class _Unusable(Exception):
    """Why a row cannot be used."""


def _unusable(name: str, found: str, expected: str) -> _Unusable:
    return _Unusable(f"{name} is {shown(found) if found else 'nothing'}, expected {expected}")


def read_reports(
    data: bytes, file: str, day: date | None = None, only: Span | None = None
) -> Reading:
    """The hail reports of one file. `day`: the date of a daily file, if its name does not say.

    With `only`, rows of the long database are passed over where their date is not within it; how
    many is noted. Raises InputError if the file is too large, of neither kind, or a daily file
    without a date.
    """
    if len(data) > MAX_BYTES:
        found = f"{len(data):,} bytes"
        raise InputError([Problem(file, (), found, f"at most {MAX_BYTES:,}")])
    text, notes = _decoded(data)
    rows = csv_rows(text)
    first = next(rows, None)
    heading = [] if first is None else [cell.strip().lower() for cell in first.cells]
    if _is_daily(heading) or _is_of_others(heading):
        reading = _read_daily(rows, heading, file, _date_of(file, day))
    elif set(LONG_HEADING) <= set(heading):
        reading = _read_long(rows, heading, file, only)
    else:
        found = "nothing" if first is None else f"the heading {shown(','.join(first.cells))}"
        expected = f"{','.join(DAILY_HEADING)}, or {','.join(LONG_HEADING)} among others"
        raise InputError([Problem(file, ("line 1",), found, expected)])
    return replace(reading, notes=(*notes, *reading.notes))


def _decoded(data: bytes) -> tuple[str, tuple[str, ...]]:
    """The text, its byte-order mark off, and what must be said of how it was read."""
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        note = f"read as Latin-1, since line {line} is no UTF-8; accents in remarks may be wrong"
        return data.removeprefix(b"\xef\xbb\xbf").decode("latin-1"), (note,)


def _is_daily(heading: list[str]) -> bool:
    return tuple(heading) in (DAILY_HEADING, DAILY_HEADING[:-1])


def _is_of_others(heading: list[str]) -> bool:
    return heading[:1] == ["time"] and len(heading) > 1 and heading[1] in OTHER_HEADINGS


def _date_of(file: str, day: date | None) -> date:
    """The date of a daily file: the one given, or the one in its name."""
    if day is None:
        day = date_in_name(file)
    if day is None or day.year not in LIKELY_YEARS:
        found = "a daily file without a date in its name" if day is None else f"the date {day}"
        expected = "its date given, or in its name: 2018-06-15, 20180615 or 180615_rpts"
        raise InputError([Problem(file, (), found, expected)])
    return day


def date_in_name(file: str) -> date | None:
    """The date in a file's name, as in hail-2018-06-15.csv or 180615_rpts_hail.csv."""
    name = re.split(r"[/\\]", file)[-1]
    for pattern, century in ((_DATE_IN_NAME, ""), (_SHORT_DATE_IN_NAME, "20")):
        for match in pattern.finditer(name):
            try:
                return date(int(century + match[1]), int(match[2]), int(match[3]))
            except ValueError:
                continue
    return None


def _read_daily(rows: Iterator[Row], heading: list[str], file: str, day: date) -> Reading:
    sections = _Sections(hail=_is_daily(heading))
    reports, set_aside = _gathered(
        sections.of_hail(rows), file, lambda row: _daily_cells(row, day), _looks_daily
    )
    if not sections.any_hail:
        found = "tornado or wind reports only"
        raise InputError([Problem(file, ("line 1",), found, ",".join(DAILY_HEADING))])
    notes: tuple[str, ...] = ()
    if sections.others:
        notes = (f"{sections.others:,} rows of tornado or wind reports, not looked at",)
    return Reading(file, "daily", reports, set_aside, daily_span(day), notes)


class _Sections:
    """Rows under a heading of hail; those under another are counted."""

    def __init__(self, *, hail: bool) -> None:
        self._hail = self.any_hail = hail
        self.others = 0

    def of_hail(self, rows: Iterator[Row]) -> Iterator[Row]:
        for row in rows:
            cells = [cell.strip().lower() for cell in row.cells]
            if _is_daily(cells) or _is_of_others(cells):
                self._hail = _is_daily(cells)
                self.any_hail = self.any_hail or self._hail
            elif self._hail:
                yield row
            else:
                self.others += 1


class _Facts(NamedTuple):
    """What a row says, without where it stands."""

    time: datetime
    hundredths: int
    place: str
    county: str
    state: str
    lat: float
    lon: float
    remark: str


def _daily_cells(row: Row, day: date) -> _Facts:
    if len(row.cells) < len(DAILY_HEADING) - 1:
        raise _Unusable(f"{len(row.cells)} cells, expected {len(DAILY_HEADING)}")
    moment, size, place, county, state, lat, lon = (cell.strip() for cell in row.cells[:7])
    # What is beyond the seventh comma is remark, whatever it holds.
    remark = ",".join(row.cells[7:]).strip()
    return _Facts(
        _daily_time(moment, day),
        _hundredths(size),
        place,
        county,
        state,
        *_latitude_longitude(lat, lon, "Lat", "Lon"),
        remark[:MAX_REMARK],
    )


def _daily_time(text: str, day: date) -> datetime:
    if not re.fullmatch(r"([01][0-9]|2[0-3])[0-5][0-9]", text, re.ASCII):
        expected = "HHMM in UTC, four digits (a spreadsheet may have taken zeros off)"
        raise _unusable("Time", text, expected)
    moment = datetime.combine(day, time(int(text[:2]), int(text[2:])), UTC)
    return moment if moment >= daily_span(day).begin else moment + ONE_DAY


def _hundredths(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,4}", text, re.ASCII) or not 0 < int(text) <= LARGEST:
        raise _unusable("Size", text, f"hundredths of an inch, 1 to {LARGEST:,}")
    return int(text)


def _latitude_longitude(lat: str, lon: str, lat_name: str, lon_name: str) -> tuple[float, float]:
    found = []
    for text, limit, name in ((lat, 90, lat_name), (lon, 180, lon_name)):
        if not _NUMBER.fullmatch(text) or abs(float(text)) > limit:
            raise _unusable(name, text, f"degrees from -{limit} to {limit}")
        found.append(float(text))
    if found == [0, 0]:
        raise _Unusable(f"{lat_name} and {lon_name} are both 0, which stands for no place")
    return found[0], found[1]


def _looks_daily(line: str) -> bool:
    return re.match(r"[0-9]{4},[^,]*,[^,]*,[^,]*,[^,]*,-?[0-9.]+,-?[0-9.]+", line) is not None


def _read_long(rows: Iterator[Row], heading: list[str], file: str, only: Span | None) -> Reading:
    twice = sorted({name for name in heading if name and heading.count(name) > 1})
    if twice:
        found = f"{', '.join(shown(name) for name in twice)} twice"
        raise InputError([Problem(file, ("line 1",), found, "each column once")])
    columns = {name: k for k, name in enumerate(heading)}
    width = len(heading)
    dates = _Dates(columns["date"], only)
    reports, set_aside = _gathered(
        dates.wanted(rows), file, lambda row: _long_cells(row, columns, width), _looks_long
    )
    notes: tuple[str, ...] = ()
    if dates.others:
        notes = (f"{dates.others:,} rows of other days, not looked at",)
    return Reading(file, "long", reports, set_aside, dates.span(), notes)


class _Dates:
    """The dates of the long database's rows, by which rows of other days are passed over."""

    def __init__(self, column: int, only: Span | None) -> None:
        self._column = column
        self._bounds: tuple[str, str] | None = None
        if only is not None:
            # A day more to either side, since a row's date is not yet in UTC.
            self._bounds = (
                (only.begin - ONE_DAY).date().isoformat(),
                (only.end + ONE_DAY).date().isoformat(),
            )
        self._first, self._last = "9999-12-31", "0001-01-01"
        self.others = 0

    def wanted(self, rows: Iterator[Row]) -> Iterator[Row]:
        for row in rows:
            text = row.cells[self._column].strip() if self._column < len(row.cells) else ""
            if _LONG_DATE.fullmatch(text):
                self._first, self._last = min(self._first, text), max(self._last, text)
                if self._bounds and not self._bounds[0] <= text <= self._bounds[1]:
                    self.others += 1
                    continue
            yield row

    def span(self) -> Span | None:
        """From the first date to the last; None without any."""
        try:
            first, last = date.fromisoformat(self._first), date.fromisoformat(self._last)
        except ValueError:
            return None
        if not (first <= last and first.year in LIKELY_YEARS and last.year in LIKELY_YEARS):
            return None
        begin, end = (datetime.combine(day, time(), UTC) for day in (first, last + ONE_DAY))
        return Span(begin, end)


def _long_cells(row: Row, columns: Mapping[str, int], width: int) -> _Facts:
    if len(row.cells) != width:
        raise _Unusable(f"{len(row.cells)} cells, expected {width} as in the heading")
    cell = {name: row.cells[columns[name]].strip() for name in LONG_HEADING}
    return _Facts(
        _long_time(cell),
        _inches(cell["mag"]),
        "",
        "",
        cell["st"],
        *_latitude_longitude(cell["slat"], cell["slon"], "slat", "slon"),
        "",
    )


def _long_time(cell: Mapping[str, str]) -> datetime:
    zone = ZONES.get(cell["tz"])
    if zone is None:
        raise _unusable("tz", cell["tz"], "3 (Central Standard Time) or 9 (Greenwich)")
    text = f"{cell['date']}T{cell['time']}"
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}", text, re.ASCII):
        raise _unusable("date and time", text, "such as 2018-06-15T09:31:00")
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        raise _unusable("date and time", text, "a date of the calendar and a time") from None
    if local.year not in LIKELY_YEARS:
        raise _unusable("date", cell["date"], f"from {LIKELY_YEARS[0]} to {LIKELY_YEARS[-1]}")
    parts = [cell[name].lstrip("0") for name in ("yr", "mo", "dy")]
    if parts != [str(local.year), str(local.month), str(local.day)]:
        told = "-".join(cell[name] for name in ("yr", "mo", "dy"))
        raise _unusable("date", cell["date"], f"what yr, mo and dy say: {shown(told)}")
    return local.replace(tzinfo=zone).astimezone(UTC)


def _inches(text: str) -> int:
    expected = f"inches to the hundredth, 0.01 to {LARGEST // 100}"
    if not re.fullmatch(r"[0-9]{1,2}(\.[0-9]{1,4})?", text, re.ASCII):
        raise _unusable("mag", text, expected)
    hundredths = Decimal(text) * 100
    if hundredths != hundredths.to_integral_value() or not 0 < hundredths <= LARGEST:
        raise _unusable("mag", text, expected)
    return int(hundredths)


def _looks_long(line: str) -> bool:
    return re.match(r"[0-9]+,[0-9]{4},[0-9]+,[0-9]+,", line) is not None


def _gathered(
    rows: Iterable[Row],
    file: str,
    facts_of: Callable[[Row], _Facts],
    looks_like_a_row: Callable[[str], bool],
) -> tuple[tuple[Report, ...], tuple[SetAside, ...]]:
    """Reports and the rows set aside: unusable ones, doubles, and lines within a remark."""
    reports: list[Report] = []
    set_aside: list[SetAside] = []
    for row in rows:
        source = Source(file, row.line)
        try:
            reports.append(Report(*facts_of(row), source))
        except _Unusable as unusable:
            set_aside.append(SetAside(source, str(unusable)))
        for offset, line in enumerate(row.lines[1:], 1):
            if looks_like_a_row(line):
                reason = f"looks like a report, but stands in the quoted remark of line {row.line}"
                set_aside.append(SetAside(Source(file, row.line + offset), reason))
    return tuple(reports), tuple(set_aside)


class Gathered(NamedTuple):
    """The reports of several files by time, each once, and what was set aside in all."""

    reports: tuple[Report, ...]
    set_aside: tuple[SetAside, ...]
    covered: tuple[Span, ...]
    notes: tuple[str, ...]


def gather(readings: Iterable[Reading]) -> Gathered:
    """Several files as one; a report that stands in them twice counts once."""
    kept: dict[tuple[datetime, int, float, float], Report] = {}
    set_aside: list[SetAside] = []
    covered: list[Span] = []
    notes: list[str] = []
    for reading in readings:
        set_aside += reading.set_aside
        notes += [f"{reading.file}: {note}" for note in reading.notes]
        if reading.covers is not None:
            covered.append(reading.covers)
        for report in reading.reports:
            first = kept.setdefault(report.same, report)
            if first is not report:
                reason = f"the report of {first.source.file} line {first.source.line} again"
                set_aside.append(SetAside(report.source, reason))
    reports = sorted(kept.values(), key=lambda report: (report.time, report.source))
    return Gathered(tuple(reports), tuple(set_aside), tuple(covered), tuple(notes))
