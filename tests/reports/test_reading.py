"""Files of hail reports as they come: odd remarks, cut lines, wrong times, several at once.

Every row that is not used is told with its line and its reason. All values are invented; rows of
the long database are made from its documented columns.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.problems import InputError
from hailcalc.reports import reading as reading_module
from hailcalc.reports.days import local_day
from hailcalc.reports.reading import date_in_name, gather, read_reports
from hailcalc.reports.records import Reading, Span
from tests.reports.reports_for_tests import HEADING, daily, long

DAY = date(2026, 5, 19)
GOOD = "2211,175,EMBERFOLD,TALLOW,ZZ,40.00,-95.00,"


def read(*rows: str) -> Reading:
    return read_reports(daily(*rows), "hail.csv", DAY)


def reasons(reading: Reading) -> list[tuple[int, str]]:
    return [(each.source.line, each.reason) for each in reading.set_aside]


@pytest.mark.parametrize(
    ("written", "remark"),
    [
        ("", ""),
        ("BRIEF.", "BRIEF."),
        ("A, B, AND C", "A, B, AND C"),
        ('"A, B, AND C"', "A, B, AND C"),
        ('"HE SAID ""BIG"""', 'HE SAID "BIG"'),
        ('HE SAID "BIG", TWICE', 'HE SAID "BIG", TWICE'),
        ('"BIG" HE SAID, TWICE', '"BIG" HE SAID, TWICE'),
        ('"A LONE QUOTE', '"A LONE QUOTE'),
        ('1" HAIL', '1" HAIL'),
        ('"FIRST LINE\nSECOND LINE"', "FIRST LINE\nSECOND LINE"),
    ],
)
def test_a_remark_of_any_kind_costs_no_row(written: str, remark: str) -> None:
    found = read(GOOD + written, "2240,100,NETTLEWICK,TALLOW,ZZ,40.06,-94.79,AFTER")
    assert [each.remark for each in found.reports] == [remark, "AFTER"]
    assert found.set_aside == ()


def test_a_row_inside_a_quoted_remark_is_told_and_not_counted() -> None:
    found = read(GOOD + '"SEE ALSO', "2240,300,NETTLEWICK,TALLOW,ZZ,40.06,-94.79,", 'END"')
    assert len(found.reports) == 1
    assert reasons(found) == [
        (3, "looks like a report, but stands in the quoted remark of line 2"),
    ]


def test_lone_quotes_in_two_rows_swallow_nothing_between_them() -> None:
    between = [f"22{k},100,N{k},TALLOW,ZZ,40.0{k % 10},-95.0," for k in range(12, 50)]
    found = read(GOOD + '"ONE', *between, GOOD.replace("2211", "2259") + '"TWO')
    assert (len(found.reports), found.set_aside) == (40, ())


def test_lone_quotes_within_words_join_no_rows() -> None:
    found = read(GOOD + 'ABOUT 2" WIDE', GOOD.replace("2211", "2212") + '3" DEEP')
    assert [each.remark for each in found.reports] == ['ABOUT 2" WIDE', '3" DEEP']
    assert found.set_aside == ()


@given(st.lists(st.text(st.sampled_from('A",\n'), max_size=12), min_size=1, max_size=8))
def test_no_row_is_lost_without_a_word(remarks: list[str]) -> None:
    """Each row is a report, or a line told of: whatever stands in the remarks."""
    rows = [f"22{k:02d},100,X,Y,ZZ,40,-95,{remark}" for k, remark in enumerate(remarks)]
    found = read(*rows)
    lines = daily(*rows).decode().split("\n")
    begun = {k for k, line in enumerate(lines, 1) if line.startswith("22")}
    told = {each.source.line for each in found.reports} | {line for line, _ in reasons(found)}
    assert begun <= told


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_of_every_system_and_a_byte_order_mark(end: str) -> None:
    data = b"\xef\xbb\xbf" + daily(GOOD, "", GOOD.replace("2211", "2212")).replace(
        b"\n", end.encode()
    )
    found = read_reports(data, "hail.csv", DAY)
    assert [each.source.line for each in found.reports] == [2, 4]
    assert (found.set_aside, found.notes) == ((), ())


