"""The survey of a panel: what its outline makes of the marks or the sample squares on it.

Only a panel with places, squares or an outline of its own has one; a plain tally needs no
geometry, and nothing here is imported for it. The outline is the shop's own where the claim
gives one, else the generic one of the vehicle's body, scaled to its overall sizes. Places
and sizes in mm, areas in mm² and cm².
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from hailcalc.claimfile import (
    ClaimParts,
    MeasuredDent,
    Panel,
    Sample,
    Vehicle,
    has_positions,
    longest_axis,
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


def needs_survey(panel: Panel) -> bool:
    """Whether a panel's count depends on its outline, or brings an outline to be checked."""
    return (
        has_positions(panel)
        or panel.sample is not None
        or panel.outline is not None
        or bool(panel.zones)
    )


def survey_claim(parts: ClaimParts, file: str = "claim") -> tuple[Surveys, list[Problem]]:
    """Survey every panel that needs it, with every mistake in outlines, marks and squares."""
    surveys: Surveys = {}
    problems: list[Problem] = []
    if parts.vehicle is None:
        return surveys, problems
    for position, panel in parts.panels:
        if needs_survey(panel) and panel.panel in PANELS_OF_BODY[parts.vehicle.body]:
            survey, found = survey_panel(panel, parts.vehicle, ("panels", position), file)
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
    panel: Panel, vehicle: Vehicle, where: Place = (), file: str = "claim"
) -> tuple[Survey | None, list[Problem]]:
    """Survey one panel, or None and every mistake found."""
    shape, problems = panel_shape(panel, vehicle, where, file)
    if shape is None:
        return None, problems
    if panel.sample is not None:
        return _survey_squares(panel.sample, shape, where, file)
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
    return any(step.normalize().as_tuple().exponent < -2 for step in steps)  # type: ignore[operator]


def _off_panel(
    dents: Sequence[MeasuredDent],
    beyond: dict[int, float],
    shape: PanelShape,
    where: Place,
    file: str,
) -> Iterator[Problem]:
    """Marks off the panel, each by how much."""
    from hailcalc.counting.marks import MARGIN_MM

    for index, distance in beyond.items():
        dent = dents[index]
        assert dent.x is not None, "only placed dents are held against an outline"
        assert dent.y is not None, "only placed dents are held against an outline"
        found = f"a mark at {plain(dent.x)}, {plain(dent.y)}, {distance:.1f} mm off the panel"
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
    sample: Sample, shape: PanelShape, where: Place, file: str
) -> tuple[Survey | None, list[Problem]]:
    from hailcalc.coins import COIN_SETS
    from hailcalc.counting.squares import estimate_sample, sample_problems, whole_cm2

    area = shape.area_mm2
    problems = list(sample_problems(sample, area, shape.outline.bounds, where, file))
    if not problems:
        problems = list(_placed_problems(sample, shape, where, file))
    if problems:
        return None, problems
    known = sorted(
        (coin for coins in COIN_SETS.values() for coin in coins), key=lambda coin: coin.mm
    )
    order = [coin.name for coin in known]
    return Survey(shape, sample=estimate_sample(sample, whole_cm2(area), order)), []


def _placed_problems(
    sample: Sample, shape: PanelShape, where: Place, file: str
) -> Iterator[Problem]:
    """Placed squares that stick out of the panel or lie on one another."""
    squares = placed_squares(sample)
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
        pairs = "pair" if len(survey.twice) == 1 else "pairs"
        yield (
            f"{panel.panel}: the same dent may be marked twice, {pairs} closer than a quarter of "
            f"the smaller size: {'; '.join(listed)}."
        )


def _pair(dents: Sequence[MeasuredDent], pair: tuple[int, int]) -> str:
    """A pair of marks by number and place: 3 and 17 at 412, 655."""
    first = dents[pair[0]]
    assert first.x is not None, "only placed dents stand in pairs"
    assert first.y is not None, "only placed dents stand in pairs"
    return f"{pair[0] + 1} and {pair[1] + 1} at {plain(first.x)}, {plain(first.y)}"
