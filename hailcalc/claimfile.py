"""The claim file: what the estimator saw, before any price.

Counts of dents by coin, sizes in millimetres, money as decimal strings, dates as ISO
8601. The shape is plain pydantic models that forbid unknown keys; what the shape cannot
say (more marked than counted, a panel that the body lacks, a VIN's check digit) is said
by `claim_problems`, and what depends on the matrix by `hailcalc.estimate`. Both kinds
of check run on whatever parts of a file are sound, so that all its mistakes show at once.

A panel is counted in one of three ways: a `tally` by coin (with `marked` and `oversize`);
`dents`, each measured singly, which are sorted into the matrix's columns when priced, and
which may carry their place on the panel, so that the panel's zones mark them; or a `sample`
of squares, whose counts are scaled to the panel's area.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from hailcalc.fields import (
    Count,
    Day,
    FileModel,
    Flag,
    Millimetres,
    Name,
    Note,
    Number,
    Shape,
    Text,
    Title,
    Unsigned,
)
from hailcalc.problems import InputError, Place, Problem
from hailcalc.reading import check, load_json, sound_parts
from hailcalc.vehicle import PANELS_OF_BODY, Body, Equipment, ZoneKind, vin_findings
from hailcalc.vehicle import Panel as PanelName

Mark = Literal["braced", "glue-only", "body-line", "sharp", "edge"]
Metal = Literal["steel", "aluminium", "composite"]
Access = Literal["push", "glue", "replace", "plan"]
Aim = Literal["cost", "minutes"]
CoinName = Annotated[str, Field(min_length=1, max_length=30)]
Tally = dict[CoinName, Count]

MAX_DENTS = 100_000
"""Most single dents on one panel."""


class GroundPoint(FileModel):
    """A point on the ground in WGS 84 degrees."""

    lat: Annotated[Number, Field(ge=-90, le=90)]
    lon: Annotated[Number, Field(ge=-180, le=180)]


class ClaimHeader(FileModel):
    """Who claims what from whom."""

    number: Annotated[Title, Field(max_length=60)]
    date_of_loss: Day
    insurer: Text | None = None
    customer: Text | None = None
    dated: Day | None = Field(None, description="Date of the sheet.")
    estimator: Text | None = None
    deductible: Unsigned = "0"
    loss_location: GroundPoint | None = None
    revision: Annotated[int, Field(strict=True, ge=1, le=999)] | None = Field(
        None, description="Which sheet of the claim it is, counted from 1."
    )
    supplement: Note = Field("", description="Why there is another sheet of the claim.")


def _vin(value: str) -> str:
    error, _ = vin_findings(value)
    if error:
        raise PydanticCustomError("expected", "{words}", {"words": error})
    return value


class Vehicle(FileModel):
    """The damaged vehicle. `value` is what it is said to be worth before the loss.

    Generic outlines are scaled to the overall sizes, mm; a typical vehicle of the body without.
    """

    body: Body
    vin: Annotated[str, Field(max_length=40), AfterValidator(_vin)] | None = None
    description: Text | None = None
    value: Unsigned | None = None
    length_mm: Annotated[int, Field(strict=True, ge=2000, le=9000)] | None = None
    width_mm: Annotated[int, Field(strict=True, ge=1000, le=2600)] | None = None
    height_mm: Annotated[int, Field(strict=True, ge=900, le=3500)] | None = None
    equipment: Annotated[tuple[Equipment, ...], Field(max_length=20)] = ()


class Shop(FileModel):
    """Who made the estimate; printed at the head of the sheet."""

    name: Title
    address: Text = ""
    contact: Text = ""
    licence: Text = ""


class Conditions(FileModel):
    """How it was when the count was made; degrees Celsius."""

    panel_temperature_c: Annotated[Number, Field(ge=-60, le=120)] | None = None


class OversizeDent(FileModel):
    """A dent beyond the largest coin, by its longest axis in mm."""

    mm: Millimetres
    marks: Annotated[tuple[Mark, ...], Field(max_length=5)] = ()


Position = Annotated[Number, Field(ge=-1_000_000, le=1_000_000)]
"""A coordinate on a panel, mm from its origin. Wide limits, since whether a mark lies on its
panel is said by how much it does not."""


class MeasuredDent(FileModel):
    """One dent measured by itself; the longer of `mm` and `mm2` is its size.

    `x` and `y` say where on the panel it is, mm from the panel's origin.
    """

    mm: Millimetres
    mm2: Millimetres | None = None
    x: Position | None = None
    y: Position | None = None
    marks: Annotated[tuple[Mark, ...], Field(max_length=5)] = ()


class Zone(FileModel):
    """A part of the shop's own outline that marks the dents in it or, a body line, across it.

    `shape` is WKT or a GeoJSON geometry in mm; an `edge` without one is a strip along the whole
    border. `reach_mm` is how far to either side a line or a border reaches.
    """

    kind: ZoneKind
    shape: Shape | None = None
    reach_mm: Annotated[Number, Field(ge=0, le=500)] = Decimal(0)


class Square(FileModel):
    """What was counted in one sample square; `at` is its lower left corner, mm."""

    tally: Tally = Field(default_factory=dict)
    marked: dict[Mark, Tally] = Field(default_factory=dict)
    at: tuple[Position, Position] | None = None


class Sample(FileModel):
    """A panel counted in squares of one size, to be scaled to the panel's area."""

    side_mm: Annotated[Number, Field(ge=50, le=5000, decimal_places=3)]
    squares: Annotated[tuple[Square, ...], Field(min_length=1, max_length=200)]


