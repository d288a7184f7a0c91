"""What stands on a job card, as plain data: the estimate as the work that it means.

What comes off and goes back on, which panel is worked when and how, the dents by size, the
cautions. No amount of money is in it, unless the estimator wrote one into a note. Minutes of
the shop, dents, millimetres; figures as plain decimal strings that whoever prints them writes
in a locale.

Work follows the removal: the parts of the vehicle in the order in which things come off
there, then the other parts; at a part pushed panels before glued ones; replaced panels at
the end. That order is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, get_args

from hailcalc.access.plan import minutes_text
from hailcalc.access.rules import GLUE_ONLY, Hold
from hailcalc.cautions import ALWAYS, CAUTIONS
from hailcalc.claimfile import Aim, Mark
from hailcalc.estimate import Estimate, PanelResult
from hailcalc.money import plain
from hailcalc.removal import OperationRule
from hailcalc.sheet.document import sheet_json
from hailcalc.vehicle import PANELS, PANELS_OF_BODY, PART_OF_PANEL, PARTS

Kind = Literal["push", "glue", "replace"]
"""How a panel is worked in the main; "glue" also where each dent of a pushed panel is glued."""

_KINDS: tuple[Kind, ...] = get_args(Kind)
_MARKS: tuple[str, ...] = get_args(Mark)

ALWAYS_WORD = "always"
"""Stands before the cautions that no operation names."""


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution, and the word by which the list of removal points to it."""

    word: str
    text: str


@dataclass(frozen=True, slots=True)
class CardOperation:
    """Something that comes off and goes back on. `number` counts in order of removal."""

    number: int
    part: str
    label: str
    minutes: str
    fasteners: int
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CardPanel:
    """A panel to be worked. `counts` by the card's sizes; `sampled`: the counts are estimates.

    `alerts` must be read before the panel is touched: dents without a method, glue at its limits.
    `note` is as the estimator wrote it.
    """

    panel: str
    kind: Kind
    method: str
    counts: tuple[int, ...]
    oversize: tuple[Decimal, ...]
    all: int
    sampled: bool
    marks: tuple[tuple[str, int], ...]
    metal: str
    repainted: bool
    alerts: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class JobCard:
    """All that a job card says.

    `off` is in order of removal, refit is the reverse, `minutes` are those of both; `panels` in
    order of work; `again` are the panels to look at again. `glue_limit_c` is empty if nothing is
    glued, or if the matrix has no rule about heat. `aim` is None if no panel was planned.
    """

    claim: str
    vehicle: str
    body: str
    vin: str
    shop: str
    estimator: str
    dated: date | None
    temperature_c: str
    glued: bool
    glue_limit_c: str
    equipment: tuple[str, ...]
    aim: Aim | None
    sizes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    off: tuple[CardOperation, ...]
    minutes: str
    panels: tuple[CardPanel, ...]
    again: tuple[str, ...]
    matrix: str
    revision: int
    digest: str

    @property
    def fasteners(self) -> int:
        """Single-use fasteners that the refit needs new."""
        return sum(operation.fasteners for operation in self.off)

    @property
    def repaired(self) -> tuple[CardPanel, ...]:
        """The panels that are not replaced."""
        return tuple(panel for panel in self.panels if panel.kind != "replace")

    @property
    def dents(self) -> int:
        """Dents on the panels that are repaired."""
        return sum(panel.all for panel in self.repaired)


def job_card(estimate: Estimate) -> JobCard:
    """The job card of an estimate."""
    claim, vehicle = estimate.claim.claim, estimate.claim.vehicle
    matrix = estimate.compiled.matrix
    temperature = estimate.claim.conditions.panel_temperature_c
    glued = any(_is_glued(result) for result in estimate.panels)
    hot = glued and matrix.access.glue_hot != "allow"
    panels = _in_work_order(estimate)
    return JobCard(
        claim=claim.number,
        vehicle=vehicle.description or "",
        body=vehicle.body,
        vin=vehicle.vin or "",
        shop=estimate.claim.shop.name if estimate.claim.shop else "",
        estimator=claim.estimator or "",
        dated=claim.dated,
        temperature_c="" if temperature is None else plain(temperature),
        glued=glued,
        glue_limit_c=plain(Decimal(matrix.access.glue_limit_c)) if hot else "",
        equipment=tuple(vehicle.equipment),
        aim=None if estimate.plan is None else estimate.plan.aim,
        sizes=tuple(coin.name for coin in estimate.compiled.tables.columns),
        cautions=tuple(_cautions(estimate.removal, glued)),
        off=tuple(_operations(estimate)),
        minutes=minutes_text(estimate.removal_minutes),
        panels=panels,
        again=tuple(_look_again(estimate, panels)),
        matrix=matrix.matrix.name,
        revision=matrix.matrix.revision,
        digest=sheet_json(estimate)["digest"][:16],
    )