def test_latin_1_remarks_are_read_and_told() -> None:
    data = daily(GOOD, GOOD.replace("2211", "2212") + "CAFÉ").decode().encode("latin-1")
    found = read_reports(data, "hail.csv", DAY)
    assert found.reports[1].remark == "CAFÉ"
    assert found.notes == (
        "read as Latin-1, since line 3 is no UTF-8; accents in remarks may be wrong",
    )


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("2460,100,X,Y,ZZ,40,-95,", 'Time is "2460", expected HHMM in UTC'),
        ("2400,100,X,Y,ZZ,40,-95,", 'Time is "2400"'),
        ("559,100,X,Y,ZZ,40,-95,", 'Time is "559"'),
        ("22:11,100,X,Y,ZZ,40,-95,", 'Time is "22:11"'),
        ("٢٢١١,100,X,Y,ZZ,40,-95,", "Time is"),
        (",100,X,Y,ZZ,40,-95,", "Time is nothing"),
        ("2211,UNK,X,Y,ZZ,40,-95,", 'Size is "UNK", expected hundredths of an inch'),
        ("2211,,X,Y,ZZ,40,-95,", "Size is nothing"),
        ("2211,0,X,Y,ZZ,40,-95,", 'Size is "0"'),
        ("2211,1001,X,Y,ZZ,40,-95,", 'Size is "1001"'),
        ("2211,1.75,X,Y,ZZ,40,-95,", 'Size is "1.75"'),
        ("2211,100,X,Y,ZZ,90.01,-95,", 'Lat is "90.01", expected degrees from -90 to 90'),
        ("2211,100,X,Y,ZZ,40,-180.5,", 'Lon is "-180.5"'),
        ("2211,100,X,Y,ZZ,nan,-95,", 'Lat is "nan"'),
        ("2211,100,X,Y,ZZ,1e1,-95,", 'Lat is "1e1"'),
        ("2211,100,X,Y,ZZ,0,0,", "both 0, which stands for no place"),
        ("2211,100,X,Y,ZZ,40", "6 cells, expected 8"),
        ("2211", "1 cells, expected 8"),
    ],
)
def test_a_row_that_cannot_be_used_is_set_aside_with_line_and_reason(row: str, reason: str) -> None:
    found = read(GOOD, row, GOOD.replace("2211", "2259"))
    assert len(found.reports) == 2
    [(line, told)] = reasons(found)
    assert line == 3
    assert reason in told
    assert str(found.set_aside[0]).startswith("hail.csv: line 3: set aside: ")


def test_a_row_without_remark_or_its_comma_is_whole() -> None:
    assert len(read(GOOD.rstrip(",")).reports) == 1


@pytest.mark.parametrize(
    ("time", "moment"),
    [
        ("1200", datetime(2026, 5, 19, 12, 0, tzinfo=UTC)),
        ("2359", datetime(2026, 5, 19, 23, 59, tzinfo=UTC)),
        ("0000", datetime(2026, 5, 20, 0, 0, tzinfo=UTC)),
        ("1159", datetime(2026, 5, 20, 11, 59, tzinfo=UTC)),
    ],
)
def test_a_daily_file_runs_from_1200_to_1159_of_the_next_date(time: str, moment: datetime) -> None:
    assert read(GOOD.replace("2211", time)).reports[0].time == moment


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("spc-hail-2018-06-15.csv", date(2018, 6, 15)),
        ("20180615.csv", date(2018, 6, 15)),
        ("180615_rpts_hail.csv", date(2018, 6, 15)),
        ("2019-01-01/180615_rpts.csv", date(2018, 6, 15)),
        ("hail-2018-13-15.csv", None),
        ("hail.csv", None),
        ("1955-2024_hail.csv", None),
    ],
)
def test_the_date_of_a_daily_file_in_its_name(name: str, day: date | None) -> None:
    assert date_in_name(name) == day


def test_a_daily_file_without_a_date_is_refused() -> None:
    with pytest.raises(InputError, match="a daily file without a date in its name"):
        read_reports(daily(GOOD), "hail.csv")


@pytest.mark.parametrize("data", [b"", b"\n\n", b"a,b,c\n1,2,3\n", b"\x00\x01\x02", b"{}"])
def test_a_file_of_neither_kind_is_refused(data: bytes) -> None:
    with pytest.raises(InputError, match="expected time,size,location"):
        read_reports(data, "hail-2026-05-19.csv")


def test_a_file_beyond_the_limit_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_module, "MAX_BYTES", 100)
    with pytest.raises(InputError, match="expected at most 100"):
        read(*[GOOD] * 3)


def test_a_day_without_hail_is_a_day_looked_at() -> None:
    found = read()
    assert found.reports == ()
    assert found.covers is not None


def test_tornado_and_wind_reports_in_the_same_file_are_counted_and_not_hail() -> None:
    tornado = "Time,F_Scale,Location,County,State,Lat,Lon,Comments"
    wind = "Time,Speed,Location,County,State,Lat,Lon,Comments"
    row = "2230,65,X,Y,ZZ,40,-95,"
    data = "\n".join([tornado, row, wind, row, row, HEADING, GOOD]).encode()
    found = read_reports(data, "260519_rpts.csv")
    assert len(found.reports) == 1
    assert found.notes == ("3 rows of tornado or wind reports, not looked at",)
    with pytest.raises(InputError, match="tornado or wind reports only"):
        read_reports("\n".join([wind, row]).encode(), "260519_rpts_wind.csv")


LONG_ROW = (
    "619,2018,6,15,2018-06-15,09:31:00,3,WI,55,0,1.00,0,0,0,0,44.96,-89.63,44.96,-89.63,0,0,1"
)


