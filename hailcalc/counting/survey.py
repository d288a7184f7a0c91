"""The survey of a panel: what its outline makes of the marks or the sample squares on it.

Only a panel with places, squares or an outline of its own has one; a plain tally needs no
geometry, and nothing here is imported for it. The outline is the shop's own where the claim
gives one, else the generic one of the vehicle's body, scaled to its overall sizes. Places
and sizes in mm, areas in mm² and cm².
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from hailcalc.claimfile import (
    ClaimParts,
    MeasuredDent,
    Panel,
    Sample,
    Vehicle,
    has_positions,
    longest_axis,
    needs_survey,
)
from hailcalc.money import plain
from hailcalc.problems import Place, Problem
from hailcalc.vehicle import PANELS_OF_BODY, ZoneKind

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from hailcalc.counting.squares import SampleEstimate
    from hailcalc.vehicle.shapes import PanelShape

MAX_LISTED = 12
"""Pairs of marks that a warning lists; how many more there are is said."""


FEW_SQUARES = 5
"""With fewer squares on patchy damage the margin holds in 91 to 95 of 100 panels, not in 95."""


class Survey(NamedTuple):
    """What an outline says of one panel.

    `zone_marks` has for each dent the marks that its place gives it; `taken` how many marks
    just beyond the border were taken, and how far the farthest lies; `twice` pairs of dents
    (positions in the claim file) too close to be two, `more_twice` whether there are more.
    """

    shape: PanelShape
    zone_marks: tuple[tuple[ZoneKind, ...], ...] = ()
    taken: tuple[int, float] = (0, 0.0)
    twice: tuple[tuple[int, int], ...] = ()
    more_twice: bool = False
    sample: SampleEstimate | None = None


Surveys = dict[int, Survey]
"""Surveys by the panel's position in the claim file."""


def survey_claim(
    parts: ClaimParts, file: str = "claim", coins: Sequence[str] = ()
) -> tuple[Surveys, list[Problem]]:
    """Survey every panel that needs it, with every mistake in outlines, marks and squares.

    `coins` are the matrix's by size, as far as it is known.
    """
    surveys: Surveys = {}
    problems: list[Problem] = []
    if parts.vehicle is None:
        return surveys, problems
    for position, panel in parts.panels:
        if needs_survey(panel) and panel.panel in PANELS_OF_BODY[parts.vehicle.body]:
            survey, found = survey_panel(panel, parts.vehicle, ("panels", position), file, coins)
            problems += found
            if survey is not None:
                surveys[position] = survey
    return surveys, problems


def panel_shape(
    panel: Panel, vehicle: Vehicle, where: Place = (), file: str = "claim"
) -> tuple[PanelShape | None, list[Problem]]:
    """A panel's outline with its zones: the shop's own, else the generic one."""
    from hailcalc.vehicle.outlines import outline
    from hailcalc.vehicle.shapes import ZoneSource, generic_shape, own_shape

    sizes = vehicle.length_mm, vehicle.width_mm, vehicle.height_mm
    generic = generic_shape(outline(vehicle.body, panel.panel, *sizes))
    if panel.outline is None and not panel.zones:
        return generic, []
    zones = [ZoneSource(zone.kind, zone.shape, float(zone.reach_mm)) for zone in panel.zones]
    return own_shape(panel.outline, zones, generic, where, file)


def survey_panel(
    panel: Panel,
    vehicle: Vehicle,
    where: Place = (),
    file: str = "claim",
    coins: Sequence[str] = (),
) -> tuple[Survey | None, list[Problem]]:
    """Survey one panel, or None and every mistake found."""
    shape, problems = panel_shape(panel, vehicle, where, file)
    if shape is None:
        return None, problems
    if panel.sample is not None:
        return _survey_squares(panel.sample, shape, where, file, coins)
    if has_positions(panel) and all(
        dent.x is not None and dent.y is not None for dent in panel.dents
    ):
        return _survey_marks(panel.dents, shape, where, file)
    return Survey(shape), problems


