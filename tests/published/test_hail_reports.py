"""Hail reports against what others published: a real day, stones in words, a measured distance.

Outside sources: NOAA Storm Prediction Center, hail reports of 15 June 2018 (public domain, remarks
removed); the US National Weather Service's comparison objects for hail; the GDA Technical Manual
(ICSM), Flinders Peak to Buninyong.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from pyproj import Geod

from hailcalc.reports.days import local_day
from hailcalc.reports.ground import Point, distance_m, way
from hailcalc.reports.reading import read_reports
from hailcalc.reports.records import Reading, Report
from hailcalc.reports.sizes import NWS_SIZES, size_words

FILE = Path(__file__).parent.parent / "data" / "spc-hail-2018-06-15.csv"

# National Weather Service: inches and what a stone is compared with.
NWS = {
    "0.25": "pea", "0.50": "small marble", "0.75": "penny", "0.88": "nickel", "1.00": "quarter",
    "1.25": "half dollar", "1.50": "walnut or ping-pong ball", "1.75": "golf ball",
    "2.00": "hen egg", "2.50": "tennis ball", "2.75": "baseball", "3.00": "tea cup",
    "4.00": "grapefruit", "4.50": "softball",
}  # fmt: skip


@pytest.fixture(scope="module")
def the_day() -> Reading:
    return read_reports(FILE.read_bytes(), FILE.name)


def at(reading: Reading, place: str) -> Report:
    return next(report for report in reading.reports if report.place == place)


def test_the_file_of_15_june_2018_has_twenty_reports_and_nothing_is_set_aside(
    the_day: Reading,
) -> None:
    assert (the_day.kind, len(the_day.reports), the_day.set_aside) == ("daily", 20, ())
    assert [report.source.line for report in the_day.reports] == list(range(2, 22))


def test_its_day_runs_from_noon_to_noon_in_utc(the_day: Reading) -> None:
    first, last = datetime(2018, 6, 15, 12, tzinfo=UTC), datetime(2018, 6, 16, 12, tzinfo=UTC)
    assert the_day.covers == (first, last)
    assert all(first <= report.time < last for report in the_day.reports)
    times = [report.time for report in the_day.reports]
    assert times == sorted(times)


def test_0559_in_the_file_of_15_june_fell_on_16_june(the_day: Reading) -> None:
    mission = at(the_day, "17 SSE MISSION")
    assert mission.time == datetime(2018, 6, 16, 5, 59, tzinfo=UTC)
    assert at(the_day, "MOSINEE").time == datetime(2018, 6, 15, 13, 35, tzinfo=UTC)


def test_two_reports_of_the_file_fell_on_16_june_in_chicago_too(the_day: Reading) -> None:
    day = local_day(date(2018, 6, 15), "America/Chicago")
    assert [r.place for r in the_day.reports if day.away(r.time) == 1] == [
        "17 SSE MISSION",
        "1 NNW ISHPEMING",
    ]
    assert sum(day.away(report.time) == 0 for report in the_day.reports) == 18


def test_wausau_and_mosinee_lie_in_marathon_county(the_day: Reading) -> None:
    found = [report for report in the_day.reports if report.county == "MARATHON"]
    assert {report.place for report in found} == {"WAUSAU", "MOSINEE"}
    assert {report.state for report in found} == {"WI"}
    assert (at(the_day, "WAUSAU").lat, at(the_day, "WAUSAU").lon) == (44.96, -89.63)


@pytest.mark.parametrize(
    ("place", "inches", "mm", "words"),
    [
        ("WAUSAU", "1.00", "25.4", "quarter size"),
        ("OAKDALE", "1.25", "31.75", "half dollar size"),
        ("MOUNT VERNON", "1.50", "38.1", "walnut or ping-pong ball size"),
        ("MOOSE LAKE", "1.75", "44.45", "golf ball size"),
    ],
)
def test_its_stones_in_inches_millimetres_and_words(
    the_day: Reading, place: str, inches: str, mm: str, words: str
) -> None:
    report = at(the_day, place)
    assert report.inches == inches
    assert report.mm.normalize().to_eng_string() == mm
    assert size_words(report.hundredths) == words


def hundredths(inches: str) -> int:
    return int(inches.replace(".", ""))


def test_the_table_of_words_is_the_weather_services() -> None:
    assert {f"{size // 100}.{size % 100:02d}": words for size, words in NWS_SIZES} == NWS


@pytest.mark.parametrize("inches", NWS)
def test_a_stone_of_the_services_own_size_has_its_word(inches: str) -> None:
    assert size_words(hundredths(inches)) == f"{NWS[inches]} size"


@pytest.mark.parametrize(("smaller", "larger"), list(zip(NWS, list(NWS)[1:], strict=False)))
def test_between_two_sizes_both_words_are_said(smaller: str, larger: str) -> None:
    said = f"from {NWS[smaller]} size, below {NWS[larger]} size"
    for size in range(hundredths(smaller) + 1, hundredths(larger)):
        assert size_words(size) == said


def test_beyond_the_table_its_ends_are_said() -> None:
    assert size_words(24) == "below pea size"
    assert size_words(451) == "above softball size"


def test_the_services_quarter_is_not_the_coin() -> None:
    # The coin measures 0.955 inch (31 U.S.C. 5112): a stone as wide is not yet of quarter size.
    assert size_words(96) == "from nickel size, below quarter size"


# GDA Technical Manual: degrees, minutes, seconds on GRS80; metres; azimuth.
FLINDERS_PEAK = Point(-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
BUNINYONG = Point(-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
METRES = 54972.271
AZIMUTH = 306 + 52 / 60 + 5.37 / 3600


def test_flinders_peak_to_buninyong_to_the_millimetre() -> None:
    metres, azimuth = way(FLINDERS_PEAK, BUNINYONG)
    assert round(metres, 3) == METRES
    assert abs(azimuth - AZIMUTH) < 0.005 / 3600
    assert abs(distance_m(BUNINYONG, FLINDERS_PEAK) - metres) < 1e-6


def test_the_manuals_own_ellipsoid_gives_the_same_millimetre() -> None:
    found = Geod(ellps="GRS80").inv(
        FLINDERS_PEAK.lon, FLINDERS_PEAK.lat, BUNINYONG.lon, BUNINYONG.lat
    )[2]
    assert abs(found - distance_m(FLINDERS_PEAK, BUNINYONG)) < 0.001


def test_a_great_circle_on_a_ball_would_not_give_that_distance() -> None:
    ball = Geod(a=6_371_008.8, b=6_371_008.8)
    found = ball.inv(FLINDERS_PEAK.lon, FLINDERS_PEAK.lat, BUNINYONG.lon, BUNINYONG.lat)[2]
    assert abs(found - METRES) > 10
