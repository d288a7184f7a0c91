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


_NOT_SAID = ("replace-price", "agreed-price", "no-price")
"""Rules that are no news: what was not given, or is said of the panel itself."""


class Other(NamedTuple):
    """The best plan with another method on one panel: how much dearer and longer it is.

    Minutes are None where those of one of the two are not known.
    """

    method: Method
    more: int
    more_minutes: Fraction | None


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
    """One planned panel.

    `own` is the sum of its printed lines, None without a price, and then `unpriced` says why;
    `minutes` are None if nobody knows them. `glued` dents are pulled with glue, `left` have no
    method, `left_words` says why, `waits` that a cooler panel is all they need, and `offers`
    what remains.
    """

    panel: str
    method: Method
    dents: int
    own: int | None
    unpriced: str
    agreed: bool
    minutes: Fraction | None
    glued: int
    left: int
    left_words: str
    waits: bool
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
    saves_minutes: Fraction | None
    except_for: tuple[str, ...]


class Cooler(NamedTuple):
    """What the plan would come to less on panels no hotter than the limit of glue."""

    limit: str
    saves: int
    saves_minutes: Fraction | None


class Plan(NamedTuple):
    """The access of a whole vehicle.

    `minutes` are those of repair and removal, None if a part of them is not known. `topped` says
    that the total is topped up to the matrix's minimum, which swallows differences. `gap` is the
    most by which any other plan's total could be lower, by the rounding of vehicle lines and the
    minimum; proven, mostly zero.
    """

    aim: Aim
    panels: tuple[PanelPlan, ...]
    total: int
    topped: bool
    minutes: Fraction | None
    all_push: Against
    all_glue: Against
    cooler: Cooler | None
    gap: int


def minutes_text(minutes: Fraction | None) -> str:
    """Minutes to a tenth, the half away from zero, without a needless .0; or that none is known."""
    if minutes is None:
        return "not known"
    tenths = round_half_away(minutes.numerator * 10, minutes.denominator)
    text = money_text(tenths, 1)
    return text.removesuffix(".0")


def plan_json(plan: Plan, decimals: int) -> dict[str, Any]:
    """The plan as it stands in a sheet's evidence."""

    def money(amount: int) -> str:
        return money_text(amount, decimals)

    found: dict[str, Any] = {
        "aim": plan.aim,
        "panels": [_panel_json(panel, plan.aim, money) for panel in plan.panels],
        "minutes": _minutes_json(plan.minutes),
        "against_all_push": _against_json(plan.all_push, money),
        "against_all_glue": _against_json(plan.all_glue, money),
        "topped_up": plan.topped,
        "gap": money(plan.gap),
    }
    if plan.cooler is not None:
        found["if_cooler"] = {
            "limit_c": plan.cooler.limit,
            "saves": money(plan.cooler.saves),
            "saves_minutes": _minutes_json(plan.cooler.saves_minutes),
        }
    return found


def _minutes_json(minutes: Fraction | None) -> str | None:
    return None if minutes is None else minutes_text(minutes)


def _panel_json(panel: PanelPlan, aim: Aim, money: Callable[[int], str]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "panel": panel.panel,
        "method": panel.method,
        "own": None if panel.own is None else money(panel.own),
        "minutes": _minutes_json(panel.minutes),
        "glued_dents": panel.glued,
        "next_best": None,
        "ruled_out": [rule._asdict() for rule in panel.ruled_out],
        "would_change": [_change_json(change, aim, money) for change in panel.changes],
    }
    if panel.next_best is not None:
        found["next_best"] = {
            "method": panel.next_best.method,
            "more": money(panel.next_best.more),
            "more_minutes": _minutes_json(panel.next_best.more_minutes),
        }
    if panel.left:
        found["without_method"] = {
            "dents": panel.left,
            "because": panel.left_words,
            "waits": panel.waits,
            "what_remains": list(panel.offers),
        }
    return found