def _operations(estimate: Estimate) -> Iterator[CardOperation]:
    pairs = zip(estimate.removal, estimate.removal_parts, strict=True)
    for number, (rule, part) in enumerate(pairs, 1):
        yield CardOperation(
            number, part, rule.label, rule.minutes, rule.fasteners, tuple(rule.cautions)
        )


def _cautions(removal: tuple[OperationRule, ...], glued: bool) -> Iterator[Caution]:
    """Each caution once, in the order in which the work comes to it; last what always holds."""
    keys = dict.fromkeys(key for rule in removal for key in rule.cautions)
    if glued:
        keys = keys | {"heat": None}
    for key in keys:
        # The texts begin with the hazard's name, which stands before them here anyway.
        _, _, text = CAUTIONS[key].partition(": ")
        yield Caution(key, text[:1].upper() + text[1:])
    for text in ALWAYS:
        yield Caution(ALWAYS_WORD, text)


def _in_work_order(estimate: Estimate) -> tuple[CardPanel, ...]:
    parts = [*dict.fromkeys((*estimate.removal_parts, *PARTS))]
    limit = plain(Decimal(estimate.compiled.matrix.access.glue_limit_c))
    panels = [
        _card_panel(result, limit)
        for result in estimate.panels
        if result.count.all or result.panel.access == "replace"
    ]

    def place(panel: CardPanel) -> tuple[bool, int, int]:
        part = parts.index(PART_OF_PANEL[panel.panel])
        return panel.kind == "replace", part, _KINDS.index(panel.kind)

    return tuple(sorted(panels, key=place))


def _card_panel(result: PanelResult, glue_limit_c: str) -> CardPanel:
    panel, count = result.panel, result.count
    kind, method = _method(result)
    return CardPanel(
        panel=panel.panel,
        kind=kind,
        method=method,
        counts=count.counts,
        oversize=count.oversize,
        all=count.all,
        sampled=panel.sample is not None,
        marks=tuple((mark, count.marks[mark]) for mark in _MARKS if count.marks.get(mark)),
        metal=panel.metal,
        repainted=panel.repainted,
        alerts=tuple(_alerts(result, glue_limit_c)),
        note=panel.note,
    )


def _glue_only(result: PanelResult) -> int:
    return result.count.marks.get(GLUE_ONLY, 0)


def _left(result: PanelResult) -> int:
    """Dents that have no method, or none today."""
    return result.ruling.left if result.panel.access == "push" else 0


def _is_glued(result: PanelResult) -> bool:
    """Whether a dent of the panel is pulled with glue, today or once the panel is cooler."""
    if result.panel.access == "glue":
        return result.count.all > 0
    if result.panel.access == "push":
        return _glue_only(result) > _left(result) or result.ruling.cooling > 0
    return False


def _method(result: PanelResult) -> tuple[Kind, str]:
    """How a panel is worked, in words."""
    if result.panel.access == "replace":
        return "replace", "replace"
    if result.panel.access == "glue":
        return "glue", "glue pull"
    glued = _glue_only(result) - _left(result)
    if result.count.all > _glue_only(result):
        return "push", f"push, {glued} glued" if glued else "push"
    if glued:
        return "glue", "glue pull"
    return "glue", "wait" if result.ruling.waits else "none yet"


def _alerts(result: PanelResult, glue_limit_c: str) -> Iterator[str]:
    """Dents without a method and what remains; rules about glue that hold where it is used."""
    found = result.ruling
    if left := _left(result):
        which = "1 glue-only dent has" if left == 1 else f"{left} glue-only dents have"
        when = " today" if found.waits else ""
        cooler = ""
        if found.cooling:
            some = "" if found.waits else f" for {found.cooling} of them"
            cooler = f"wait until the panel has {glue_limit_c} °C or less{some}; "
        them = "it" if left == 1 else "them"
        yield (
            f"{which} no method{when}: {found.left_words}. Ask the estimator what remains: "
            f"{cooler}replace the panel; leave {them} unrepaired by agreement."
        )
    for hold in found.holds:
        if _bears_on_glue(hold, result):
            yield f"Careful with glue: {hold.words}."


def _bears_on_glue(hold: Hold, result: PanelResult) -> bool:
    """Whether a rule about glue holds for dents that are glued all the same."""
    if hold.method != "glue" or not result.count.all:
        return False
    if result.panel.access == "glue":
        return True
    # What is sharp or on a body line need not be what is glued; heat and paint are the panel's.
    whole = hold.rule in ("glue-hot", "glue-repainted")
    return _is_glued(result) and whole and not hold.forbids


def _look_again(estimate: Estimate, panels: tuple[CardPanel, ...]) -> Iterator[str]:
    """Panels that are pushed or stand open, in order of work; those without dents at the end."""
    there = PANELS_OF_BODY[estimate.claim.vehicle.body]
    opened = {panel for rule in estimate.removal for panel in rule.opens if panel in there}
    for panel in panels:
        if panel.kind != "replace" and (panel.kind == "push" or panel.panel in opened):
            yield panel.panel
    worked = {panel.panel for panel in panels}
    yield from (panel for panel in PANELS if panel in opened - worked)
