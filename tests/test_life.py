"""The life of a claim: what may be done when, and which state follows from what happened."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.claim.life import POSSIBLE, SIDES, Act, Side, State, may, refused, state_after

STATES: tuple[State, ...] = get_args(State)
ACTS: tuple[Act, ...] = get_args(Act)
BOTH: dict[Side, str] = {"shop": "a" * 64, "adjuster": "a" * 64}


def after(
    open_lines: int = 0,
    settlement: str | None = "a" * 64,
    agreements: dict[Side, str] | None = None,
    revision: int | None = 1,
    withdrawn: bool = False,
    heard: bool = True,
) -> State:
    return state_after(
        withdrawn=withdrawn,
        revision=revision,
        open_lines=open_lines,
        settlement=settlement,
        agreements=agreements or {},
        heard=heard,
    )


def test_every_state_says_what_may_be_done_in_it() -> None:
    assert set(POSSIBLE) == set(STATES)
    for acts in POSSIBLE.values():
        assert set(acts) <= set(ACTS)
        assert len(set(acts)) == len(acts)


def test_a_draft_is_nothing_that_an_adjuster_can_see_or_answer() -> None:
    assert not may("draft", "link")
    assert not may("draft", "answer")
    assert may("draft", "withdraw")


def test_agreement_needs_an_answer_to_every_line_first() -> None:
    assert [state for state in STATES if may(state, "agree")] == ["answered"]


@pytest.mark.parametrize("state", ["issued", "answered", "agreed"])
def test_a_supplement_may_follow_whatever_was_issued(state: State) -> None:
    assert may(state, "save")
    assert may(state, "issue")


def test_an_agreed_claim_may_still_be_answered_anew() -> None:
    assert may("agreed", "answer")


@pytest.mark.parametrize("act", ACTS)
def test_withdrawn_is_final(act: Act) -> None:
    assert not may("withdrawn", act)
    assert refused("withdrawn", act).endswith("; nothing more can be done with it.")


def test_a_refusal_says_what_was_found_and_what_is_possible() -> None:
    assert refused("draft", "answer") == (
        "A draft cannot be answered; it can be saved, issued or withdrawn."
    )
    assert refused("issued", "agree") == (
        "An issued claim that is not fully answered cannot be agreed to; it can be saved as the "
        "draft of a supplement, issued anew as a supplement, answered, withdrawn or shown to an "
        "adjuster by a link."
    )


def test_a_claim_is_a_draft_until_its_first_revision() -> None:
    assert state_after(
        withdrawn=False, revision=None, open_lines=None, settlement=None, agreements={}
    ) == ("draft")
    assert after(revision=0) == "draft"


def test_a_claim_is_issued_while_a_line_waits_and_answered_after_that() -> None:
    assert after(open_lines=1, settlement=None) == "issued"
    assert after() == "answered"


def test_one_side_alone_makes_no_agreement() -> None:
    for side in SIDES:
        assert after(agreements={side: "a" * 64}) == "answered"
    assert after(agreements=BOTH) == "agreed"


def test_an_agreement_lapses_when_another_amount_makes_another_settlement() -> None:
    assert after(settlement="b" * 64, agreements=BOTH) == "answered"
    assert after(settlement="b" * 64, agreements=BOTH | {"shop": "b" * 64}) == "answered"


def test_an_agreement_counts_again_when_the_very_settlement_is_there_again() -> None:
    assert after(settlement="a" * 64, agreements=BOTH) == "agreed"


def test_a_supplement_takes_an_agreed_claim_back_to_issued() -> None:
    assert after(revision=2, open_lines=3, settlement=None, agreements={}) == "issued"


def test_a_supplement_with_nothing_open_is_issued_until_the_adjuster_has_said_something() -> None:
    assert after(revision=2, heard=False) == "issued"
    assert after(revision=2, agreements={"shop": "a" * 64}, heard=False) == "issued"
    assert after(revision=2, heard=True) == "answered"


def test_an_issued_claim_is_agreed_to_only_where_there_is_a_settlement() -> None:
    assert not may("issued", "agree")
    assert [state for state in STATES if may(state, "agree", settled=True)] == [
        "issued",
        "answered",
    ]


def test_no_agreement_stands_where_there_is_nothing_to_agree_to() -> None:
    assert after(settlement=None, agreements=BOTH) == "answered"
    assert after(open_lines=1, settlement=None, agreements=BOTH) == "issued"


@given(
    st.integers(0, 3),
    st.integers(0, 3),
    st.one_of(st.none(), st.sampled_from(["a", "b"])),
    st.dictionaries(st.sampled_from(SIDES), st.sampled_from(["a", "b"])),
)
def test_withdrawn_whatever_else_happened(
    revision: int, open_lines: int, settlement: str | None, agreements: dict[Side, str]
) -> None:
    assert after(open_lines, settlement, agreements, revision, withdrawn=True) == "withdrawn"
    alive = after(open_lines, settlement, agreements, revision)
    assert alive != "withdrawn"
    if alive == "agreed":
        assert (open_lines, set(agreements.values())) == (0, {settlement})