def _survey_marks(
    dents: Sequence[MeasuredDent], shape: PanelShape, where: Place, file: str
) -> tuple[Survey | None, list[Problem]]:
    from hailcalc.counting.marks import (
        MARGIN_MM,
        ROUNDING_MM,
        as_arrays,
        classify,
        marked_twice,
        zone_marks,
    )
    from hailcalc.vehicle.shapes import looks_like_degrees

    x, y, size = as_arrays(
        [(float(dent.x or 0), float(dent.y or 0), float(longest_axis(dent))) for dent in dents]
    )
    box = float(x.min()), float(y.min()), float(x.max()), float(y.max())
    marked = classify(shape, x, y, size)
    if looks_like_degrees(*box) and (marked.beyond.any() or _finer_than_a_tape(dents)):
        return None, [_in_degrees(dents[0], shape, where, file)]
    off = [int(index) for index in (marked.beyond > MARGIN_MM + ROUNDING_MM).nonzero()[0]]
    if off:
        beyond = {index: float(marked.beyond[index]) for index in off}
        return None, list(_off_panel(dents, beyond, shape, where, file))
    taken = marked.beyond[marked.beyond > 0]
    pairs, more = marked_twice(x, y, size)
    return (
        Survey(
            shape,
            tuple(zone_marks(marked)),
            (len(taken), float(taken.max()) if len(taken) else 0.0),
            tuple(pairs),
            more,
        ),
        [],
    )


def _finer_than_a_tape(dents: Sequence[MeasuredDent]) -> bool:
    """Whether there are places with more decimals than anybody measures on a panel."""
    if len(dents) < 2:
        return False
    steps = [step for dent in dents for step in (dent.x, dent.y) if step is not None]
    return any(_decimals(step) > 2 for step in steps)


def _like_degrees(dent: MeasuredDent) -> bool:
    """Whether a lone place could be one on the globe: within its degrees, to many decimals."""
    if dent.x is None or dent.y is None or abs(dent.x) > 180 or abs(dent.y) > 90:
        return False
    return _decimals(dent.x) >= 4 and _decimals(dent.y) >= 4


def _decimals(step: Decimal) -> int:
    exponent = step.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _off_panel(
    dents: Sequence[MeasuredDent],
    beyond: dict[int, float],
    shape: PanelShape,
    where: Place,
    file: str,
) -> Iterator[Problem]:
    """Marks off the panel, each by how much."""
    from hailcalc.counting.marks import MARGIN_MM, ROUNDING_MM

    for index, distance in beyond.items():
        dent = dents[index]
        assert dent.x is not None, "only placed dents are held against an outline"
        assert dent.y is not None, "only placed dents are held against an outline"
        away = ceil(distance * 10 - ROUNDING_MM) / 10
        found = f"a mark at {_at(dent.x)}, {_at(dent.y)}, {away:.1f} mm off the panel"
        expected = f"a place on {_extent(shape)}, or at most {MARGIN_MM:.0f} mm beyond its border"
        yield Problem(file, (*where, "dents", index), found, expected)


def _in_degrees(first: MeasuredDent, shape: PanelShape, where: Place, file: str) -> Problem:
    """Several marks within a hair's breadth, or some off the panel, at places on the globe."""
    found = f"marks near {first.x}, {first.y}, which look like degrees"
    expected = f"millimetres from the origin of {_extent(shape)}"
    return Problem(file, (*where, "dents"), found, expected)


def _extent(shape: PanelShape) -> str:
    left, bottom, right, top = shape.outline.bounds
    return f"the panel, {right - left:.0f} by {top - bottom:.0f} mm"


def _survey_squares(
    sample: Sample, shape: PanelShape, where: Place, file: str, coins: Sequence[str]
) -> tuple[Survey | None, list[Problem]]:
    from hailcalc.counting.squares import estimate_sample, sample_problems, whole_cm2
    from hailcalc.vehicle.shapes import widest_circle_mm

    area = shape.area_mm2
    widest = widest_circle_mm(shape.outline)
    problems = list(sample_problems(sample, area, widest, where, file))
    if not problems:
        problems = list(_placed_problems(sample, shape, where, file))
    if problems:
        return None, problems
    return Survey(shape, sample=estimate_sample(sample, whole_cm2(area), coins)), []


