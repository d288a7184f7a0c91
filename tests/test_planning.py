"""Plans: which panels are pushed, glued or replaced, why, and what is left without a method.

A panel of three dents takes 20 minutes at 90.00 an hour, a minute of removal costs 1.00.
That hot-melt glue holds poorly on a hot panel and on new paint, and that sharp dents and dents
on a body line come out better by pushing, is common practice, no source. The exact choice is
held against other solvers in `published/test_access_choice.py` and against a second
implementation in `test_pricing_twice.py`; here are the sentences of the trade.
"""

from __future__ import annotations

from copy import deepcopy
from itertools import product
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hailcalc.access.plan import PanelPlan, Plan, vehicle_words
from hailcalc.estimate import Estimate
from hailcalc.money import money_text
from hailcalc.problems import InputError
from hailcalc.sheet.document import evidence
from tests.builders import claim, estimate, matrix, panel
from tests.effort import examples
from tests.strategies import close_plans

Table = dict[str, Any]

GLUE: list[Table] = [
    {
        "id": "glue",
        "label": "Pulled with glue",
        "when": {"access": "glue"},
        "of": "affected",
        "percent": "50",
    }
]


def operation(name: str, minutes: str, *opens: str, **more: Any) -> Table:
    return {
        "id": name,
        "label": name.capitalize(),
        "minutes": minutes,
        "opens": list(opens),
        **more,
    }


LINING = operation("lining", "20", "roof", "rail-l", "rail-r")
"""Off for 20.00: a roof of three dents costs 30.00 pushed and 45.00 glued."""


def planned(*panels: Table, removal: list[Table] | None = None, **more: Any) -> Estimate:
    """Panels to be planned unless they say otherwise; keys of the matrix by `rules`."""
    rules = more.pop("rules", {})
    conditions = {"panel_temperature_c": more.pop("celsius", 20)}
    data = claim(*({"access": "plan"} | each for each in panels), conditions=conditions, **more)
    return estimate(data, matrix(extra=GLUE, removal=removal or [], **rules))


def plan_of(found: Estimate) -> Plan:
    assert found.plan is not None
    return found.plan


def methods(found: Estimate) -> dict[str, str]:
    return {each.panel: each.method for each in plan_of(found).panels}


def panel_plan(found: Estimate, name: str) -> PanelPlan:
    return next(each for each in plan_of(found).panels if each.panel == name)


def told(found: Estimate, name: str) -> Table:
    """What the sheet's evidence says of a planned panel."""
    panels: list[Table] = evidence(found)["plan"]["panels"]
    return next(each for each in panels if each["panel"] == name)


def changes(found: Estimate, name: str) -> list[str]:
    told_of = [change["words"] for change in told(found, name)["would_change"]]
    return [words for words in told_of if "Replacing" not in words]


# --- the whole vehicle ------------------------------------------------------------------------


def test_trim_is_not_taken_out_for_one_panel_that_glue_reaches_cheaper() -> None:
    found = planned(panel("roof"), removal=[LINING])
    assert methods(found) == {"roof": "glue"}
    assert not found.removal


def test_trim_that_several_panels_share_comes_out_for_all_of_them() -> None:
    found = planned(panel("roof"), panel("rail-l"), panel("rail-r"), removal=[LINING])
    assert methods(found) == {"roof": "push", "rail-l": "push", "rail-r": "push"}
    assert [rule.id for rule in found.removal] == ["lining"]


def test_trim_that_is_off_for_a_panel_of_the_estimators_own_choice_serves_the_plan() -> None:
    found = planned(panel("rail-l", access="push"), panel("roof"), removal=[LINING])
    assert methods(found) == {"roof": "push"}


def test_the_line_prices_are_those_of_a_claim_with_the_chosen_access() -> None:
    names = ("roof", "rail-l", "hood")
    removal = [LINING, operation("liner", "30", "hood")]
    found = planned(*(panel(name) for name in names), removal=removal)
    chosen = methods(found)
    same = planned(*(panel(name, access=chosen[name]) for name in names), removal=removal)
    assert found.lines == same.lines
    assert found.totals == same.totals
    assert same.plan is None


