"""A claim's place and date held against hail reports: what is told, in text, JSON and a map.

All values are invented.
"""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.problems import InputError
from hailcalc.reports.days import daily_span, local_day
from hailcalc.reports.footprint import footprint
from hailcalc.reports.ground import Point, wind
from hailcalc.reports.near import Evidence, evidence_near
from hailcalc.reports.picture import footprint_svg, near_svg
from hailcalc.reports.reading import Gathered
from hailcalc.reports.records import NOTICE, Report
from hailcalc.reports.told import (
    footprint_document,
    footprint_text,
    json_text,
    list_document,
    list_text,
    mm_text,
    near_document,
    near_text,
)
from tests.effort import examples
from tests.reports.reports_for_tests import report

DAY = date(2026, 5, 19)
CHICAGO = local_day(DAY, "America/Chicago")
PLACE = Point(40.0, -95.0)
NOON = datetime(2026, 5, 19, 17, 0, tzinfo=UTC)


def gathered(*reports: Report, files: tuple[date, ...] = ()) -> Gathered:
    return Gathered(reports, (), tuple(daily_span(day) for day in files), ())


def near(*reports: Report, most: int = 5, files: tuple[date, ...] = ()) -> Evidence:
    return evidence_near(gathered(*reports, files=files), PLACE, CHICAGO, most=most)


def plain(words: str) -> str:
    """A text without its line ends, however it was wrapped."""
    return " ".join(words.split())


def test_the_nearest_reports_of_the_local_date_come_first() -> None:
    found = near(
        report(40.3, time=NOON, place="FAR"),
        report(40.01, time=NOON, place="NEAR"),
        report(40.0, time=NOON - timedelta(days=1), place="DAY BEFORE"),
        report(40.1, time=NOON, place="BETWEEN"),
        most=2,
    )
    assert [each.report.place for each in found.nearest] == ["NEAR", "BETWEEN"]
    assert found.on_the_day.in_all == 3


def test_a_report_after_midnight_in_utc_is_still_of_the_local_date() -> None:
    late = report(time=datetime(2026, 5, 20, 4, 59, tzinfo=UTC))
    later = report(time=datetime(2026, 5, 20, 5, 0, tzinfo=UTC))
    found = near(late, later)
    assert [each.report for each in found.nearest] == [late]
    assert (found.on_the_day.within_reach, found.after.within_reach) == (1, 1)


def test_how_many_reports_within_reach_on_the_day_before_and_after() -> None:
    one_day = timedelta(days=1)
    found = near(
        report(40.05, time=NOON - one_day),
        report(40.06, time=NOON - one_day),
        report(41.0, time=NOON - one_day),
        report(40.05, time=NOON + one_day),
        report(40.05, time=NOON + 2 * one_day),
    )
    assert (found.before.within_reach, found.before.in_all) == (2, 3)
    assert (found.after.within_reach, found.after.in_all) == (1, 1)
    assert found.on_the_day.in_all == 0
    assert "2 on the day before and 1 on the day after" in plain(near_text(found))


def test_inside_and_outside_the_footprint() -> None:
    inside = near(report(40.05, time=NOON))
    assert inside.inside
    assert inside.edge_m == pytest.approx(10_000 - 5_551.7, abs=5)
    assert "lies inside the footprint of that day's reports, 4.4 km from its edge" in near_text(
        inside
    )
    outside = near(report(40.2, time=NOON))
    assert not outside.inside
    assert "lies outside the footprint of that day's reports, 12.2 km from its edge" in near_text(
        outside
    )


def test_a_day_without_reports_is_no_proof_of_a_day_without_hail() -> None:
    found = near()
    text = plain(near_text(found))
    assert "No report on that day in the files given, so there is no footprint." in text
    assert "a missing report proves nothing" in text
    document = near_document(found, gathered())
    assert document["footprint"] == {"parts": 0, "inside": None, "edge_km": None}


def test_the_files_that_would_hold_the_rest_of_the_day_are_named() -> None:
    text = plain(near_text(near(report(time=NOON), files=(DAY,))))
    assert "Not looked at: the daily file of 2026-05-18, which holds a part of the day." in text
    neighbours = tuple(DAY + timedelta(days=k) for k in (-2, -1, 0, 1))
    assert "Not looked at" not in near_text(near(report(time=NOON), files=neighbours))


def test_without_a_zone_both_dates_are_told_and_no_local_time() -> None:
    found = evidence_near(gathered(report(time=NOON)), PLACE, local_day(DAY))
    text = near_text(found)
    assert "no time zone given: UTC dates 2026-05-19 and 2026-05-20" in text
    assert "2026-05-19 17:00  " in text
    document = near_document(found, gathered())
    assert document["zone"] is None
    assert document["looked_at"] == {
        "from": "2026-05-19T00:00:00+00:00",
        "until": "2026-05-21T00:00:00+00:00",
    }
    assert "local_time" not in document["nearest"][0]


def test_east_of_greenwich_a_zone_must_be_given() -> None:
    with pytest.raises(InputError, match="east of Greenwich a day touches other UTC dates"):
        evidence_near(gathered(), Point(40.0, 10.0), local_day(DAY))
    evidence_near(gathered(), Point(40.0, 10.0), local_day(DAY, "Europe/Rome"))


