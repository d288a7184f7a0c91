"""The access of a vehicle's panels: which methods there are, what each costs, which is best.

Every planned panel is priced by each method with the rules that price everything; choosing
is `hailcalc.access.decide`. What a method is worth in a plan is what its lines add to the
total, tax and percentages on the whole vehicle included, exactly; the totals told beside a
choice are those of vehicles priced in full. A plan's time is the labour lines at the repair
rate, the operations' minutes and the replacements' own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import reduce
from math import ceil, floor
from operator import or_
from typing import TYPE_CHECKING, NamedTuple, Protocol

from hailcalc.access.decide import (
    Fixed,
    MethodCost,
    Picks,
    Table,
    best,
    best_with,
    best_without,
    tabulate,
)
from hailcalc.access.plan import Against, Change, Cooler, Other, PanelPlan, Plan, RuledOut
from hailcalc.access.rules import GLUE_ONLY, METHODS, Method, Ruling
from hailcalc.claimfile import ClaimFile, Panel
from hailcalc.counting import PanelCount, count_panel
from hailcalc.estimate.compiled import CompiledMatrix
from hailcalc.estimate.panels import needs_opening, panel_lines
from hailcalc.estimate.vehicle import Settled, comes_off, settle, sum_of, vehicle_removal
from hailcalc.lines import Line
from hailcalc.money import minor_units, money_text, rounded
from hailcalc.removal import Removal
from hailcalc.vehicle import PANELS_OF_BODY

if TYPE_CHECKING:
    from hailcalc.counting.survey import Survey


class Counted(Protocol):
    """A panel as counted: what its outline said, and what the rules of access say."""

    @property
    def panel(self) -> Panel:
        """The panel as the claim file has it."""

    @property
    def survey(self) -> Survey | None:
        """What its outline said, if the count depends on it."""

    @property
    def ruling(self) -> Ruling:
        """What the rules say of it."""


class _Way(NamedTuple):
    """One method of one panel, priced. `timed` says that it is known how long it takes."""

    method: Method
    lines: tuple[Line, ...]
    own: int | None
    worth: MethodCost
    timed: bool

    @property
    def priced(self) -> bool:
        return self.own is not None


class _PanelWays(NamedTuple):
    """A panel with its methods: those that a plan may choose, and others with a price."""

    panel: Panel
    dents: PanelCount
    ruling: Ruling
    ways: tuple[_Way, ...]
    ruled_out: tuple[RuledOut, ...]

    @property
    def planned(self) -> bool:
        return self.panel.access == "plan"


class _Worth(NamedTuple):
    """What lines add to a total: factors on labour, parts, and on repair lines beside."""

    labour: Fraction
    parts: Fraction
    on_repair: Fraction
    percentages: int
    fixed: Fixed


class _Vehicle(NamedTuple):
    """A vehicle whose access is to be planned.

    `known` keeps plans that were priced, `exact` what they make least and `off` what comes off
    for them: reasons ask for many of them more than once.
    """

    claim: ClaimFile
    compiled: CompiledMatrix
    removal: Removal
    worth: _Worth
    panels: tuple[_PanelWays, ...]
    table: Table
    known: dict[Picks, _Outcome]
    exact: dict[tuple[Picks, int | None], Fraction]
    off: dict[tuple[str, ...], int]


class _Outcome(NamedTuple):
    """A vehicle in full under one plan."""

    settled: Settled
    minutes: Fraction
    timed: bool

    @property
    def total(self) -> int:
        return self.settled.totals.total


def plan_access(claim: ClaimFile, compiled: CompiledMatrix, panels: Sequence[Counted]) -> Plan:
    """The best access of every panel that is to be planned; `panels` in the sheet's order.

    Each planned panel must have a method that no rule forbids (see `hailcalc.estimate.fit`).
    """
    vehicle = _vehicle(claim, compiled, panels)
    least = best(vehicle.table)
    picks, outcome = _least_total(vehicle, least)
    planned = [at for at, each in enumerate(vehicle.panels) if each.planned]
    others = {at: list(_others(vehicle, picks, at)) for at in planned}
    return Plan(
        aim=claim.aim,
        panels=tuple(_panel_plan(vehicle, picks, outcome, at, others[at]) for at in planned),
        total=outcome.total,
        topped=_is_topped(outcome),
        minutes=outcome.minutes if outcome.timed else None,
        all_push=_against(vehicle, picks, outcome, "push"),
        all_glue=_against(vehicle, picks, outcome, "glue"),
        cooler=_cooler(vehicle, outcome),
        gap=_gap(vehicle, least, picks, [other for each in others.values() for other in each]),
    )


def _least_total(vehicle: _Vehicle, picks: Picks) -> tuple[Picks, _Outcome]:
    """The plan of least exact cost; under the matrix's minimum one of less total, if one is near.

    There what panels cost is topped up anyway, and only the tax on fasteners tells plans apart.
    """
    outcome = _outcome(vehicle, picks)
    while vehicle.claim.aim == "cost" and _is_topped(outcome):
        near = [other for at in range(len(picks)) for other in _others(vehicle, picks, at)]
        near += [_all_by(vehicle, picks, method)[0] for method in ("push", "glue")]
        better = min(
            ((_outcome(vehicle, other).total, other) for other in near),
            default=(outcome.total, picks),
        )
        if better[0] >= outcome.total:
            break
        picks, outcome = better[1], _outcome(vehicle, better[1])
    return picks, outcome


def _is_topped(outcome: _Outcome) -> bool:
    return any(line.kind == "minimum" for line in outcome.settled.lines)


def _vehicle(claim: ClaimFile, compiled: CompiledMatrix, panels: Sequence[Counted]) -> _Vehicle:
    removal = vehicle_removal(claim, compiled)
    worth = _worth(claim, compiled)
    ways = tuple(_panel_ways(each, claim, compiled, worth) for each in panels)
    table = tabulate(
        [(each.panel.panel, [way.worth for way in each.ways]) for each in ways],
        removal,
        worth.fixed,
        claim.aim,
    )
    return _Vehicle(claim, compiled, removal, worth, ways, table, {}, {}, {})


def _worth(claim: ClaimFile, compiled: CompiledMatrix) -> _Worth:
    body, tax = claim.vehicle.body, compiled.matrix.tax
    labour = 1 + Fraction(tax.labour) / 100
    of_vehicle = [
        rule
        for rule in compiled.extras
        if rule.of == "vehicle" and (rule.bodies is None or body in rule.bodies)
    ]
    percents = [rule.rate / 100 for rule in of_vehicle if rule.unit == "percent"]
    rate = compiled.tables.repair_rate
    minutes = [rule.rate for rule in of_vehicle if rule.unit == "minutes"]
    money = [rule.rate for rule in of_vehicle if rule.unit == "money"]
    once = sum(rounded(each * rate / 60) for each in minutes) + sum(map(rounded, money))
    return _Worth(
        labour=labour,
        parts=1 + Fraction(tax.parts) / 100,
        on_repair=sum(percents, Fraction(0)),
        percentages=len(percents),
        fixed=Fixed(labour * once, sum(minutes, Fraction(0))),
    )


def _panel_ways(
    counted: Counted, claim: ClaimFile, compiled: CompiledMatrix, worth: _Worth
) -> _PanelWays:
    panel, found, tables = counted.panel, counted.ruling, compiled.tables
    count = count_panel(panel, tables.column_of, tables.columns, counted.survey)
    if panel.access != "plan" or count.all == 0:
        method: Method = "push" if panel.access == "plan" else panel.access
        way = _way(panel, method, count, found, claim, compiled, worth)
        return _PanelWays(panel, count, found, (way,), ())
    ways = [
        _way(panel, method, count, found, claim, compiled, worth)
        for method in METHODS
        if method != "replace" or found.allows("replace")
    ]
    may, shut = _may(panel, found, ways, claim)
    ways = [
        way._replace(worth=way.worth._replace(open=way.method in may))
        for way in ways
        if way.method in may or way.priced
    ]
    return _PanelWays(panel, count, found, tuple(ways), tuple(shut))


def _way(
    panel: Panel,
    method: Method,
    count: PanelCount,
    found: Ruling,
    claim: ClaimFile,
    compiled: CompiledMatrix,
    worth: _Worth,
) -> _Way:
    body = claim.vehicle.body
    so_reached = panel.model_copy(update={"access": method})
    unpriced = found.unpriced if method == "push" and panel.access == "plan" else ""
    lines = tuple(panel_lines(so_reached, count, body, compiled, unpriced))
    priced = all(line.amount is not None for line in lines)
    repair = sum_of(line for line in lines if line.kind == "repair")
    cost = MethodCost(
        method=method,
        cost=worth.labour * (sum_of(lines) + worth.on_repair * repair),
        minutes=_minutes(so_reached, lines, count, body, compiled),
        repairs=any(line.kind == "repair" and line.amount is not None for line in lines),
        pushed=needs_opening(so_reached, count),
        open=True,
    )
    timed = panel.replace_minutes is not None
    if method != "replace":
        timed = panel.agreed is None or cost.minutes > 0
    return _Way(method, lines, sum_of(lines) if priced else None, cost, timed)


def _minutes(
    panel: Panel, lines: Iterable[Line], count: PanelCount, body: str, compiled: CompiledMatrix
) -> Fraction:
    """What a panel takes: its labour lines at the repair rate, or the replacement's own minutes."""
    if panel.access == "replace":
        return Fraction(panel.replace_minutes or 0)
    if panel.agreed is not None:
        # A price was agreed, not a time: that is the matrix's.
        lines = panel_lines(panel.model_copy(update={"agreed": None}), count, body, compiled)
    rate = compiled.tables.repair_rate
    return Fraction(sum_of(lines) * 60, rate) if rate else Fraction(0)


