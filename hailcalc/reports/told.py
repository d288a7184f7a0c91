"""Hail reports as plain text for people and as JSON for machines.

Sizes in inches with two decimals, millimetres and the words of the National Weather Service;
distances in kilometres. Every text and every document ends or begins with the notice that it
is evidence and no verdict.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime
from textwrap import fill
from typing import Any
from zoneinfo import ZoneInfo

from hailcalc.columns import columns_text
from hailcalc.money import round_half_away
from hailcalc.reports.days import LocalDay
from hailcalc.reports.footprint import Footprint
from hailcalc.reports.geojson import area_km2, polygons
from hailcalc.reports.ground import wind
from hailcalc.reports.near import DayNear, Evidence
from hailcalc.reports.reading import Gathered
from hailcalc.reports.records import NOTICE, Report
from hailcalc.reports.sizes import size_words

ROUNDED = (
    "Places of reports are rounded, often to 0.01 degrees, which is up to 1.1 km, and many are "
    "told as so many miles from a town."
)
"""How near a report's place is; the miles are common practice, no source."""

_HEAD = ["Inches", "mm", "In words (National Weather Service)", "Place"]
_WIDTH = 100


def json_text(document: Any) -> str:
    """A document as the JSON text that is written."""
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def list_text(reports: Sequence[Report], zone: ZoneInfo | None) -> str:
    """Reports as a table by time."""
    if not reports:
        return f"No hail report.\n\n{_closing()}"
    times = ["Time UTC", *([] if zone is None else [f"In {zone.key}"])]
    rows = [[*times, *_HEAD, "Lat", "Lon"]]
    for report in reports:
        rows.append(
            [
                *_times(report, zone),
                *_size(report),
                _coordinate(report.lat),
                _coordinate(report.lon),
            ]
        )
    first = len(times)
    table = columns_text(rows, right=[first, first + 1, first + 4, first + 5])
    return f"{table}\n{_counted(len(reports))}.\n\n{_closing()}"


def list_document(
    reports: Sequence[Report], zone: ZoneInfo | None, gathered: Gathered
) -> dict[str, Any]:
    """Reports and every row set aside, as JSON values."""
    return {
        "notice": NOTICE,
        "zone": None if zone is None else zone.key,
        "reports": [report_document(report, zone) for report in reports],
        **_reading_document(gathered),
    }


def near_text(evidence: Evidence) -> str:
    """What the reports say of a place and a day."""
    place, day = evidence.place, evidence.day
    parts = [f"Hail reports near {_degrees(*place)} on {day.words()}\n"]
    if evidence.nearest:
        local = [] if day.zone is None else [f"In {day.zone.key}"]
        rows = [["Distance", "Way", "Time UTC", *local, *_HEAD]]
        for each in evidence.nearest:
            rows.append(
                [
                    f"{each.metres / 1000:.1f} km",
                    wind(each.azimuth),
                    *_times(each.report, day.zone),
                    *_size(each.report),
                ]
            )
        sizes = 3 + len(local)
        parts.append(columns_text(rows, right=[0, sizes, sizes + 1]))
    parts.append(
        "".join(_wrapped(words) for words in (where_words(evidence), *_day_words(evidence)))
    )
    parts.append(_wrapped(f"{reach_words(evidence.reach_km)} {ROUNDED}"))
    parts.append(_closing())
    return "\n".join(parts)


def near_document(evidence: Evidence, gathered: Gathered) -> dict[str, Any]:
    """What the reports say of a place and a day, as JSON values."""
    zone = evidence.day.zone
    return {
        "notice": NOTICE,
        "place": {"lat": evidence.place.lat, "lon": evidence.place.lon},
        **_day_document(evidence.day),
        "reach_km": evidence.reach_km,
        "reach_is": "the shop's choice",
        "nearest": [
            {
                "distance_km": round(each.metres / 1000, 3),
                "direction": wind(each.azimuth),
                "azimuth": round(each.azimuth, 1),
                **report_document(each.report, zone),
            }
            for each in evidence.nearest
        ],
        "footprint": {
            "parts": len(evidence.drawn.parts),
            "inside": evidence.inside if evidence.drawn.parts else None,
            "edge_km": None if evidence.edge_m is None else round(evidence.edge_m / 1000, 3),
        },
        "days": [
            {
                "day": which,
                "reports": told.in_all,
                "within_reach": told.within_reach,
                "files_missing": [each.isoformat() for each in told.missing],
            }
            for which, told in _days(evidence)
        ],
        **_reading_document(gathered),
    }


def footprint_text(drawn: Footprint, day: LocalDay) -> str:
    """The parts of a footprint, the one with the most reports first."""
    parts = [f"Footprint of the hail reports on {day.words()}\n"]
    if drawn.parts:
        rows = [["Part", "Reports", "Largest", "Area", "Time UTC, first to last", "First place"]]
        for number, part in enumerate(drawn.parts, 1):
            by_time = sorted(part.reports, key=lambda report: report.time)
            rows.append(
                [
                    str(number),
                    str(len(part.reports)),
                    max(by_time, key=lambda report: report.hundredths).inches + " in",
                    f"{area_km2(polygons(part)):,.0f} km²",
                    f"{_utc(by_time[0].time)} to {_utc(by_time[-1].time)}",
                    by_time[0].place_words,
                ]
            )
        parts.append(columns_text(rows, right=[0, 1, 2, 3]))
    else:
        parts.append("No report on that day in the files given.\n")
    parts.append(_wrapped(f"{reach_words(drawn.reach_km)} {ROUNDED}"))
    parts.append(_closing())
    return "\n".join(parts)


