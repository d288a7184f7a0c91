"""How the access of a vehicle's panels was chosen, and what would change it.

For every planned panel the method, the best plan that takes another method on it, the rules
that forbid methods, and the conditions under which another would be cheaper; for the vehicle
what the plan saves against pushing or gluing wherever that is allowed. Amounts are printed
sums in minor units, minutes exact; a difference is between two whole vehicles.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import Any, Literal, NamedTuple

from hailcalc.access.rules import GLUE_ONLY, Method
from hailcalc.claimfile import Aim
from hailcalc.lines import dents
from hailcalc.money import money_text, round_half_away

METHOD_WORDS: dict[Method, str] = {
    "push": "push",
    "glue": "glue pull",
    "replace": "replace",
}


_NOT_GIVEN = ("replace-price", "agreed-price", "replace-minutes")


class Other(NamedTuple):
    """The best plan with another method on one panel: how much dearer and longer it is."""

    method: Method
    more: int
    more_minutes: Fraction


class RuledOut(NamedTuple):
    """A method that was not open to the plan, the rule, and why."""

    method: Method
    rule: str
    words: str


class Change(NamedTuple):
    """What would make another method the better one.

    `trim-off`: pushing, if `operations` were off anyway; `trim-on`: gluing, if `panels` did not
    need the trim off too; `cooler`: gluing, on a panel no hotter than the limit; `replace-below`:
    replacing, at a price below the amount. The amount is what it then saves.
    """

    kind: Literal["trim-off", "trim-on", "cooler", "replace-below"]
    method: Method
    amount: int
    minutes: Fraction
    operations: tuple[str, ...] = ()
    panels: tuple[str, ...] = ()
    limit: str = ""


class PanelPlan(NamedTuple):
    """One planned panel. `own` is the sum of its printed lines, None without a price."""

    panel: str
    method: Method
    own: int | None
    minutes: Fraction
    glued: int
    left: int
    left_words: str
    offers: tuple[str, ...]
    next_best: Other | None
    ruled_out: tuple[RuledOut, ...]
    changes: tuple[Change, ...]


class Against(NamedTuple):
    """The plan against one method for all: what it saves; `except_for` panels it is shut to.

    `anywhere` says whether it is open on any panel.
    """

    anywhere: bool
    saves: int
    saves_minutes: Fraction
    except_for: tuple[str, ...]


class Plan(NamedTuple):
    """The access of a whole vehicle.

    `minutes` are those of repair and removal. `gap` is the most by which any other plan's total
    could be lower, by the rounding of vehicle lines and the minimum; proven, mostly zero.
    """

    aim: Aim
    panels: tuple[PanelPlan, ...]
    total: int
    minutes: Fraction
    all_push: Against
    all_glue: Against
    gap: int


def minutes_text(minutes: Fraction) -> str:
    """Minutes to a tenth, the half away from zero; without a needless .0."""
    tenths = round_half_away(minutes.numerator * 10, minutes.denominator)
    text = money_text(tenths, 1)
    return text.removesuffix(".0")


def plan_json(plan: Plan, decimals: int) -> dict[str, Any]:
    """The plan as it stands in a sheet's evidence."""

    def money(amount: int) -> str:
        return money_text(amount, decimals)

    return {
        "aim": plan.aim,
        "panels": [_panel_json(panel, plan.aim, money) for panel in plan.panels],
        "minutes": minutes_text(plan.minutes),
        "against_all_push": _against_json(plan.all_push, money),
        "against_all_glue": _against_json(plan.all_glue, money),
        "gap": money(plan.gap),
    }