def _may(
    panel: Panel, found: Ruling, ways: Sequence[_Way], claim: ClaimFile
) -> tuple[set[Method], list[RuledOut]]:
    """The methods that the plan may choose, and why not the others."""
    shut = [RuledOut(hold.method, hold.rule, hold.words) for hold in found.holds if hold.forbids]
    allowed: set[Method] = {way.method for way in ways if found.allows(way.method)}
    repairs = [way for way in ways if way.method in allowed and way.method != "replace"]
    unpriced = [way for way in repairs if not way.priced]
    if unpriced:
        # What has no price cannot be compared.
        preferred = "replace" if "replace" in allowed else repairs[0].method
        shut += [
            RuledOut(way.method, "no-price", way.lines[0].words)
            for way in repairs
            if way.method != preferred
        ]
        return {preferred}, shut
    no_time = claim.aim == "minutes" and panel.replace_minutes is None
    if no_time and "replace" in allowed and repairs:
        shut.append(RuledOut("replace", "replace-minutes", "no minutes of the replacement"))
        allowed.discard("replace")
    return allowed, shut


def _outcome(vehicle: _Vehicle, picks: Picks) -> _Outcome:
    """The vehicle under one plan, priced in full."""
    if picks not in vehicle.known:
        vehicle.known[picks] = _priced(vehicle, picks)
    return vehicle.known[picks]