def test_a_report_is_told_with_both_times_inches_millimetres_and_words() -> None:
    found = near(report(40.05, hundredths=110, time=NOON))
    row = near_text(found).split("\n")[3]
    assert [cell.strip() for cell in row.split("  ") if cell.strip()] == [
        "5.6 km", "N", "2026-05-19 17:00", "2026-05-19 12:00 CDT", "1.10", "27.9",
        "from quarter size, below half dollar size", "EMBERFOLD, TALLOW, ZZ",
    ]  # fmt: skip
    [told] = near_document(found, gathered())["nearest"]
    assert told["distance_km"] == pytest.approx(5.552, abs=0.001)
    assert (told["direction"], told["azimuth"]) == ("N", 0.0)
    assert told["local_time"] == "2026-05-19T12:00:00-05:00"
    assert (told["inches"], told["mm"]) == (1.1, 27.94)


@pytest.mark.parametrize(
    ("hundredths", "mm"), [(100, "25.4"), (175, "44.5"), (125, "31.8"), (1, "0.3")]
)
def test_millimetres_to_the_tenth_round_halves_away(hundredths: int, mm: str) -> None:
    assert mm_text(report(hundredths=hundredths)) == mm


@pytest.mark.parametrize(
    ("azimuth", "name"), [(0, "N"), (11.2, "N"), (11.3, "NNE"), (90, "E"), (225, "SW"), (359, "N")]
)
def test_directions_by_the_compass(azimuth: float, name: str) -> None:
    assert wind(azimuth) == name


def test_every_output_says_that_it_is_evidence_and_no_verdict() -> None:
    reports = [report(time=NOON)]
    found, drawn = near(*reports), footprint(reports)
    texts = [near_text(found), list_text(reports, None), list_text([], None)]
    texts += [footprint_text(drawn, CHICAGO), footprint_text(footprint([]), CHICAGO)]
    for text in texts:
        assert NOTICE in plain(text)
    documents = [near_document(found, gathered()), list_document(reports, None, gathered())]
    documents.append(footprint_document(drawn, CHICAGO, gathered()))
    for document in documents:
        assert json.loads(json_text(document))["notice"] == NOTICE
    for picture in (near_svg(found), footprint_svg(drawn, CHICAGO)):
        assert NOTICE in picture
        assert "Evidence, never a verdict" in picture.split("</desc>")[1]
    for word in ("verdict", "sparse", "proves nothing", "not a coverage decision"):
        assert word in NOTICE


def test_the_reach_is_called_the_shops_choice() -> None:
    found = near(report(time=NOON))
    assert "the 10 km are the shop's choice" in plain(near_text(found))
    assert near_document(found, gathered())["reach_is"] == "the shop's choice"


HOSTILE = '<script>alert("x")</script>\x1b[31m\n&'


def test_hostile_words_are_escaped_in_text_and_picture() -> None:
    reports = [report(time=NOON, place=HOSTILE)]
    found, drawn = near(*reports), footprint(reports)
    for text in (near_text(found), list_text(reports, None), footprint_text(drawn, CHICAGO)):
        assert "\x1b" not in text
        assert "\\x1b[31m\\n&" in text
    for picture in (near_svg(found), footprint_svg(drawn, CHICAGO)):
        assert "<script" not in picture
        titles = [node.text for node in ElementTree.fromstring(picture).iter() if node.text]
        assert any('<script>alert("x")</script>\\x1b[31m\\n&' in title for title in titles)


@settings(max_examples=examples(40))
@given(
    st.lists(st.tuples(st.floats(38, 42), st.floats(-97, -93), st.integers(1, 1000)), max_size=12),
    st.booleans(),
)
def test_a_map_has_every_report_and_the_place_in_its_middle(
    places: list[tuple[float, float, int]], hail_there: bool
) -> None:
    reports = [report(*each, time=NOON, line=k) for k, each in enumerate(places)]
    if hail_there:
        reports.append(report(time=NOON, line=99))
    picture = ElementTree.fromstring(near_svg(near(*reports)))
    circles = picture.findall(".//{*}circle")
    assert len(circles) == len(reports)
    crosses = [path for path in picture.findall(".//{*}path") if "h18" in path.get("d", "")]
    assert [cross.get("d") for cross in crosses] == ["M311.0 320.0h18M320.0 311.0v18"]
    if hail_there:
        assert ("320.0", "320.0") in {(each.get("cx"), each.get("cy")) for each in circles}
    whole = ElementTree.fromstring(footprint_svg(footprint(reports), CHICAGO))
    for each in whole.findall(".//{*}circle"):
        assert 0 < float(each.get("cx", "-1")) < 640
        assert 0 < float(each.get("cy", "-1")) < 640


def test_a_map_has_north_up_and_east_to_the_right() -> None:
    picture = ElementTree.fromstring(near_svg(near(report(40.1, -94.9, time=NOON))))
    [circle] = picture.findall(".//{*}circle")
    assert float(circle.get("cx", "0")) > 330
    assert float(circle.get("cy", "999")) < 310
