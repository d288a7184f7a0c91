"""Marks and outlines from GeoJSON (RFC 7946), as parts of a claim file.

GeoJSON's own coordinates are degrees on the globe; here, by arrangement (its section 4), they
are millimetres on the panel, and coordinates that look like degrees are refused where they are
held against a panel. A dent is a Point with the properties `panel` and `mm`, optionally `mm2`
and `marks` (a list, or text joined by `+`). A shape of an outlines file has the properties
`panel`, `kind` (`outline`, or that of a zone) and, for a line or a border, `reach_mm`.

Functions take the text and give plain claim-file data, so that everything read passes the
same checks as a claim file; a mistake names the feature.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from hailcalc.counting.csvfiles import MARKS, OutlineEntry, outlines_by_panel
from hailcalc.problems import InputError, Place, Problem, shown
from hailcalc.reading import load_json

_DENT_KEYS = ("panel", "mm", "mm2", "marks")
_SHAPE_KEYS = ("panel", "kind", "reach_mm")


def panels_from_geojson(text: str, file: str) -> list[dict[str, Any]]:
    """Claim-file panels from dents as Points. Raises InputError with every mistake."""
    problems: list[Problem] = []
    dents: dict[str, list[dict[str, Any]]] = {}
    for place, geometry, properties in _features(text, file, _DENT_KEYS, problems):
        dent = _dent(geometry, properties, place, file, problems)
        panel = properties.get("panel")
        if not isinstance(panel, str):
            found = "nothing" if panel is None else shown(panel)
            where = (*place, "properties", "panel")
            problems.append(Problem(file, where, found, "the panel that the dent is on"))
        elif dent is not None:
            dents.setdefault(panel, []).append(dent)
    if problems:
        raise InputError(problems)
    return [{"panel": panel, "dents": found} for panel, found in dents.items()]


def outlines_from_geojson(text: str, file: str) -> dict[str, dict[str, Any]]:
    """Outlines and zones by panel, as keys of a claim file's panel.

    Raises InputError with every mistake; the shapes themselves are checked with the claim.
    """
    problems: list[Problem] = []
    entries: list[OutlineEntry] = []
    for place, geometry, properties in _features(text, file, _SHAPE_KEYS, problems):
        reach = properties.get("reach_mm", 0)
        if isinstance(reach, bool) or not isinstance(reach, (int, Decimal)):
            where = (*place, "properties", "reach_mm")
            problems.append(Problem(file, where, shown(reach), "a number of millimetres"))
            continue
        entries.append(
            OutlineEntry(
                Problem("", place, "", "").place,
                str(properties.get("panel")),
                str(properties.get("kind")),
                Decimal(reach),
                geometry,
            )
        )
    found = outlines_by_panel(entries, file, problems)
    if problems:
        raise InputError(problems)
    return found


def _features(
    text: str, file: str, known: tuple[str, ...], problems: list[Problem]
) -> Iterator[tuple[Place, Any, dict[str, Any]]]:
    """Each feature's place, geometry and properties; what is no feature is a problem."""
    data = load_json(text, file)
    if isinstance(data, dict) and data.get("type") == "Feature":
        data = {"type": "FeatureCollection", "features": [data]}
    if not isinstance(data, dict) or data.get("type") != "FeatureCollection":
        kind = data.get("type") if isinstance(data, dict) else None
        found = f"a GeoJSON {shown(kind)}" if isinstance(kind, str) else "no GeoJSON object"
        raise InputError([Problem(file, (), found, "a FeatureCollection (RFC 7946)")])
    if "crs" in data:
        expected = "none: coordinates are millimetres on the panel"
        problems.append(Problem(file, ("crs",), "a coordinate reference system", expected))
    features = data.get("features")
    if not isinstance(features, list):
        raise InputError([Problem(file, ("features",), "no list", "a list of features")])
    for index, feature in enumerate(features):
        place: Place = ("features", index)
        properties = feature.get("properties") if isinstance(feature, dict) else None
        if not isinstance(properties, dict) or feature.get("type") != "Feature":
            expected = "a Feature with properties"
            problems.append(Problem(file, place, "something else", expected))
            continue
        for key in properties:
            if key not in known:
                found = f"the unknown property {shown(key)}"
                where = (*place, "properties")
                problems.append(Problem(file, where, found, "one of " + ", ".join(known)))
        yield place, feature.get("geometry"), properties


def _dent(
    geometry: Any, properties: dict[str, Any], place: Place, file: str, problems: list[Problem]
) -> dict[str, Any] | None:
    """One dent, or None with what is wrong added to `problems`."""
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if kind != "Point":
        found = f"a {shown(kind)}" if isinstance(kind, str) else "no geometry"
        problems.append(Problem(file, (*place, "geometry"), found, "a Point, one a dent"))
        return None
    position = geometry.get("coordinates")
    if not _is_pair(position):
        where = (*place, "geometry", "coordinates")
        problems.append(Problem(file, where, shown(position), "[x, y] in millimetres"))
        return None
    dent: dict[str, Any] = {"x": position[0], "y": position[1]}
    for key in ("mm", "mm2"):
        if key in properties:
            dent[key] = properties[key]
    marks = properties.get("marks", [])
    if isinstance(marks, str):
        marks = [mark.strip() for mark in marks.split("+") if mark.strip()]
    if not isinstance(marks, list) or not all(mark in MARKS for mark in marks):
        where = (*place, "properties", "marks")
        problems.append(Problem(file, where, shown(marks), "marks: " + ", ".join(MARKS)))
        return None
    if marks:
        dent["marks"] = marks
    return dent


def _is_pair(position: Any) -> bool:
    return (
        isinstance(position, list)
        and len(position) == 2
        and all(isinstance(n, (int, Decimal)) and not isinstance(n, bool) for n in position)
    )