class Panel(FileModel):
    """One panel as counted. Steel, original paint and reached by push unless it says otherwise."""

    panel: PanelName
    metal: Metal = "steel"
    repainted: Flag = False
    access: Access = "push"
    tally: Tally = Field(default_factory=dict)
    marked: dict[Mark, Tally] = Field(default_factory=dict)
    oversize: Annotated[tuple[OversizeDent, ...], Field(max_length=500)] = ()
    dents: Annotated[tuple[MeasuredDent, ...], Field(max_length=MAX_DENTS)] = ()
    sample: Sample | None = None
    outline: Shape | None = None
    zones: Annotated[tuple[Zone, ...], Field(max_length=100)] = ()
    replace_cost: Unsigned | None = None
    replace_minutes: Annotated[
        Unsigned | None, Field(description="What the replacement takes, for plans by time.")
    ] = None
    agreed: Unsigned | None = None
    note: Note = ""


class OtherLine(FileModel):
    """A part, sublet work, refinishing or body work; `quantity` times `unit_price`."""

    kind: Literal["part", "sublet", "refinish", "body"]
    label: Title
    quantity: Annotated[int, Field(strict=True, ge=1, le=9999)] = 1
    unit_price: Unsigned


_HASH = r"^[0-9a-f]{64}$"
_LOCAL_TIME = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}([+-][0-9]{2}:[0-9]{2})?$"


def _hash(value: str) -> str:
    if not re.fullmatch(_HASH, value):
        raise PydanticCustomError("expected", "64 hexadecimal digits in lower case (SHA-256)")
    return value


def _local_time(value: str) -> str:
    if re.fullmatch(_LOCAL_TIME, value):
        try:
            datetime.fromisoformat(value)
        except ValueError:
            pass
        else:
            return value
    raise PydanticCustomError("expected", "a time such as 2026-05-19T16:20:05 (ISO 8601)")


Sha256 = Annotated[str, AfterValidator(_hash), Field(json_schema_extra={"pattern": _HASH})]
LocalTime = Annotated[
    str, AfterValidator(_local_time), Field(json_schema_extra={"pattern": _LOCAL_TIME})
]
Pixels = Annotated[int, Field(strict=True, ge=1, le=100_000)]


class PhotographEntry(FileModel):
    """A photograph that belongs to the claim; of the whole vehicle if it names no panel."""

    panel: PanelName | None = None
    sha256: Annotated[Sha256, Field(description="Of the photograph as it is kept.")]
    preview: Annotated[Sha256, Field(description="Of the small JPEG that the sheet prints.")]
    taken: LocalTime | None = Field(None, description="By the camera's own clock.")
    width: Pixels
    height: Pixels
    note: Text = ""