def test_the_claim_file_on_the_sheet_still_says_plan() -> None:
    found = planned(panel("roof"))
    assert [each.access for each in found.claim.panels] == ["plan"]
    assert [each.panel.access for each in found.panels] == ["push"]


def test_a_panel_without_dents_needs_no_plan() -> None:
    found = planned(panel("hood", tally={}), removal=[operation("liner", "9", "hood")])
    assert methods(found) == {"hood": "push"}
    assert not found.lines


def test_the_plan_for_least_time_is_another_than_for_least_cost() -> None:
    # The lining costs 20.00 for 20 minutes; glue 15.00 for 10 minutes of repair at 90.00.
    slow = [operation("lining", "20", "roof")]
    cheap = {"rates": {"repair": "90.00", "removal": "30.00"}}
    by_cost = planned(panel("roof"), removal=slow, rules=cheap)
    by_time = planned(panel("roof"), removal=slow, rules=cheap, aim="minutes")
    assert methods(by_cost) == {"roof": "push"}
    assert methods(by_time) == {"roof": "glue"}
    assert plan_of(by_time).minutes == 30
    assert plan_of(by_cost).minutes == 40


# --- replacing --------------------------------------------------------------------------------


@pytest.mark.parametrize(("price", "method"), [("29.99", "replace"), ("30.01", "push")])
def test_a_panel_is_replaced_where_that_is_cheaper_than_to_repair_it(
    price: str, method: str
) -> None:
    assert methods(planned(panel("roof", replace_cost=price))) == {"roof": method}


def test_the_price_told_is_where_replacing_begins_to_pay() -> None:
    found = planned(panel("roof"), removal=[operation("lining", "5", "roof")])
    words = told(found, "roof")["would_change"]
    assert words[-1]["words"] == "Replacing pays below 35.00."
    assert words[-1]["amount"] == "35.00"
    for price, method in (("34.99", "replace"), ("35.01", "push")):
        again = planned(
            panel("roof", replace_cost=price), removal=[operation("lining", "5", "roof")]
        )
        assert methods(again) == {"roof": method}


def test_a_panel_beyond_the_matrix_is_replaced_if_there_is_a_price_for_it() -> None:
    beyond = {"dime": 61}
    assert methods(planned(panel("roof", tally=beyond, replace_cost="900"))) == {"roof": "replace"}
    found = planned(panel("roof", tally=beyond))
    assert methods(found) == {"roof": "push"}
    assert not found.totals.complete


def test_an_agreed_price_is_for_the_repair_so_the_panel_is_not_replaced() -> None:
    found = planned(panel("roof", agreed="100.00", replace_cost="1.00"))
    assert methods(found) == {"roof": "push"}
    assert panel_plan(found, "roof").ruled_out[-1].rule == "agreed-price"


def test_by_time_a_panel_is_replaced_only_if_it_is_said_how_long_that_takes() -> None:
    slow = panel("roof", replace_cost="1.00")
    assert methods(planned(slow, aim="minutes")) == {"roof": "push"}
    quick = slow | {"replace_minutes": "19"}
    assert methods(planned(quick, aim="minutes")) == {"roof": "replace"}
    assert methods(planned(quick | {"replace_minutes": "21"}, aim="minutes")) == {"roof": "push"}


# --- rules ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("celsius", "method"), [(20, "glue"), (30, "glue"), (30.5, "push"), (32, "push")]
)
def test_glue_is_not_planned_on_a_panel_hotter_than_the_limit(celsius: float, method: str) -> None:
    found = planned(panel("roof"), removal=[LINING], celsius=celsius)
    assert methods(found) == {"roof": method}