def _priced(vehicle: _Vehicle, picks: Picks) -> _Outcome:
    ways = [each.ways[pick] for each, pick in zip(vehicle.panels, picks, strict=True)]
    lines = [line for way in ways for line in way.lines]
    off = _off(vehicle, _opened(vehicle, picks))
    settled = settle(vehicle.claim, vehicle.compiled, lines, off)
    minutes = sum((way.worth.minutes for way in ways), Fraction(0))
    minutes += sum((Fraction(rule.minutes) for rule in settled.removal), Fraction(0))
    if any(way.worth.repairs for way in ways):
        minutes += vehicle.worth.fixed.minutes
    return _Outcome(settled, minutes, all(way.timed for way in ways if way.lines))


def _off(vehicle: _Vehicle, opened: Sequence[str]) -> int:
    """Mask of what comes off for these panels."""
    key = tuple(opened)
    if key not in vehicle.off:
        vehicle.off[key] = comes_off(vehicle.claim, vehicle.removal, opened)
    return vehicle.off[key]


def _opened(vehicle: _Vehicle, picks: Picks) -> list[str]:
    """Panels that a plan pushes."""
    return [
        each.panel.panel
        for each, pick in zip(vehicle.panels, picks, strict=True)
        if each.ways[pick].worth.pushed
    ]