class ClaimFile(FileModel):
    """A claim file as it stands on disk."""

    claim: ClaimHeader
    vehicle: Vehicle
    matrix: Name | None = None
    aim: Annotated[Aim, Field(description="What planned access should make least.")] = "cost"
    shop: Shop | None = None
    conditions: Conditions = Field(default_factory=Conditions)
    panels: Annotated[tuple[Panel, ...], Field(max_length=200)] = ()
    other: Annotated[tuple[OtherLine, ...], Field(max_length=500)] = ()
    photographs: Annotated[tuple[PhotographEntry, ...], Field(max_length=200)] = ()


class ClaimParts(NamedTuple):
    """The sound parts of a claim file: everything of a good one, what is left of a bad one."""

    claim: ClaimHeader | None
    vehicle: Vehicle | None
    panels: tuple[tuple[int, Panel], ...]
    other: tuple[tuple[int, OtherLine], ...]
    matrix: str | None
    conditions: Conditions | None = None
    photographs: tuple[tuple[int, PhotographEntry], ...] = ()

    @classmethod
    def of(cls, claim: ClaimFile) -> ClaimParts:
        """All parts of a whole claim file."""
        return cls(
            claim.claim,
            claim.vehicle,
            tuple(enumerate(claim.panels)),
            tuple(enumerate(claim.other)),
            claim.matrix,
            claim.conditions,
            tuple(enumerate(claim.photographs)),
        )


class ClaimReading(NamedTuple):
    """What came of reading a claim file: `claim` is None if there are problems."""

    claim: ClaimFile | None
    parts: ClaimParts
    problems: tuple[Problem, ...]


_LEAN_ON = {"marked": {"tally"}, "access": {"replace_cost"}}
"""Keys of a panel that mean nothing without another: dropped with it when that one is bad."""


def read_claim(text: str, file: str = "claim") -> ClaimReading:
    """Read a claim file's JSON text. Raises InputError only if it is no JSON at all."""
    return claim_from_data(load_json(text, file), file)


def claim_from_data(data: Any, file: str = "claim") -> ClaimReading:
    """A claim file from parsed JSON, with every mistake that can be seen without a matrix."""
    claim, problems = check(ClaimFile, data, file)
    if claim is not None:
        parts = ClaimParts.of(claim)
    else:
        sound = sound_parts(ClaimFile, data, problems, _LEAN_ON)
        parts = ClaimParts(
            sound.get("claim"),
            sound.get("vehicle"),
            tuple(sound.get("panels", ())),
            tuple(sound.get("other", ())),
            sound.get("matrix"),
            sound.get("conditions"),
            tuple(sound.get("photographs", ())),
        )
    problems = problems + list(claim_problems(parts, file))
    return ClaimReading(None if problems else claim, parts, tuple(problems))


def require_claim(reading: ClaimReading) -> ClaimFile:
    """The claim that was read, or InputError with everything that is wrong."""
    if reading.claim is None:
        raise InputError(reading.problems)
    return reading.claim


def claim_problems(parts: ClaimParts, file: str = "claim") -> Iterator[Problem]:
    """Mistakes within a claim file that its shape does not rule out."""
    body = parts.vehicle.body if parts.vehicle else None
    if parts.vehicle is not None:
        for name, times in Counter(parts.vehicle.equipment).items():
            if times > 1:
                place: Place = ("vehicle", "equipment")
                yield Problem(file, place, f'"{name}" {times} times', "each once")
    first_place: dict[str, int] = {}
    for position, panel in parts.panels:
        where: Place = ("panels", position)
        if panel.panel in first_place:
            before = f"panels[{first_place[panel.panel]}]"
            yield Problem(
                file, (*where, "panel"), f'"{panel.panel}" again, as in {before}', "each panel once"
            )
        first_place.setdefault(panel.panel, position)
        yield from _body_problems(panel.panel, body, where, file)
        yield from _panel_problems(panel, where, file)
    yield from _photograph_problems(parts.photographs, body, file)


def _body_problems(
    panel: PanelName | None, body: Body | None, where: Place, file: str
) -> Iterator[Problem]:
    """A panel that the body has not."""
    if panel is not None and body is not None and panel not in PANELS_OF_BODY[body]:
        names = ", ".join(sorted(PANELS_OF_BODY[body]))
        found = f'"{panel}" on a {body}'
        yield Problem(file, (*where, "panel"), found, f"a panel that a {body} has: {names}")


