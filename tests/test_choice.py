"""One option a panel, the lightest together: what sharing does to a choice.

Weights are without a unit here. The exact search is held against other solvers and every
combination in `published/test_access_choice.py`; here are the sentences of the trade.
"""

from __future__ import annotations

import subprocess
import sys
from itertools import permutations
from random import Random

import pytest

from hailcalc.access.choice import Choice, Option, choose, groups

HEADLINER, VISORS, LAMP, LINER = 1, 2, 4, 8
COSTS = [40, 8, 15, 20]

PUSH, GLUE = 0, 1


def a_panel(push: int, glue: int, *ways: int) -> list[Option]:
    return [Option(push, ways), Option(glue, (0,))]


def replaceable(push: int, glue: int, replace: int, *ways: int, glue_needs: int) -> list[Option]:
    return [Option(push, ways), Option(glue, (glue_needs,)), Option(replace, (0,))]


def test_one_panel_alone_is_pushed_if_that_saves_more_than_what_comes_off() -> None:
    assert choose([a_panel(100, 141, HEADLINER)], COSTS) == Choice((PUSH,), HEADLINER, 140)
    assert choose([a_panel(100, 139, HEADLINER)], COSTS) == Choice((GLUE,), 0, 139)


def test_a_headliner_that_no_panel_pays_alone_is_paid_by_roof_and_rails_together() -> None:
    roof, left, right = (a_panel(100, 100 + saved, HEADLINER) for saved in (20, 15, 10))
    assert choose([roof, left], COSTS) == Choice((GLUE, GLUE), 0, 235)
    assert choose([roof, left, right], COSTS) == Choice((PUSH, PUSH, PUSH), HEADLINER, 340)


def test_a_panel_that_can_only_be_pushed_makes_what_it_needs_free_for_the_others() -> None:
    roof = [Option(500, (HEADLINER | VISORS,))]
    rail = a_panel(100, 101, HEADLINER)
    hood = a_panel(100, 119, LINER)
    assert choose([rail, hood, roof], COSTS) == Choice(
        (PUSH, GLUE, 0), HEADLINER | VISORS, 100 + 119 + 500 + 48
    )


def test_the_lighter_of_two_ways_is_taken_unless_the_other_is_off_already() -> None:
    quarter = a_panel(100, 200, LAMP, LINER)
    assert choose([quarter], COSTS).mask == LAMP
    assert choose([quarter, [Option(0, (LINER,))]], COSTS).mask == LINER


def test_panels_agree_on_a_way_that_none_of_them_would_take_alone() -> None:
    panels = [a_panel(100, 200, 1 << own, LINER) for own in range(3)]
    assert choose(panels, [10, 10, 10, 20]) == Choice((PUSH,) * 3, LINER, 320)


def test_a_way_that_holds_another_is_never_taken() -> None:
    assert choose([a_panel(1, 99, HEADLINER | VISORS, VISORS)], COSTS).mask == VISORS
    glue = Option(5, (LAMP, LAMP | VISORS))
    assert choose([[Option(1, (LAMP | LINER,)), glue]], COSTS) == Choice((1,), LAMP, 20)


def test_replacing_needs_nothing_where_even_glue_needs_something_off() -> None:
    def door(replace: int) -> list[Option]:
        return replaceable(100, 110, replace, HEADLINER | LAMP, glue_needs=LAMP)

    assert choose([door(126)], COSTS) == Choice((GLUE,), LAMP, 125)
    assert choose([door(124)], COSTS) == Choice((2,), 0, 124)
    assert choose([door(124)] * 2, COSTS) == Choice((GLUE,) * 2, LAMP, 235)


def test_a_discount_may_make_an_option_weigh_less_than_nothing() -> None:
    panels = [a_panel(-100, -70, HEADLINER), a_panel(-5, -30, VISORS)]
    assert choose(panels, COSTS) == Choice((GLUE, GLUE), 0, -100)


def test_weights_are_exact_however_large_they_are() -> None:
    large = 10**40
    panels = [a_panel(large, large + 20, HEADLINER), a_panel(large, large + 21, HEADLINER)]
    assert choose(panels, COSTS) == Choice((PUSH, PUSH), HEADLINER, 2 * large + 40)
    assert choose(panels, [42]) == Choice((GLUE, GLUE), 0, 2 * large + 41)