def _others(vehicle: _Vehicle, picks: Picks, at: int) -> Iterator[Picks]:
    """The best plan for every other method that is open on a panel."""
    for method, way in enumerate(vehicle.panels[at].ways):
        if method != picks[at] and way.worth.open:
            yield best_with(vehicle.table, picks, at, method)


def _panel_plan(
    vehicle: _Vehicle, picks: Picks, outcome: _Outcome, at: int, others: Sequence[Picks]
) -> PanelPlan:
    each = vehicle.panels[at]
    way = each.ways[picks[at]]
    found = each.ruling
    glue_only = each.dents.marks.get(GLUE_ONLY, 0)
    left = found.left if way.method == "push" else 0
    return PanelPlan(
        panel=each.panel.panel,
        method=way.method,
        dents=each.dents.all,
        own=way.own,
        unpriced="" if way.priced else way.lines[0].words,
        agreed=each.panel.agreed is not None and way.method != "replace",
        minutes=way.worth.minutes if way.timed else None,
        glued={"push": glue_only - left, "glue": each.dents.all, "replace": 0}[way.method],
        left=left,
        left_words=found.left_words if left else "",
        waits=found.waits and left > 0,
        offers=tuple(_offers(vehicle, each)) if left else (),
        next_best=_next_best(vehicle, outcome, at, others),
        ruled_out=each.ruled_out,
        changes=tuple(_changes(vehicle, picks, outcome, at)),
    )


def _offers(vehicle: _Vehicle, each: _PanelWays) -> Iterator[str]:
    """What remains to be done with dents that have no method."""
    found, tables = each.ruling, vehicle.compiled.tables
    limit = vehicle.compiled.matrix.access.glue_limit_c
    if found.waits:
        yield f"wait until the panel has {limit} °C or less, as priced"
    elif found.cooling:
        yield f"wait until the panel has {limit} °C or less for {found.cooling} of them"
    if not found.waits and each.panel.agreed is None:
        yield "agree a price"
    if each.panel.replace_cost is not None and each.panel.agreed is None:
        cost = minor_units(each.panel.replace_cost, tables.decimals)
        yield f"replace the panel for {money_text(cost, tables.decimals)} {tables.currency}"
    else:
        yield "replace the panel, at a price to be given"
    yield f"leave {'it' if found.left == 1 else 'them'} unrepaired by agreement"


def _next_best(
    vehicle: _Vehicle, outcome: _Outcome, at: int, others: Sequence[Picks]
) -> Other | None:
    by_cost = vehicle.claim.aim == "cost"
    found = []
    for other in others:
        instead = _outcome(vehicle, other)
        dearer, longer = instead.total - outcome.total, instead.minutes - outcome.minutes
        method = vehicle.panels[at].ways[other[at]].method
        rank = (dearer, longer) if by_cost else (longer, dearer)
        found.append((rank, Other(method, dearer, _longer(instead, outcome))))
    return min(found, key=lambda each: each[0], default=(None, None))[1]


def _longer(instead: _Outcome, outcome: _Outcome) -> Fraction | None:
    """How much longer another plan takes, if that is known of both."""
    return instead.minutes - outcome.minutes if instead.timed and outcome.timed else None