@pytest.mark.parametrize(
    ("what", "rule"),
    [
        ({"repainted": True}, "glue-repainted"),
        ({"marked": {"sharp": {"dime": 1}}}, "glue-sharp"),
        ({"marked": {"body-line": {"dime": 1}}}, "glue-body-line"),
    ],
)
def test_paint_sharp_dents_and_body_lines_shut_glue_unless_the_matrix_says_otherwise(
    what: Table, rule: str
) -> None:
    forbidden = planned(panel("roof", **what), removal=[LINING])
    assert methods(forbidden) == {"roof": "push"}
    assert [each["rule"] for each in told(forbidden, "roof")["ruled_out"]] == [
        rule,
        "replace-price",
    ]
    key = rule.replace("-", "_")
    warned = planned(panel("roof", **what), removal=[LINING], rules={"access": {key: "warn"}})
    assert methods(warned) == {"roof": "glue"}
    assert any(f"({rule})" in warning for warning in warned.warnings)
    allowed = planned(panel("roof", **what), removal=[LINING], rules={"access": {key: "allow"}})
    assert methods(allowed) == {"roof": "glue"}
    assert not allowed.warnings


def test_the_limit_is_the_matrixs() -> None:
    limit = {"access": {"glue_limit_c": "24.5"}}
    found = planned(panel("roof"), removal=[LINING], celsius=25, rules=limit)
    assert methods(found) == {"roof": "push"}
    assert "25 °C, hotter than the 24.5 °C" in told(found, "roof")["ruled_out"][0]["words"]


def test_glue_only_dents_are_never_pushed() -> None:
    every = {"tally": {"dime": 3}, "marked": {"glue-only": {"dime": 3}}}
    found = planned(panel("roof", **every))
    assert methods(found) == {"roof": "glue"}
    assert told(found, "roof")["ruled_out"][0]["rule"] == "glue-only"


def test_a_pushed_panel_is_split_its_glue_only_dents_are_glued() -> None:
    found = planned(panel("roof", marked={"glue-only": {"dime": 1}}))
    assert methods(found) == {"roof": "push"}
    assert told(found, "roof")["glued_dents"] == 1
    glue = next(line for line in found.lines if line.label == "Pulled with glue")
    assert glue.formula == "30.00 * 50 / 100 * 1 / 3"


def test_the_estimators_own_choice_stands_with_a_warning_that_names_the_rule() -> None:
    found = planned(panel("roof", access="glue", repainted=True), celsius=32)
    assert [warning.rpartition(" ")[2] for warning in found.warnings] == [
        "(glue-hot).",
        "(glue-repainted).",
    ]
    assert found.totals.complete


celsius = st.integers(-20, 60)
tallies = st.fixed_dictionaries({"dime": st.integers(1, 20), "half-dollar": st.integers(0, 20)})
some_panels = st.lists(
    st.sampled_from(["hood", "roof", "rail-l", "rail-r", "door-fl"]), min_size=1, unique=True
)


@settings(max_examples=examples(150))
@given(some_panels, tallies, celsius, st.integers(0, 60))
def test_on_a_hot_panel_the_plan_never_glues_and_on_a_cool_one_where_it_is_cheaper(
    names: list[str], tally: dict[str, int], warm: int, minutes: int
) -> None:
    removal = [operation(name, str(minutes), name) for name in names]
    found = planned(*(panel(name, tally=tally) for name in names), removal=removal, celsius=warm)
    for each in plan_of(found).panels:
        dearer = sum(line.amount or 0 for line in found.lines if line.panel == each.panel)
        if warm > 30:
            assert each.method == "push"
        elif each.method == "glue":
            # A third of the glued price is glue; pushing takes a minute at 1.00 of trim.
            assert dearer * 1 // 3 <= minutes * 100 + 1
        else:
            assert dearer // 2 >= minutes * 100 - 1


# --- what is left -----------------------------------------------------------------------------


def test_a_hot_day_leaves_glue_only_dents_that_wait_for_a_cooler_panel() -> None:
    found = planned(panel("roof", marked={"glue-only": {"dime": 2}}), celsius=32)
    left = told(found, "roof")["without_method"]
    assert left["dents"] == 2
    assert left["what_remains"] == [
        "wait until the panel has 30 °C or less, as priced",
        "replace the panel, at a price to be given",
        "leave them unrepaired by agreement",
    ]
    cool = planned(panel("roof", marked={"glue-only": {"dime": 2}}), celsius=20)
    assert found.lines == cool.lines
    assert found.totals.complete
    assert "without_method" not in told(cool, "roof")