def test_a_row_of_the_long_database_is_in_central_standard_time_all_year() -> None:
    [found] = read_reports(long(LONG_ROW), "hail.csv").reports
    # 09:31 of a summer day, six hours behind Greenwich and not five.
    assert found.time == datetime(2018, 6, 15, 15, 31, tzinfo=UTC)
    assert (found.hundredths, found.lat, found.lon) == (100, 44.96, -89.63)
    assert (found.state, found.place_words) == ("WI", "WI")


def test_the_evening_in_central_standard_time_is_the_next_date_in_utc() -> None:
    row = LONG_ROW.replace("09:31:00", "19:31:00")
    [found] = read_reports(long(row), "hail.csv").reports
    assert found.time == datetime(2018, 6, 16, 1, 31, tzinfo=UTC)


def test_a_row_in_greenwich_time() -> None:
    [found] = read_reports(long(LONG_ROW.replace(":00,3,", ":00,9,")), "hail.csv").reports
    assert found.time == datetime(2018, 6, 15, 9, 31, tzinfo=UTC)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        (":00,3,", ":00,0,", 'tz is "0", expected 3 (Central Standard Time) or 9 (Greenwich)'),
        (":00,3,", ":00,,", "tz is nothing"),
        (":00,3,", ":00,CST,", 'tz is "CST"'),
        ("09:31:00", "24:60:00", "date and time"),
        ("09:31:00", "0931", "date and time"),
        ("2018-06-15", "6/15/18", "date and time"),
        ("2018-06-15", "2018-02-30", "date and time"),
        ("2018-06-15", "2018-06-16", 'what yr, mo and dy say: "2018-6-15"'),
        (",1.00,", ",0,", 'mag is "0"'),
        (",1.00,", ",-9,", 'mag is "-9"'),
        (",1.00,", ",1.005,", 'mag is "1.005"'),
        (",1.00,", ",11,", 'mag is "11"'),
        ("44.96,-89.63,", "0,0,", "slat and slon are both 0"),
        ("44.96,-89.63,", "95,-89.63,", 'slat is "95"'),
        (",0,0,1", "", "19 cells, expected 22 as in the heading"),
        (",0,0,1", ",0,0,1,7", "23 cells, expected 22 as in the heading"),
    ],
)
def test_a_row_of_the_long_database_that_cannot_be_used_is_told(
    old: str, new: str, reason: str
) -> None:
    assert LONG_ROW.count(old) >= 1
    found = read_reports(long(LONG_ROW, LONG_ROW.replace(old, new, 1)), "hail.csv")
    assert len(found.reports) == 1
    [(line, told)] = reasons(found)
    assert line == 3
    assert reason in told


def test_columns_of_the_long_database_may_stand_in_another_order() -> None:
    heading = "mag,slat,slon,om,yr,mo,dy,date,time,tz,st"
    data = f"{heading}\n1.75,40,-95,1,2026,05,19,2026-05-19,22:11:00,9,ZZ"
    [found] = read_reports(data.encode(), "hail.csv").reports
    assert (found.hundredths, found.lat, found.lon) == (175, 40.0, -95.0)


def test_rows_of_other_days_in_the_long_database_are_passed_over_and_counted() -> None:
    rows = []
    for day in range(1, 31):
        row = LONG_ROW.replace("2018-06-15", f"2018-06-{day:02d}").replace(",6,15,", f",6,{day},")
        rows.append(row)
    wanted = local_day(date(2018, 6, 15), "America/Chicago")
    only = Span(wanted.span(-1).begin, wanted.span(1).end)
    every = read_reports(long(*rows), "hail.csv")
    some = read_reports(long(*rows), "hail.csv", only=only)
    near = [each for each in every.reports if abs(wanted.away(each.time)) <= 1]
    assert [each for each in some.reports if abs(wanted.away(each.time)) <= 1] == near
    assert len(near) == 3
    passed = 30 - len(some.reports)
    assert passed > 20
    assert some.notes == (f"{passed} rows of other days, not looked at",)
    assert some.covers == every.covers
    assert some.covers == Span(datetime(2018, 6, 1, tzinfo=UTC), datetime(2018, 7, 1, tzinfo=UTC))


def test_a_report_that_stands_twice_counts_once_and_is_told() -> None:
    one = read_reports(daily(GOOD, GOOD + "AGAIN"), "a.csv", DAY)
    other = read_reports(daily(GOOD.replace("2211", "1900"), GOOD), "b.csv", DAY)
    found = gather([one, other])
    assert [each.time.hour for each in found.reports] == [19, 22]
    assert [(each.source, each.reason) for each in found.set_aside] == [
        (("a.csv", 3), "the report of a.csv line 2 again"),
        (("b.csv", 3), "the report of a.csv line 2 again"),
    ]


@given(st.binary(max_size=300))
def test_no_bytes_make_it_stumble(tail: bytes) -> None:
    read_reports(daily(GOOD) + tail, "hail.csv", DAY)
    read_reports(long(LONG_ROW) + tail, "hail.csv", DAY)