def _photograph_problems(
    photographs: Sequence[tuple[int, PhotographEntry]], body: Body | None, file: str
) -> Iterator[Problem]:
    """Photographs of panels that the body has not, and one twice on a panel."""
    first_place: dict[tuple[str | None, str], int] = {}
    for position, entry in photographs:
        where: Place = ("photographs", position)
        yield from _body_problems(entry.panel, body, where, file)
        first = first_place.setdefault((entry.panel, entry.sha256), position)
        if first != position:
            found = f"the photograph of photographs[{first}] again"
            yield Problem(file, (*where, "sha256"), found, "a photograph once on a panel")


def _panel_problems(panel: Panel, where: Place, file: str) -> Iterator[Problem]:
    if panel.dents and (panel.tally or panel.marked or panel.oversize):
        yield Problem(
            file,
            where,
            "dents beside a tally, marks or oversize dents",
            "either single dents or a tally",
        )
    yield from _marked_problems(panel.tally, panel.marked, where, file)
    yield from _position_problems(panel, where, file)
    if panel.sample is not None:
        if panel.dents or panel.tally or panel.marked:
            yield Problem(
                file,
                where,
                "sample squares beside dents, a tally or marks",
                "one way of counting; only oversize dents may stand beside a sample",
            )
        for position, square in enumerate(panel.sample.squares):
            place: Place = (*where, "sample", "squares", position)
            yield from _marked_problems(square.tally, square.marked, place, file)
    marks = [("oversize", position, dent.marks) for position, dent in enumerate(panel.oversize)]
    marks += [("dents", position, dent.marks) for position, dent in enumerate(panel.dents)]
    for key, position, given in marks:
        if len(given) > 1:
            for mark, times in Counter(given).items():
                if times > 1:
                    yield Problem(
                        file, (*where, key, position, "marks"), f'"{mark}" twice', "each mark once"
                    )
    if panel.access == "replace":
        if panel.replace_cost is None:
            yield Problem(
                file,
                (*where, "replace_cost"),
                "nothing",
                'the price of the replacement, since access is "replace"',
            )
        if panel.agreed is not None:
            yield Problem(
                file,
                (*where, "agreed"),
                "an agreed price on a replaced panel",
                "either an agreed price for the repair or a replacement",
            )


def _marked_problems(
    tally: Tally, marked: dict[Mark, Tally], where: Place, file: str
) -> Iterator[Problem]:
    for mark, sizes in marked.items():
        for size, count in sizes.items():
            counted = tally.get(size, 0)
            if count > counted:
                yield Problem(
                    file,
                    (*where, "marked", mark, size),
                    f"{count} marked",
                    f"at most the {counted} counted",
                )


def _position_problems(panel: Panel, where: Place, file: str) -> Iterator[Problem]:
    """A dent has both coordinates or none, and on one panel all dents have them or none."""
    for position, dent in enumerate(panel.dents):
        if (dent.x is None) != (dent.y is None):
            given, missing = ("x", "y") if dent.y is None else ("y", "x")
            yield Problem(
                file, (*where, "dents", position), f"{given} without {missing}", "both, or neither"
            )
    placed = sum(dent.x is not None and dent.y is not None for dent in panel.dents)
    if 0 < placed < len(panel.dents):
        yield Problem(
            file,
            (*where, "dents"),
            f"{placed} of {len(panel.dents)} dents with a place on the panel",
            "a place for every dent of a panel, or for none",
        )


def has_positions(panel: Panel) -> bool:
    """Whether the panel was counted by marks: its dents have places on it."""
    return bool(panel.dents) and panel.dents[0].x is not None


def needs_survey(panel: Panel) -> bool:
    """Whether a panel's count depends on its outline, or brings an outline to be checked."""
    return (
        has_positions(panel)
        or panel.sample is not None
        or panel.outline is not None
        or bool(panel.zones)
    )


def longest_axis(dent: MeasuredDent) -> Decimal:
    """The size that counts: the longer of the two axes, mm."""
    return dent.mm if dent.mm2 is None else max(dent.mm, dent.mm2)