def test_new_paint_leaves_glue_only_dents_that_need_an_agreement() -> None:
    left = {"repainted": True, "marked": {"glue-only": {"dime": 2}}}
    found = planned(panel("roof", **left))
    assert told(found, "roof")["without_method"]["what_remains"] == [
        "agree a price",
        "replace the panel, at a price to be given",
        "leave them unrepaired by agreement",
    ]
    assert not found.totals.complete
    assert found.lines[0].amount is None
    assert "2 glue-only dents without any method: repainted" in found.lines[0].words
    replaced = planned(panel("roof", replace_cost="640.00", **left))
    assert methods(replaced) == {"roof": "replace"}
    agreed = planned(panel("roof", agreed="25.00", **left))
    assert (methods(agreed), agreed.totals.complete) == ({"roof": "push"}, True)


def test_a_dent_that_is_glue_only_and_sharp_has_no_method() -> None:
    both = [
        {"mm": 12, "marks": ["glue-only", "sharp"]},
        {"mm": 12, "marks": ["glue-only"]},
        {"mm": 9},
    ]
    found = planned({"panel": "roof", "dents": both})
    assert told(found, "roof")["without_method"]["dents"] == 1


@pytest.mark.parametrize(("sharp", "left"), [(1, 0), (2, 1), (3, 2)])
def test_a_tally_counts_two_marks_on_one_dent_only_where_its_numbers_leave_no_other_way(
    sharp: int, left: int
) -> None:
    marked = {"glue-only": {"dime": 2}, "sharp": {"dime": sharp}}
    found = planned(panel("roof", marked=marked))
    assert told(found, "roof").get("without_method", {"dents": 0})["dents"] == left


# --- reasons ----------------------------------------------------------------------------------


def test_the_next_best_is_told_by_what_the_whole_vehicle_would_cost_more() -> None:
    found = planned(panel("roof"), removal=[LINING])
    assert told(found, "roof")["next_best"] == {
        "method": "push",
        "more": "5.00",
        "more_minutes": "10",
    }


def test_glue_that_loses_its_advantage_once_the_trim_is_off_says_so() -> None:
    found = planned(panel("roof"), removal=[LINING])
    assert changes(found, "roof") == [
        "Pushing becomes 15.00 cheaper once this is off for another panel: Lining."
    ]
    both = planned(panel("roof"), panel("rail-l", access="push"), removal=[LINING])
    assert methods(both) == {"roof": "push"}


def test_push_that_pays_only_because_others_share_the_trim_says_so() -> None:
    found = planned(panel("roof"), panel("rail-l"), removal=[LINING])
    assert changes(found, "roof") == ["Gluing becomes 5.00 cheaper if rail-l is not pushed."]
    assert methods(planned(panel("roof"), removal=[LINING])) == {"roof": "glue"}


def test_a_hot_panel_that_would_be_cheaper_glued_when_cool_says_so() -> None:
    found = planned(panel("roof"), removal=[LINING], celsius=34)
    assert changes(found, "roof") == ["At 30 °C or less gluing becomes 5.00 cheaper."]


def test_the_vehicle_says_what_it_saves_against_one_method_for_all() -> None:
    removal = [LINING, operation("liner", "2", "hood")]
    found = evidence(planned(panel("roof"), panel("hood"), removal=removal))["plan"]
    assert found["against_all_push"]["saves"] == "5.00"
    assert found["against_all_glue"]["saves"] == "13.00"
    shut = planned(panel("roof"), panel("hood", repainted=True), removal=removal)
    assert evidence(shut)["plan"]["against_all_glue"]["except_for"] == ["hood"]


def test_under_the_minimum_the_plan_with_the_least_total_is_taken() -> None:
    # Both cost the minimum, but the liner's fasteners are taxed.
    liner = operation("liner", "1", "roof", fasteners=1, fastener_price="4.00")
    rules = {"matrix": {"minimum": "100.00"}, "tax": {"parts": "10"}}
    found = planned(panel("roof"), removal=[liner], rules=rules)
    assert methods(found) == {"roof": "glue"}
    assert (found.totals.total, plan_of(found).gap) == (10000, 0)