def _changes(vehicle: _Vehicle, picks: Picks, outcome: _Outcome, at: int) -> Iterator[Change]:
    """Conditions under which another method would be the better one.

    None where the total is topped up: what a method saves there, the topping-up takes back.
    """
    each = vehicle.panels[at]
    way = each.ways[picks[at]]
    if _is_topped(outcome) or not way.priced:
        return
    by_method = {other.method: number for number, other in enumerate(each.ways)}
    push, glue = by_method.get("push"), by_method.get("glue")
    if way.method != "push" and push is not None and each.ways[push].worth.open:
        yield from _if_trim_were_off(vehicle, picks, outcome, at, push)
    if way.method == "push" and glue is not None and each.ways[glue].worth.open:
        yield from _if_alone(vehicle, picks, at, glue)
    if way.method != "glue" and glue is not None and each.ruling.cooler_helps:
        instead = _outcome(vehicle, best_with(vehicle.table, picks, at, glue))
        saved, minutes = outcome.total - instead.total, outcome.minutes - instead.minutes
        limit = vehicle.compiled.matrix.access.glue_limit_c
        if _is_worth_saying(vehicle, saved, minutes):
            yield Change("cooler", "glue", saved, minutes, limit=limit)
    if way.method != "replace" and each.panel.agreed is None:
        yield from _replacing_below(vehicle, picks, outcome, at)


def _is_worth_saying(vehicle: _Vehicle, saved: int, minutes: Fraction) -> bool:
    """Whether something is saved of what the plan makes least, in print."""
    return saved > 0 if vehicle.claim.aim == "cost" else minutes >= _A_TENTH


_A_TENTH = Fraction(1, 10)
"""Minutes are printed to a tenth."""


def _own_saving(vehicle: _Vehicle, picks: Picks, at: int, other: int) -> tuple[Fraction, Fraction]:
    """What another method on a panel saves of cost and minutes, whatever has to come off."""
    instead = (*picks[:at], other, *picks[at + 1 :])
    sums = []
    for plan in (picks, instead):
        worths = [each.ways[pick].worth for each, pick in zip(vehicle.panels, plan, strict=True)]
        due = any(worth.repairs for worth in worths)
        fixed = vehicle.worth.fixed if due else Fixed(Fraction(0), Fraction(0))
        sums.append(
            (
                sum((worth.cost for worth in worths), fixed.cost),
                sum((worth.minutes for worth in worths), fixed.minutes),
            )
        )
    return sums[0][0] - sums[1][0], sums[0][1] - sums[1][1]


def _if_trim_were_off(
    vehicle: _Vehicle, picks: Picks, outcome: _Outcome, at: int, push: int
) -> Iterator[Change]:
    """Pushing is the cheaper work once trim that other panels need too is off."""
    already = {rule.id for rule in outcome.settled.removal}
    instead = _outcome(vehicle, best_with(vehicle.table, picks, at, push))
    more = {rule.id for rule in instead.settled.removal} - already
    name, operations = vehicle.panels[at].panel.panel, vehicle.removal.operations
    for_others = _of_others(vehicle, name)
    shared = [i for i, rule in enumerate(operations) if rule.id in more and for_others >> i & 1]
    alone = [i for i, rule in enumerate(operations) if rule.id in more and not for_others >> i & 1]
    exact, minutes = _own_saving(vehicle, picks, at, push)
    saved = rounded(exact - sum((operations[i].cost for i in alone), Fraction(0)))
    faster = minutes - sum((Fraction(operations[i].minutes) for i in alone), Fraction(0))
    if shared and _is_worth_saying(vehicle, saved, faster):
        needs = vehicle.removal.needs
        last = [i for i in shared if not any(i != j and needs[j] >> i & 1 for j in shared)]
        labels = tuple(operations[i].label for i in last)
        yield Change("trim-off", "push", saved, faster, operations=labels)


def _of_others(vehicle: _Vehicle, name: str) -> int:
    """Mask of the operations that can come off for other panels of the body."""
    there = PANELS_OF_BODY[vehicle.claim.vehicle.body]
    mask = 0
    for panel, ways in vehicle.removal.ways.items():
        if panel != name and panel in there:
            for way in ways:
                mask |= way
    return mask


def _if_alone(vehicle: _Vehicle, picks: Picks, at: int, glue: int) -> Iterator[Change]:
    """Pushing is cheaper only because other panels need the same trim off."""
    name = vehicle.panels[at].panel.panel
    sharing = _sharing(vehicle, picks, name)
    if not sharing or not all(_may_not_be_pushed(vehicle, panel) for panel in sharing):
        return
    exact, minutes = _own_saving(vehicle, picks, at, glue)
    alone = _trim(vehicle, [name])
    saved, faster = rounded(exact + alone.cost), minutes + alone.minutes
    if _is_worth_saying(vehicle, saved, faster):
        yield Change("trim-on", "glue", saved, faster, panels=sharing)


