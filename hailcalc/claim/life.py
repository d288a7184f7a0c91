"""The life of a claim: draft, issued, answered, agreed, or withdrawn; what may be done when.

A state is worked out from what happened (`state_after`), never set. It is that of the latest
revision: a supplement takes an answered or agreed claim back to issued, whatever answers are
carried into it, until the adjuster answers or agrees to it. Its draft may wait beside the revision
before. An agreement is to one settlement, known by its digest, so an answer
that changes what is agreed makes it lapse; nobody has to take it back. Withdrawn is final.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

State = Literal["draft", "issued", "answered", "agreed", "withdrawn"]
Act = Literal["save", "issue", "answer", "agree", "withdraw", "link"]
Side = Literal["shop", "adjuster"]

SIDES: tuple[Side, ...] = ("shop", "adjuster")

POSSIBLE: Mapping[State, tuple[Act, ...]] = MappingProxyType(
    {
        "draft": ("save", "issue", "withdraw"),
        "issued": ("save", "issue", "answer", "withdraw", "link"),
        "answered": ("save", "issue", "answer", "agree", "withdraw", "link"),
        "agreed": ("save", "issue", "answer", "withdraw", "link"),
        "withdrawn": (),
    }
)
"""What may be done in each state.

After the first revision `save` and `issue` are those of a supplement. An agreed claim may still
be answered anew, which opens it again, and withdrawn: the customer may go elsewhere.
"""

_STATE_WORDS: Mapping[State, str] = MappingProxyType(
    {
        "draft": "A draft",
        "issued": "An issued claim that is not fully answered",
        "answered": "An answered claim",
        "agreed": "An agreed claim",
        "withdrawn": "A withdrawn claim",
    }
)
_ACT_WORDS: Mapping[Act, str] = MappingProxyType(
    {
        "save": "saved",
        "issue": "issued",
        "answer": "answered",
        "agree": "agreed to",
        "withdraw": "withdrawn",
        "link": "shown to an adjuster by a link",
    }
)
_AFTER_FIRST: Mapping[Act, str] = MappingProxyType(
    {"save": "saved as the draft of a supplement", "issue": "issued anew as a supplement"}
)
"""What these two are called once there is a revision."""


def may(state: State, act: Act, *, settled: bool = False) -> bool:
    """Whether a claim in this state may have this done to it.

    An issued claim is agreed to only where there is a settlement (`settled`): every line of its
    supplement was answered before, or it has none.
    """
    return act in POSSIBLE[state] or (state == "issued" and act == "agree" and settled)


def refused(state: State, act: Act) -> str:
    """Why an act that a state does not allow was refused, and what is possible instead."""
    found = f"{_STATE_WORDS[state]} cannot be {_words(state, act)}"
    possible = [_words(state, each) for each in POSSIBLE[state]]
    if not possible:
        return f"{found}; nothing more can be done with it."
    return f"{found}; it can be {', '.join(possible[:-1])} or {possible[-1]}."


def _words(state: State, act: Act) -> str:
    words = _ACT_WORDS[act]
    return words if state in ("draft", "withdrawn") else _AFTER_FIRST.get(act, words)


def state_after(
    *,
    withdrawn: bool,
    revision: int | None,
    open_lines: int | None,
    settlement: str | None,
    agreements: Mapping[Side, str],
    heard: bool = True,
) -> State:
    """The state of a claim to which all this happened.

    `revision` is the latest one (None or 0 before the first), `open_lines` how many of its lines
    wait for an answer or a price, `settlement` the digest of what can be agreed to now, and
    `agreements` the digest that each side agreed to, as long as its word has not lapsed. `heard`:
    whether the adjuster has answered or agreed since that revision; answers that were carried
    into it are no word about it.
    """
    if withdrawn:
        return "withdrawn"
    if not revision:
        return "draft"
    if open_lines is None or open_lines > 0 or not heard:
        return "issued"
    if settlement is not None and all(agreements.get(side) == settlement for side in SIDES):
        return "agreed"
    return "answered"