def test_what_would_change_it_counts_tax_and_percentages_of_the_vehicle() -> None:
    # Half the price again on every repair line: glue's 15.00 more are 22.50 more in the total.
    fleet = {"id": "fleet", "label": "Fleet", "of": "vehicle", "percent": "50"}
    lining = {**LINING, "minutes": "40"}
    rules = matrix(extra=[*GLUE, fleet], removal=[lining])
    found = estimate(claim(panel("roof", access="plan")), rules)
    assert methods(found) == {"roof": "glue"}
    # The lone extra's share: 45.00 glued with 45.00 of base, 30.00 pushed with as much.
    assert changes(found, "roof") == [
        "Pushing becomes 15.00 cheaper once this is off for another panel: Lining."
    ]
    taxed = matrix(extra=GLUE, removal=[lining], tax={"labour": "20"})
    assert changes(estimate(claim(panel("roof", access="plan")), taxed), "roof") == [
        "Pushing becomes 18.00 cheaper once this is off for another panel: Lining."
    ]


def test_trim_that_only_this_panel_needs_is_not_said_to_come_off_for_another() -> None:
    found = planned(panel("roof"), removal=[operation("pads", "20", "roof")])
    assert methods(found) == {"roof": "glue"}
    assert changes(found, "roof") == []
    shared = [operation("lining", "15", "rail-l"), operation("pads", "5", "roof", after=["lining"])]
    assert changes(planned(panel("roof"), removal=shared), "roof") == [
        "Pushing becomes 10.00 cheaper once this is off for another panel: Lining."
    ]


def test_a_panel_that_can_only_be_pushed_is_not_said_to_be_reached_otherwise() -> None:
    sharp = panel("rail-l", marked={"sharp": {"dime": 1}})
    found = planned(panel("roof"), sharp, removal=[LINING])
    assert methods(found) == {"roof": "push", "rail-l": "push"}
    assert changes(found, "roof") == []


def test_cool_panels_that_only_together_make_glue_cheaper_are_told_for_the_vehicle() -> None:
    lining = {**LINING, "minutes": "25"}
    found = planned(panel("roof"), panel("rail-l"), panel("rail-r"), removal=[lining], celsius=35)
    assert "if_cooler" not in evidence(found)["plan"]
    two = planned(panel("roof"), panel("rail-l"), removal=[{**LINING, "minutes": "40"}], celsius=35)
    assert changes(two, "roof") == []
    assert evidence(two)["plan"]["if_cooler"] == {
        "limit_c": "30",
        "saves": "10.00",
        "saves_minutes": "20",
    }


def test_heat_does_not_hide_that_a_dent_is_sharp_as_well() -> None:
    marked = {"glue-only": {"dime": 3}, "sharp": {"dime": 7}}
    found = planned(panel("roof", tally={"dime": 9}, marked=marked), celsius=35)
    left = told(found, "roof")["without_method"]
    assert left["dents"] == 3
    assert "1 of them sharp or on a body line besides" in left["because"]
    assert left["what_remains"][0] == "wait until the panel has 30 °C or less for 2 of them"
    assert not left["waits"]


def test_how_long_a_replacement_takes_is_not_known_unless_it_is_said() -> None:
    replaced = panel("roof", replace_cost="1.00")
    found = evidence(planned(replaced, panel("hood")))["plan"]
    assert (found["panels"][1]["minutes"], found["minutes"]) == (None, None)
    assert found["against_all_push"]["saves_minutes"] is None
    known = evidence(planned(replaced | {"replace_minutes": "45"}, panel("hood")))["plan"]
    assert (known["panels"][1]["minutes"], known["minutes"]) == ("45", "65")


def test_every_panel_that_may_be_is_pushed_is_said_only_if_it_is_so() -> None:
    def words(found: Estimate) -> str:
        return vehicle_words(plan_of(found), {}, str)[0]

    assert words(planned(panel("roof"))) == "Every panel that may be is pushed."
    replaced = planned(panel("roof", replace_cost="0"), panel("hood"))
    assert "saves 3000" in words(replaced)


