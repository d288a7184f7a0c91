"""A small map as SVG: the footprint, the reports of the day, the place that was asked about.

Drawn on nothing but a plain ground, with north up, in an azimuthal equidistant projection centred
on the place or on the reports. Reports differ by size of their circle and by the inches written
beside them, not by colour. Text is escaped; a title and a description stand for the picture.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from typing import Any

from hailcalc.problems import printable
from hailcalc.reports.days import LocalDay
from hailcalc.reports.footprint import Footprint, Part, Plane, centre_of
from hailcalc.reports.ground import Point
from hailcalc.reports.near import Evidence
from hailcalc.reports.records import NOTICE, Report

_SIDE = 640
_FOOT = 56
_LABEL_WIDTH, _LABEL_HEIGHT = 52, 13
_MOST_LABELS = 60


def near_svg(evidence: Evidence) -> str:
    """A map centred on the place, as wide as the nearest reports that are told of."""
    reach = evidence.reach_km * 1000
    farthest = max((each.metres for each in evidence.nearest), default=0.0)
    half = min(max(1.15 * farthest, 2.5 * reach), 20 * reach)
    title = f"Hail reports near {evidence.place.lat:.4f}, {evidence.place.lon:.4f}"
    view = _View(Plane(evidence.place), half)
    return _svg(f"{title} on {evidence.day.words()}", view, evidence.drawn, evidence.place)


def footprint_svg(drawn: Footprint, day: LocalDay) -> str:
    """A map of a whole footprint."""
    points = [Point(report.lat, report.lon) for part in drawn.parts for report in part.reports]
    plane = Plane(centre_of(points) if points else Point(0.0, 0.0))
    reach = drawn.reach_km * 1000
    spots = [plane.metres(*point) for point in points]
    half = max((max(abs(east), abs(north)) for east, north in spots), default=0.0)
    view = _View(plane, half + max(1.5 * reach, 0.15 * half))
    return _svg(f"Footprint of the hail reports on {day.words()}", view, drawn, None)


class _View:
    """Metres around a centre as dots of the picture."""

    def __init__(self, plane: Plane, half_m: float) -> None:
        self.plane = plane
        self.half_m = half_m
        self._dots = _SIDE / 2 / half_m

    def dots(self, metres: float) -> float:
        return metres * self._dots

    def spot(self, east: float, north: float) -> tuple[float, float]:
        return _SIDE / 2 + east * self._dots, _SIDE / 2 - north * self._dots

    def of(self, lat: float, lon: float) -> tuple[float, float]:
        return self.spot(*self.plane.metres(lat, lon))


def _svg(title: str, view: _View, drawn: Footprint, place: Point | None) -> str:
    height = _SIDE + _FOOT
    reports = [report for part in drawn.parts for report in part.reports]
    words = (
        f"{len(reports)} reports in {len(drawn.parts)} parts; the ground within "
        f"{drawn.reach_km:g} km, the shop's choice, is shaded. {NOTICE}"
    )
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {_SIDE} {height}" '
        f'width="{_SIDE}" height="{height}" font-family="sans-serif" font-size="12">',
        f"<title>{_text(title)}</title>",
        f"<desc>{_text(words)}</desc>",
        f'<rect width="{_SIDE}" height="{height}" fill="#ffffff"/>',
        f'<svg width="{_SIDE}" height="{_SIDE}">',
        *(_part(part, view) for part in drawn.parts),
        *_reports(reports, view),
        *_place(place, view),
        "</svg>",
        f'<rect width="{_SIDE}" height="{_SIDE}" fill="none" stroke="#444444"/>',
        *_scale(view),
        f'<text x="8" y="{_SIDE + 20}">{_text(title)}</text>',
        f'<text x="8" y="{_SIDE + 38}">Shaded: within {drawn.reach_km:g} km of reports '
        "(the shop's choice). Figures: inches.</text>",
        f'<text x="8" y="{_SIDE + 52}" font-size="10">Evidence, never a verdict; a missing report '
        "proves nothing; not a coverage decision.</text>",
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _text(words: str) -> str:
    return escape(printable(words))


def _part(part: Part, view: _View) -> str:
    shape: Any = part.shape
    path = "".join(
        _ring(ring.coords, part, view)
        for one in getattr(shape, "geoms", [shape])
        for ring in (one.exterior, *one.interiors)
    )
    return f'<path d="{path}" fill="#d5dce4" fill-rule="evenodd" stroke="#5b6b7b"/>'


def _ring(coordinates: Iterable[tuple[float, ...]], part: Part, view: _View) -> str:
    spots = (view.of(*part.plane.point(east, north)) for east, north in coordinates)
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots) + "Z"


def _reports(reports: Sequence[Report], view: _View) -> Iterator[str]:
    taken: list[tuple[float, float]] = []
    for report in sorted(reports, key=lambda each: (-each.hundredths, each.time, each.source)):
        x, y = view.of(report.lat, report.lon)
        radius = 2.5 + min(report.hundredths, 500) / 60
        yield (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="#1f3a5f" stroke="#ffffff">'
            f"<title>{_text(f'{report.inches} in, {report.place_words}')}</title></circle>"
        )
        free = all(abs(x - a) > _LABEL_WIDTH or abs(y - b) > _LABEL_HEIGHT for a, b in taken)
        if free and len(taken) < _MOST_LABELS:
            taken.append((x, y))
            yield f'<text x="{x + radius + 3:.1f}" y="{y + 4:.1f}">{report.inches}</text>'


def _place(place: Point | None, view: _View) -> Iterator[str]:
    if place is not None:
        x, y = view.of(*place)
        yield (
            f'<path d="M{x - 9:.1f} {y:.1f}h18M{x:.1f} {y - 9:.1f}v18" stroke="#b00020" '
            'stroke-width="3"><title>The place that was asked about</title></path>'
        )


def _scale(view: _View) -> Iterator[str]:
    """A bar of a round length, and which way north is."""
    length = 1.0
    for step in (2.0, 2.5, 2.0) * 3:
        if view.dots(length * step * 1000) > _SIDE / 3:
            break
        length *= step
    x, y = _SIDE - 16 - view.dots(length * 1000), _SIDE - 16
    yield f'<path d="M{x:.1f} {y - 4}v4H{_SIDE - 16}v-4" fill="none" stroke="#222222"/>'
    yield f'<text x="{_SIDE - 16}" y="{y - 8}" text-anchor="end">{length:g} km</text>'
    yield '<text x="16" y="24">N ↑</text>'