def _panel_json(panel: PanelPlan, aim: Aim, money: Callable[[int], str]) -> dict[str, Any]:
    names: dict[str, str] = {}
    found: dict[str, Any] = {
        "panel": panel.panel,
        "method": panel.method,
        "own": None if panel.own is None else money(panel.own),
        "minutes": minutes_text(panel.minutes),
        "glued_dents": panel.glued,
        "next_best": None,
        "ruled_out": [rule._asdict() for rule in panel.ruled_out],
        "would_change": [change_words(change, aim, names, money) for change in panel.changes],
    }
    if panel.next_best is not None:
        found["next_best"] = {
            "method": panel.next_best.method,
            "more": money(panel.next_best.more),
            "more_minutes": minutes_text(panel.next_best.more_minutes),
        }
    if panel.left:
        found["without_method"] = {
            "dents": panel.left,
            "because": panel.left_words,
            "what_remains": list(panel.offers),
        }
    return found


def _against_json(against: Against, money: Callable[[int], str]) -> dict[str, Any]:
    return {
        "saves": money(against.saves),
        "saves_minutes": minutes_text(against.saves_minutes),
        "anywhere": against.anywhere,
        "except_for": list(against.except_for),
    }


def change_words(
    change: Change, aim: Aim, names: Mapping[str, str], money: Callable[[int], str]
) -> str:
    """What would change the choice, as a sentence."""
    if change.kind == "replace-below":
        return f"Replacing pays below {money(change.amount)}."
    if aim == "cost":
        by = f"{money(change.amount)} cheaper"
    else:
        by = f"{minutes_text(change.minutes)} min faster"
    if change.kind == "trim-off":
        what = _listed(change.operations)
        return f"Pushing becomes {by} once this is off for another panel: {what}."
    if change.kind == "trim-on":
        others = _listed([names.get(panel, panel) for panel in change.panels])
        verb = "is" if len(change.panels) == 1 else "are"
        return f"Gluing becomes {by} if {others} {verb} not pushed."
    return f"At {change.limit} °C or less gluing becomes {by}."


def against_words(
    plan: Plan,
    method: Literal["push", "glue"],
    names: Mapping[str, str],
    money: Callable[[int], str],
) -> str:
    """What the plan saves against one method for all, as a sentence."""
    against, verb = (plan.all_push, "push") if method == "push" else (plan.all_glue, "glu")
    if not against.anywhere:
        return f"{verb.capitalize()}ing is open on no panel."
    shut = ", ".join(names.get(panel, panel) for panel in against.except_for)
    where = f" (not open on {shut})" if shut else ""
    if all(
        panel.method == method or panel.panel in against.except_for or not panel.minutes
        for panel in plan.panels
    ):
        done = "pushed" if method == "push" else "glued"
        return f"Every panel that may be is {done}{where}."
    minutes = minutes_text(abs(against.saves_minutes))
    took = f"and {minutes} min" if against.saves_minutes >= 0 else f"but takes {minutes} min more"
    return f"Against {verb}ing every panel it saves {money(against.saves)} {took}{where}."


def _listed(words: Sequence[str]) -> str:
    """One, two and three."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def ruled_out_words(panel: PanelPlan) -> list[str]:
    """A sentence for each method that a rule shuts, but for what merely was not given."""
    named: dict[Method, list[str]] = {}
    for rule in panel.ruled_out:
        if rule.rule not in _NOT_GIVEN:
            named.setdefault(rule.method, []).append(rule.words)
    return [f"No {METHOD_WORDS[method]}: {'; '.join(words)}." for method, words in named.items()]


def why_words(panel: PanelPlan, aim: Aim, money: Callable[[int], str]) -> str:
    """Why a panel is reached as it is: against the next best, or for want of one."""
    if panel.next_best is None:
        return "The only way."
    other = METHOD_WORDS[panel.next_best.method]
    more = panel.next_best.more if aim == "cost" else panel.next_best.more_minutes
    if aim == "cost":
        by = money(panel.next_best.more)
        return f"Next best: {other}, {by} more." if more else f"Next best: {other}, as cheap."
    by = minutes_text(panel.next_best.more_minutes)
    return f"Next best: {other}, {by} min more." if more else f"Next best: {other}, as fast."


def left_words(panel: PanelPlan) -> str:
    """Which dents are without a method, why, and what remains."""
    return (
        f"{dents(panel.left, GLUE_ONLY)} without a method today: {panel.left_words}. "
        f"What remains: {'; '.join(panel.offers)}."
    )