def test_under_the_minimum_no_condition_is_told_since_the_topping_up_takes_it_back() -> None:
    rules = {"matrix": {"minimum": "500.00"}}
    found = planned(panel("roof"), removal=[LINING], rules=rules)
    assert evidence(found)["plan"]["topped_up"]
    assert told(found, "roof")["would_change"] == []


@settings(max_examples=examples(120))
@given(close_plans())
def test_the_next_best_is_what_the_claim_comes_to_with_that_method_given_and_the_rest_planned(
    pair: tuple[Table, Table],
) -> None:
    data, rules = pair
    found = estimate(data, rules)
    assume(found.plan is not None and not plan_of(found).topped and plan_of(found).aim == "cost")
    for each in plan_of(found).panels:
        if each.next_best is None:
            continue
        given_ = deepcopy(data)
        of_panel = next(entry for entry in given_["panels"] if entry["panel"] == each.panel)
        of_panel["access"] = each.next_best.method
        instead = estimate(given_, rules)
        if any(line.kind == "minimum" for line in instead.lines):
            continue
        assert instead.totals.total - found.totals.total == each.next_best.more


@settings(max_examples=examples(120))
@given(close_plans())
def test_replacing_pays_below_the_price_that_is_told_and_not_above_it(
    pair: tuple[Table, Table],
) -> None:
    data, rules = pair
    found = estimate(data, rules)
    assume(found.plan is not None and not plan_of(found).topped)
    decimals = found.compiled.tables.decimals
    for each in plan_of(found).panels:
        for change in each.changes:
            if change.kind != "replace-below":
                continue
            for price, replaced in ((change.amount - 1, True), (change.amount + 1, False)):
                given_ = deepcopy(data)
                of_panel = next(entry for entry in given_["panels"] if entry["panel"] == each.panel)
                of_panel["replace_cost"] = money_text(price, decimals)
                assert (methods(estimate(given_, rules))[each.panel] == "replace") == replaced


# --- what cannot be planned -------------------------------------------------------------------


def test_a_panel_without_any_allowed_method_is_refused_with_the_rules_that_shut_each() -> None:
    every = {"tally": {"dime": 3}, "marked": {"glue-only": {"dime": 3}}}
    with pytest.raises(InputError) as refused:
        planned(panel("hood"), panel("roof", **every), celsius=32)
    (problem,) = refused.value.problems
    assert problem.place == "panels[1].access"
    assert problem.found == (
        "no method: push: all 3 dents are glue-only; glue: 32 °C, hotter than the 30 °C up to "
        "which glue holds; replace: no price of a replacement"
    )
    assert problem.expected.startswith("a cooler panel, the price of a replacement")


def test_every_panel_without_a_method_is_told_at_once() -> None:
    every = {"tally": {"dime": 3}, "marked": {"glue-only": {"dime": 3}}, "repainted": True}
    with pytest.raises(InputError) as refused:
        planned(panel("hood", **every), panel("roof", **every))
    assert [problem.where[1] for problem in refused.value.problems] == [0, 1]
    assert "cooler" not in refused.value.problems[0].expected


def test_what_the_minimum_leaves_open_is_told_as_a_gap() -> None:
    # Labour is taxed and fasteners are not, so the plan with more fasteners is the one that a
    # topped-up total likes best; two panels would have to change their method together.
    removal = [
        operation("b", "3.99", "hood", fasteners=1, fastener_price="6.00"),
        operation("a1", "1", "roof", fasteners=1, fastener_price="4.00"),
        operation("a2", "1", "decklid", fasteners=1, fastener_price="4.00"),
    ]
    rules = matrix(matrix={"minimum": "100.00"}, tax={"labour": "19"}, removal=removal)
    names = ("hood", "roof", "decklid")

    def total(chosen: dict[str, str]) -> int:
        panels = [panel(name, access=chosen.get(name, "plan")) for name in names]
        return estimate(claim(*panels), rules).totals.total

    found = estimate(claim(*(panel(name, access="plan") for name in names)), rules)
    every = [
        total(dict(zip(names, chosen, strict=True)))
        for chosen in product(("push", "glue"), repeat=3)
    ]
    assert min(every) < found.totals.total
    assert min(every) >= found.totals.total - plan_of(found).gap