def footprint_document(drawn: Footprint, day: LocalDay, gathered: Gathered) -> dict[str, Any]:
    """The parts of a footprint with their reports, as JSON values."""
    return {
        "notice": NOTICE,
        **_day_document(day),
        "reach_km": drawn.reach_km,
        "reach_is": "the shop's choice",
        "parts": [
            {
                "area_km2": round(area_km2(polygons(part)), 1),
                "reports": [report_document(report, day.zone) for report in part.reports],
            }
            for part in drawn.parts
        ],
        **_reading_document(gathered),
    }


def report_document(report: Report, zone: ZoneInfo | None = None) -> dict[str, Any]:
    """One report as JSON values."""
    local = {} if zone is None else {"local_time": report.time.astimezone(zone).isoformat()}
    return {
        "time": report.time.isoformat(),
        **local,
        "inches": report.hundredths / 100,
        "mm": float(report.mm),
        "size": size_words(report.hundredths),
        "place": report.place,
        "county": report.county,
        "state": report.state,
        "lat": report.lat,
        "lon": report.lon,
        "remark": report.remark,
        "file": report.source.file,
        "line": report.source.line,
    }


def reach_words(reach_km: float) -> str:
    """What a footprint is."""
    return (
        f"The footprint is the ground within {reach_km:g} km of a report, or of the line between "
        f"two neighbouring ones at most {2 * reach_km:g} km apart; the {reach_km:g} km are the "
        "shop's choice."
    )


def where_words(evidence: Evidence) -> str:
    """Whether the place lies inside the footprint, and how far from its edge."""
    if evidence.edge_m is None:
        return "No report on that day in the files given, so there is no footprint."
    side = "inside" if evidence.inside else "outside"
    return (
        f"The place lies {side} the footprint of that day's reports, "
        f"{evidence.edge_m / 1000:.1f} km from its edge."
    )


def missing_words(missing: Sequence[date], what: str) -> str:
    """Which files were not given."""
    files = ", ".join(str(each) for each in missing)
    noun = "file" if len(missing) == 1 else "files"
    verb = "holds" if len(missing) == 1 else "hold"
    return f"not looked at: the daily {noun} of {files}, which {verb} a part of {what}"


def _days(evidence: Evidence) -> Iterable[tuple[str, DayNear]]:
    yield "the day before", evidence.before
    yield "the day", evidence.on_the_day
    yield "the day after", evidence.after


def _day_words(evidence: Evidence) -> Iterable[str]:
    before, on_the_day, after = evidence.before, evidence.on_the_day, evidence.after
    yield (
        f"Within {evidence.reach_km:g} km: {_counted(on_the_day.within_reach)} on the day, of "
        f"{on_the_day.in_all} in all; {before.within_reach} on the day before and "
        f"{after.within_reach} on the day after, as far as the files given hold them."
    )
    for which, told in _days(evidence):
        if told.missing:
            words = missing_words(told.missing, which)
            yield f"{words[0].upper()}{words[1:]}."


def _day_document(day: LocalDay) -> dict[str, Any]:
    span = day.span()
    return {
        "date": day.day.isoformat(),
        "zone": None if day.zone is None else day.zone.key,
        "looked_at": {"from": span.begin.isoformat(), "until": span.end.isoformat()},
    }


def _reading_document(gathered: Gathered) -> dict[str, Any]:
    return {
        "set_aside": [
            {"file": each.source.file, "line": each.source.line, "reason": each.reason}
            for each in gathered.set_aside
        ],
        "notes": list(gathered.notes),
    }


def _times(report: Report, zone: ZoneInfo | None) -> list[str]:
    times = [_utc(report.time)]
    if zone is not None:
        local = report.time.astimezone(zone)
        times.append(f"{local:%Y-%m-%d %H:%M %Z}")
    return times


def _utc(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M}"


def _size(report: Report) -> list[str]:
    words = size_words(report.hundredths)
    return [report.inches, mm_text(report), words, report.place_words or "no place told"]


def mm_text(report: Report) -> str:
    """A stone's size in millimetres to the tenth, halves away from zero."""
    tenths = round_half_away(report.hundredths * 254, 100)
    return f"{tenths // 10}.{tenths % 10}"


def _coordinate(degrees: float) -> str:
    """Degrees with the decimals that they have, two at least and four at most."""
    text = f"{degrees:.4f}"
    return text[:-2] if text.endswith("00") else text


def _degrees(lat: float, lon: float) -> str:
    return f"{lat:.4f}, {lon:.4f}"


def _counted(number: int) -> str:
    return "1 report" if number == 1 else f"{number:,} reports"


def _wrapped(words: str) -> str:
    return fill(words, _WIDTH, break_on_hyphens=False) + "\n"


def _closing() -> str:
    return _wrapped(NOTICE)