def _may_not_be_pushed(vehicle: _Vehicle, name: str) -> bool:
    """Whether a panel could be reached otherwise: by the plan, or because it is not planned."""
    each = next(each for each in vehicle.panels if each.panel.panel == name)
    return not each.planned or any(way.worth.open and way.method != "push" for way in each.ways)


def _trim(vehicle: _Vehicle, opened: Sequence[str]) -> Fixed:
    """Cost and minutes of what comes off for some panels."""
    off = _off(vehicle, opened)
    rules = [rule for i, rule in enumerate(vehicle.removal.operations) if off >> i & 1]
    return Fixed(
        sum((rule.cost for rule in rules), Fraction(0)),
        sum((Fraction(rule.minutes) for rule in rules), Fraction(0)),
    )


def _sharing(vehicle: _Vehicle, picks: Picks, name: str) -> tuple[str, ...]:
    """Other pushed panels beside which the trim of this one costs or takes less than alone."""
    by_cost = vehicle.claim.aim == "cost"
    opened = _opened(vehicle, picks)

    def least(*panels: str) -> Fraction:
        # In one order, so that what is known of a pair is found again.
        trim = _trim(vehicle, [panel for panel in opened if panel in panels])
        return trim.cost if by_cost else trim.minutes

    touched = {panel: reduce(or_, vehicle.removal.ways.get(panel, ()), 0) for panel in opened}
    return tuple(
        other
        for other in opened
        if other != name
        and touched[other] & touched[name]
        and least(name, other) < least(name) + least(other)
    )


def _cooler(vehicle: _Vehicle, outcome: _Outcome) -> Cooler | None:
    """What the plan would come to less if no panel were hotter than the limit."""
    helped = [each.ruling.cooler_helps for each in vehicle.panels]
    if not any(helped) or _is_topped(outcome):
        return None
    methods = [
        (
            each.panel.panel,
            [
                way.worth._replace(open=way.worth.open or (helps and way.method == "glue"))
                for way in each.ways
            ],
        )
        for each, helps in zip(vehicle.panels, helped, strict=True)
    ]
    table = tabulate(methods, vehicle.removal, vehicle.worth.fixed, vehicle.claim.aim)
    instead = _outcome(vehicle, best(table))
    saved, minutes = outcome.total - instead.total, outcome.minutes - instead.minutes
    if not _is_worth_saying(vehicle, saved, minutes):
        return None
    limit = vehicle.compiled.matrix.access.glue_limit_c
    return Cooler(limit, saved, minutes if instead.timed and outcome.timed else None)


def _replacing_below(
    vehicle: _Vehicle, picks: Picks, outcome: _Outcome, at: int
) -> Iterator[Change]:
    """The price below which replacing a panel costs less than the plan.

    Not told where the rest alone may fall below the minimum.
    """
    own = vehicle.panels[at].ways[picks[at]].own or 0
    rest = (
        outcome.settled.totals.subtotal
        - own
        - sum_of(line for line in outcome.settled.lines if line.kind in ("removal", "fastener"))
    )
    if vehicle.claim.aim != "cost" or rest < vehicle.compiled.minimum:
        return
    without = best_without(vehicle.table, picks, at)
    worth = _exact(vehicle, picks) - _exact(vehicle, without, leave_out=at)
    price = floor(worth / vehicle.worth.labour)
    if price > 0:
        yield Change("replace-below", "replace", price, Fraction(0))


def _exact(vehicle: _Vehicle, picks: Picks, leave_out: int | None = None) -> Fraction:
    """What a plan makes least: taxed sums of the lines before vehicle lines are rounded."""
    if leave_out is not None:
        # Whatever was picked for a panel that is left out means nothing.
        picks = (*picks[:leave_out], 0, *picks[leave_out + 1 :])
    if (picks, leave_out) not in vehicle.exact:
        vehicle.exact[picks, leave_out] = _exact_sum(vehicle, picks, leave_out)
    return vehicle.exact[picks, leave_out]


