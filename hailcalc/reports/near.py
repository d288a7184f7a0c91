"""A place and a date of loss held against hail reports: what was told of, how far away.

Distances in metres on the ellipsoid. What comes out says what was found and what was not looked
at; whether a claim is right, it does not say.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from hailcalc.problems import InputError, Problem
from hailcalc.reports.days import LocalDay, files_missing
from hailcalc.reports.footprint import REACH_KM, Footprint, footprint
from hailcalc.reports.ground import Point, way
from hailcalc.reports.reading import Gathered
from hailcalc.reports.records import Report

MOST = 5
"""Nearest reports that are told of unless said otherwise."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A report, how far it is from the place, and in which direction (degrees from north)."""

    report: Report
    metres: float
    azimuth: float


@dataclass(frozen=True, slots=True)
class DayNear:
    """Reports within reach of the place on one day.

    `missing`: dates of the daily files that hold a part of that day and were not given.
    """

    day: LocalDay
    away: int
    within_reach: int
    in_all: int
    missing: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the reports say of a place and a day.

    `inside` the footprint of that day, and `edge_m` from the place to its nearest edge: None if
    the day has no report at all.
    """

    place: Point
    day: LocalDay
    reach_km: float
    nearest: tuple[Neighbour, ...]
    on_the_day: DayNear
    before: DayNear
    after: DayNear
    drawn: Footprint
    inside: bool
    edge_m: float | None


def evidence_near(
    gathered: Gathered,
    place: Point,
    day: LocalDay,
    reach_km: float = REACH_KM,
    most: int = MOST,
) -> Evidence:
    """Hold a place and a day against reports.

    Raises InputError for a place east of Greenwich without a time zone, and where no footprint
    can be drawn.
    """
    if day.zone is None and place.lon > 0:
        found = f"longitude {place.lon:g} and no time zone"
        expected = "a time zone: east of Greenwich a day touches other UTC dates"
        raise InputError([Problem("zone", (), found, expected)])
    days: dict[int, list[Report]] = {-1: [], 0: [], 1: []}
    for report in gathered.reports:
        away = day.away(report.time)
        if away in days:
            days[away].append(report)
    drawn = footprint(days[0], reach_km)
    neighbours = {away: by_distance(days[away], place) for away in days}
    told = {
        away: DayNear(
            day,
            away,
            sum(each.metres <= reach_km * 1000 for each in neighbours[away]),
            len(neighbours[away]),
            files_missing(day.span(away), gathered.covered),
        )
        for away in days
    }
    return Evidence(
        place,
        day,
        reach_km,
        tuple(neighbours[0][:most]),
        told[0],
        told[-1],
        told[1],
        drawn,
        drawn.part_around(place) is not None,
        drawn.edge_m(place),
    )


def by_distance(reports: Iterable[Report], place: Point) -> Sequence[Neighbour]:
    """Reports from the nearest to the farthest."""
    found = [Neighbour(each, *way(place, Point(each.lat, each.lon))) for each in reports]
    return sorted(found, key=lambda each: (each.metres, each.report.time, each.report.source))