def _placed_problems(
    sample: Sample, shape: PanelShape, where: Place, file: str
) -> Iterator[Problem]:
    """Placed squares that stick out of the panel or lie on one another."""
    from hailcalc.vehicle.shapes import looks_like_degrees

    squares = placed_squares(sample)
    corners = [square.at for square in sample.squares if square.at is not None]
    if len(corners) > 1:
        xs, ys = ([float(corner[axis]) for corner in corners] for axis in (0, 1))
        fine = max(_decimals(step) for corner in corners for step in corner) > 2
        if fine and looks_like_degrees(min(xs), min(ys), max(xs), max(ys)):
            found = f"squares near {corners[0][0]}, {corners[0][1]}, which look like degrees"
            expected = f"millimetres from the origin of {_extent(shape)}"
            yield Problem(file, (*where, "sample", "squares"), found, expected)
            return
    for index, square in enumerate(squares):
        place: Place = (*where, "sample", "squares", index)
        outside = 1 - square.intersection(shape.outline).area / square.area
        if outside > 1e-6:
            found = f"a square with {100 * outside:.1f} % of it off the panel"
            yield Problem(file, place, found, "a square that lies on the panel")
        for other in range(index):
            shared = square.intersection(squares[other]).area / square.area
            if shared > 1e-6:
                found = f"a square that shares {100 * shared:.1f} % with squares[{other}]"
                yield Problem(file, place, found, "squares side by side: no dent counted twice")


def placed_squares(sample: Sample) -> list[BaseGeometry]:
    """The squares that have a place, as shapes."""
    from shapely.geometry import box

    side = float(sample.side_mm)
    return [
        box(
            float(square.at[0]),
            float(square.at[1]),
            float(square.at[0]) + side,
            float(square.at[1]) + side,
        )
        for square in sample.squares
        if square.at is not None
    ]


def survey_notes(panel: Panel, survey: Survey) -> Iterator[str]:
    """What a survey has to say: marks taken from beyond the border, and marked twice."""
    if len(panel.dents) == 1 and _like_degrees(panel.dents[0]):
        at = f"{panel.dents[0].x}, {panel.dents[0].y}"
        yield f"{panel.panel}: its only mark, at {at}, could be in degrees; places are millimetres."
    if survey.sample is not None and len(survey.sample.per_square) < FEW_SQUARES:
        yield (
            f"{panel.panel}: sampled in fewer than {FEW_SQUARES} squares; the margin is less sure "
            "than its 95 %. Count more squares."
        )
    number, farthest = survey.taken
    if number:
        marks = "1 mark" if number == 1 else f"{number} marks"
        yield f"{panel.panel}: {marks} up to {farthest:.1f} mm beyond the border taken as on it."
    if survey.twice:
        listed = [_pair(panel.dents, pair) for pair in survey.twice[:MAX_LISTED]]
        rest = len(survey.twice) - len(listed)
        if survey.more_twice:
            listed.append(f"and more than {rest} others")
        elif rest:
            listed.append(f"and {rest} more")
        pairs = "a pair" if len(survey.twice) == 1 else "pairs"
        yield (
            f"{panel.panel}: the same dent may be marked twice, {pairs} closer than a quarter of "
            f"the smaller size: {'; '.join(listed)}."
        )


def _pair(dents: Sequence[MeasuredDent], pair: tuple[int, int]) -> str:
    """A pair of marks by number and place: 3 and 17 at 412, 655."""
    first = dents[pair[0]]
    assert first.x is not None, "only placed dents stand in pairs"
    assert first.y is not None, "only placed dents stand in pairs"
    return f"{pair[0] + 1} and {pair[1] + 1} at {_at(first.x)}, {_at(first.y)}"


def _at(step: Decimal) -> str:
    """A coordinate to a tenth of a millimetre, as far as anybody can mark."""
    return plain(round(step, 1))