def _change_json(change: Change, aim: Aim, money: Callable[[int], str]) -> dict[str, Any]:
    return {
        "kind": change.kind,
        "method": change.method,
        "amount": money(change.amount),
        "minutes": minutes_text(change.minutes),
        "operations": list(change.operations),
        "panels": list(change.panels),
        "words": change_words(change, aim, {}, money),
    }


def _against_json(against: Against, money: Callable[[int], str]) -> dict[str, Any]:
    return {
        "saves": money(against.saves),
        "saves_minutes": _minutes_json(against.saves_minutes),
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
        panel.method == method or panel.panel in against.except_for
        for panel in plan.panels
        if panel.dents
    ):
        done = "pushed" if method == "push" else "glued"
        return f"Every panel that may be is {done}{where}."
    took = ""
    if against.saves_minutes is not None:
        minutes = minutes_text(abs(against.saves_minutes))
        more = against.saves_minutes < 0
        took = f" but takes {minutes} min more" if more else f" and {minutes} min"
    return f"Against {verb}ing every panel it saves {money(against.saves)}{took}{where}."


def vehicle_words(plan: Plan, names: Mapping[str, str], money: Callable[[int], str]) -> list[str]:
    """What the plan says of the whole vehicle, a sentence each; `money` writes the currency too."""
    if not any(panel.dents for panel in plan.panels):
        return []
    words = [
        against_words(plan, "push", names, money),
        against_words(plan, "glue", names, money),
    ]
    if plan.cooler is not None:
        saved = money(plan.cooler.saves)
        if plan.aim == "minutes":
            saved = f"{minutes_text(plan.cooler.saves_minutes)} min"
        words.append(
            f"With all panels at {plan.cooler.limit} °C or less the plan would come to {saved} "
            "less."
        )
    if plan.topped:
        words.append(
            "The total is topped up to the matrix's minimum, which swallows what methods differ by."
        )
    if plan.gap:
        words.append(
            "Rounding and the minimum leave open whether another plan is lower by up to "
            f"{money(plan.gap)}."
        )
    return words


def reason_words(
    panel: PanelPlan, aim: Aim, names: Mapping[str, str], money: Callable[[int], str]
) -> list[str]:
    """What is said beside a panel: its price, what is glued, what rules shut, what would change."""
    words = []
    if panel.unpriced:
        words.append(f"No price: {panel.unpriced}.")
    if panel.agreed and panel.own is not None:
        words.append(f"Agreed at {money(panel.own)}, however it is reached.")
    if panel.method == "push" and panel.glued:
        words.append(f"{dents(panel.glued, GLUE_ONLY)} glued.")
    words += ruled_out_words(panel)
    return words + [change_words(change, aim, names, money) for change in panel.changes]


def left_sentences(plan: Plan, names: Mapping[str, str]) -> list[str]:
    """Dents without a method, panels with one reason and the same ways out together."""
    alike: dict[tuple[str, bool, tuple[str, ...]], list[PanelPlan]] = {}
    for panel in plan.panels:
        if panel.left:
            alike.setdefault((panel.left_words, panel.waits, panel.offers), []).append(panel)
    return [
        f"{_listed([names.get(panel.panel, panel.panel) for panel in panels])}: "
        f"{' and '.join(str(panel.left) for panel in panels)} glue-only "
        f"{'dent' if [panel.left for panel in panels] == [1] else 'dents'} without a method"
        f"{' today' if waits else ''}: {because}. What remains: {'; '.join(offers)}."
        for (because, waits, offers), panels in alike.items()
    ]


def _listed(words: Sequence[str]) -> str:
    """One, two and three."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def ruled_out_words(panel: PanelPlan) -> list[str]:
    """A sentence for each method that a rule shuts, but for what merely was not given."""
    named: dict[Method, list[str]] = {}
    for rule in panel.ruled_out:
        if rule.rule not in _NOT_SAID:
            named.setdefault(rule.method, []).append(rule.words)
    return [f"No {METHOD_WORDS[method]}: {'; '.join(words)}." for method, words in named.items()]