def _exact_sum(vehicle: _Vehicle, picks: Picks, leave_out: int | None) -> Fraction:
    chosen = [
        each.ways[pick].worth
        for at, (each, pick) in enumerate(zip(vehicle.panels, picks, strict=True))
        if at != leave_out
    ]
    names = [each.panel.panel for at, each in enumerate(vehicle.panels) if at != leave_out]
    mask = _off(vehicle, [name for name, way in zip(names, chosen, strict=True) if way.pushed])
    operations = vehicle.removal.operations
    cost = sum((worth.cost for worth in chosen), Fraction(0))
    cost += sum((rule.cost for i, rule in enumerate(operations) if mask >> i & 1), Fraction(0))
    return cost + (vehicle.worth.fixed.cost if any(w.repairs for w in chosen) else 0)


def _against(vehicle: _Vehicle, picks: Picks, outcome: _Outcome, method: Method) -> Against:
    """The plan against one method wherever that is open."""
    instead, shut = _all_by(vehicle, picks, method)
    other = _outcome(vehicle, instead)
    planned = sum(each.planned and each.dents.all > 0 for each in vehicle.panels)
    return Against(
        anywhere=len(shut) < planned,
        saves=other.total - outcome.total,
        saves_minutes=_longer(other, outcome),
        except_for=shut,
    )


def _all_by(vehicle: _Vehicle, picks: Picks, method: Method) -> tuple[Picks, tuple[str, ...]]:
    """A plan with one method wherever that is open, and the panels where it is not."""
    instead = list(picks)
    shut: list[str] = []
    for at, each in enumerate(vehicle.panels):
        if not each.planned or each.dents.all == 0:
            continue
        position = next(
            (n for n, way in enumerate(each.ways) if way.method == method and way.worth.open), None
        )
        if position is None:
            shut.append(each.panel.panel)
        else:
            instead[at] = position
    return tuple(instead), tuple(shut)


def _gap(vehicle: _Vehicle, least: Picks, picks: Picks, others: Sequence[Picks]) -> int:
    """The most by which another plan's printed total could be below the one taken, proven.

    No exact sum is below that of `least`; a total differs from its exact sum by what is the same
    for every plan, by the roundings of vehicle percentages and of taxes, half a minor unit each,
    and by the topping-up to the minimum, below which no total falls. None where the time was to
    be least.
    """
    if vehicle.claim.aim == "minutes":
        return 0
    outcome = _outcome(vehicle, picks)
    tax = vehicle.compiled.matrix.tax
    taxes = sum(Fraction(text) != 0 for text in (tax.labour, tax.parts, tax.sublet))
    slack = (vehicle.worth.percentages * vehicle.worth.labour + taxes) / 2
    own, lowest = _exact(vehicle, picks), _exact(vehicle, least)
    topped = sum_of(line for line in outcome.settled.lines if line.kind == "minimum")
    clear = all(_exact(vehicle, other) - own >= 2 * slack for other in others)
    if not topped and own == lowest and clear:
        return 0
    same = outcome.total - own - vehicle.worth.labour * topped
    below = max(lowest + same - 2 * slack, _least_topped(vehicle, outcome) - slack)
    return max(0, outcome.total - ceil(below))


def _least_topped(vehicle: _Vehicle, outcome: _Outcome) -> Fraction:
    """Below this no total falls, because the minimum is topped up: with no taxed fasteners."""
    minimum = vehicle.compiled.minimum
    tax = vehicle.compiled.matrix.tax
    labour, parts, sublet = (Fraction(text) / 100 for text in (tax.labour, tax.parts, tax.sublet))
    given = [line for line in outcome.settled.lines if line.kind in ("part", "sublet")]
    of_parts = sum_of(line for line in given if line.kind == "part")
    of_sublet = sum_of(line for line in given if line.kind == "sublet")
    fasteners = sum(rule.fastener_amount or 0 for rule in vehicle.removal.operations)
    least = minimum + labour * (minimum - of_parts - of_sublet)
    least += parts * of_parts + sublet * of_sublet
    return least + min(Fraction(0), (parts - labour) * fasteners)