def test_a_vehicle_without_panels_weighs_nothing() -> None:
    assert choose([], COSTS) == Choice((), 0, 0)


def test_an_operation_that_weighs_nothing_is_still_named_where_it_is_needed() -> None:
    assert choose([a_panel(1, 2, VISORS)], [40, 0]) == Choice((PUSH,), VISORS, 1)


def test_of_equals_the_panel_is_left_as_it_is_and_the_first_option_stands() -> None:
    assert choose([a_panel(10, 10, VISORS)], COSTS).picks == (GLUE,)
    assert choose([a_panel(10, 10, VISORS)], [40, 0]).picks == (GLUE,)
    assert choose([[Option(10, (0,)), Option(10, (0,))]], COSTS).picks == (0,)


# --- order --------------------------------------------------------------------------------------


def test_the_order_of_panels_does_not_matter_to_a_single_best_choice() -> None:
    roof, left, right = (a_panel(100, 100 + saved, HEADLINER) for saved in (21, 12, 10))
    hood = a_panel(100, 117, LINER, LAMP)
    named = {"roof": roof, "left": left, "right": right, "hood": hood}
    for names in permutations(named):
        choice = choose([named[name] for name in names], COSTS)
        assert (choice.mask, choice.weight) == (HEADLINER | LAMP, 455)
        assert choice.picks == (PUSH,) * 4


def a_full_vehicle(random: Random, panels: int) -> list[list[Option]]:
    """All panels share operations; no two picks of options weigh the same."""
    unit = 4**panels
    made = []
    for place in range(panels):
        glue = 1 << random.randrange(12) if random.random() < 0.3 else 0
        ways = [glue | 1 << random.randrange(12) | 1 << random.randrange(12) for _ in range(2)]
        push = random.randrange(50)
        made.append(
            [
                Option(push * unit, tuple(ways)),
                Option((push + random.randrange(40)) * unit + 4**place, (glue,)),
                Option((push + random.randrange(60)) * unit + 2 * 4**place, (0,)),
            ]
        )
    return made


@pytest.mark.parametrize("seed", range(12))
def test_a_full_vehicle_gets_the_same_choice_in_every_order_of_its_panels(seed: int) -> None:
    random = Random(seed)
    panels = a_full_vehicle(random, 14)
    costs = [random.randrange(10, 60) * 4**14 for _ in range(12)]
    first = choose(panels, costs)
    for _ in range(4):
        order = random.sample(range(14), 14)
        again = choose([panels[index] for index in order], costs)
        assert again.picks == tuple(first.picks[index] for index in order)
        assert again.weight == first.weight


# --- groups -------------------------------------------------------------------------------------


def test_panels_that_share_what_comes_off_are_one_group_also_through_others() -> None:
    panels = [
        a_panel(1, 2, HEADLINER),
        a_panel(1, 2, LINER),
        a_panel(1, 2, VISORS, LAMP),
        a_panel(1, 2, HEADLINER | VISORS),
        [Option(1, (0,))],
    ]
    assert groups(panels) == [(0, 2, 3), (1,), (4,)]
    assert groups([]) == []


# --- what cannot be -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "panel",
    [
        [],
        [Option(1, ())],
        [Option(1, (0,))] * 4,
        [Option(1, (HEADLINER,)), Option(2, (VISORS,))],
        [Option(1, (HEADLINER, VISORS)), Option(2, (LAMP | LINER, LAMP | VISORS))],
        [Option(1, (HEADLINER, VISORS)), Option(2, (HEADLINER | VISORS,))],
    ],
    ids=["no option", "no way", "four options", "not nested", "two with ways", "ways not last"],
)
def test_panels_that_no_plan_makes_are_refused(panel: list[Option]) -> None:
    with pytest.raises(AssertionError):
        choose([panel], COSTS)


def test_operations_never_pay_back() -> None:
    with pytest.raises(AssertionError):
        choose([a_panel(1, 2, HEADLINER)], [-1])


def test_an_ordinary_vehicle_needs_no_library_of_graphs() -> None:
    program = (
        "import sys\n"
        "from hailcalc.access.choice import Option, choose\n"
        "panel = [Option(10, (1, 2)), Option(13, (0,))]\n"
        "assert choose([panel] * 4, [9, 8]).picks == (0,) * 4\n"
        "assert 'networkx' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True)
