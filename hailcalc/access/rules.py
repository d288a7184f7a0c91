"""Which ways of reaching a panel are open, and which dents are left without any.

Push reaches a panel's dents from behind; its glue-only dents, where no tool gets in, are
glued even then. Glue reaches all of them from outside, unless the panel is hot or repainted
or has dents that glue does not bring out. A replacement needs a price. The matrix says of
each rule about glue whether it forbids, warns or is left out (`[access]`). Temperatures in
degrees Celsius. The rules themselves are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

from hailcalc.claimfile import Panel
from hailcalc.counting import dent_marks
from hailcalc.lines import dents
from hailcalc.matrix import AccessRules
from hailcalc.money import plain

if TYPE_CHECKING:
    from hailcalc.counting.survey import Survey

Method = Literal["push", "glue", "replace"]
METHODS: tuple[Method, ...] = ("push", "glue", "replace")

RuleName = Literal[
    "glue-hot", "glue-repainted", "glue-sharp", "glue-body-line",
    "glue-only", "replace-price", "agreed-price",
]  # fmt: skip

GLUE_ONLY = "glue-only"


class Hold(NamedTuple):
    """A rule that holds on a panel, whether it forbids a method or only warns, and why."""

    method: Method
    rule: RuleName
    forbids: bool
    words: str


class DentKinds(NamedTuple):
    """How many dents of a panel there are, and of which kinds.

    `stuck` are those that are certainly glue-only and of a kind that must not be glued.
    """

    all: int
    glue_only: int
    sharp: int
    body_line: int
    stuck: int


class Ruling(NamedTuple):
    """What the rules say of one panel.

    `left` dents have no method if the panel is pushed; for `cooling` of them a cooler panel is
    all that they need. `left_words` says why they have none.
    """

    holds: tuple[Hold, ...]
    left: int
    cooling: int
    left_words: str

    @property
    def waits(self) -> bool:
        """Whether a cooler panel is all that the dents without a method need."""
        return 0 < self.left == self.cooling

    @property
    def cooler_helps(self) -> bool:
        """Whether heat is all that forbids glue."""
        forbid = [hold.rule for hold in self.holds if hold.forbids and hold.method == "glue"]
        return forbid == ["glue-hot"]

    @property
    def unpriced(self) -> str:
        """Why pushing has no price: dents that will never have a method; else empty."""
        if not self.left or self.waits:
            return ""
        return f"{dents(self.left, GLUE_ONLY)} without any method: {self.left_words}"

    def allows(self, method: Method) -> bool:
        """Whether no rule forbids a method."""
        return not any(hold.forbids and hold.method == method for hold in self.holds)


def forbidden_marks(rules: AccessRules) -> tuple[str, ...]:
    """Marks whose dents must not be glued."""
    forces = {"sharp": rules.glue_sharp, "body-line": rules.glue_body_line}
    return tuple(mark for mark, force in forces.items() if force == "forbid")


def dent_kinds(panel: Panel, survey: Survey | None, rules: AccessRules) -> DentKinds:
    """Count a panel's dents by what matters for reaching them, a sample at its estimate.

    A tally does not say which dents carry two marks: only overlaps that its numbers force are
    counted as stuck.
    """
    forbidden = forbidden_marks(rules)
    single: list[set[str]] = [set(dent.marks) for dent in panel.oversize]
    single += [set(dent_marks(index, dent, survey)) for index, dent in enumerate(panel.dents)]
    tally: Mapping[str, int] = panel.tally
    by_mark: dict[str, Mapping[str, int]] = {str(mark): n for mark, n in panel.marked.items()}
    if survey is not None and survey.sample is not None:
        tally = survey.sample.estimate.tally
        by_mark = {str(mark): n for mark, n in survey.sample.estimate.marked.items()}

    def count(mark: str) -> int:
        return sum(by_mark.get(mark, {}).values()) + sum(mark in marks for marks in single)

    stuck = sum(GLUE_ONLY in marks and not marks.isdisjoint(forbidden) for marks in single)
    for coin, number in tally.items():
        barred = max((by_mark.get(mark, {}).get(coin, 0) for mark in forbidden), default=0)
        stuck += max(0, by_mark.get(GLUE_ONLY, {}).get(coin, 0) + barred - number)
    return DentKinds(
        all=sum(tally.values()) + len(single),
        glue_only=count(GLUE_ONLY),
        sharp=count("sharp"),
        body_line=count("body-line"),
        stuck=stuck,
    )


def ruling(
    panel: Panel, kinds: DentKinds, temperature: Decimal | None, rules: AccessRules
) -> Ruling:
    """What the rules say of a panel with dents of these kinds at its temperature."""
    holds = [
        *_push_holds(kinds),
        *_glue_holds(panel, kinds, temperature, rules),
        *_replace_holds(panel),
    ]
    forbidding = [hold for hold in holds if hold.method == "glue" and hold.forbids]
    whole = [hold for hold in forbidding if hold.rule in ("glue-hot", "glue-repainted")]
    left = kinds.glue_only if whole else kinds.stuck
    # Heat passes; paint and sharp dents stay as they are.
    passes = [hold.rule for hold in whole] == ["glue-hot"]
    reasons = [hold.words for hold in whole or forbidding]
    if whole and kinds.stuck:
        reasons.append(f"{kinds.stuck} of them sharp or on a body line besides")
    return Ruling(
        holds=tuple(holds),
        left=left,
        cooling=left - kinds.stuck if passes else 0,
        left_words="; ".join(reasons) if left else "",
    )


def _push_holds(kinds: DentKinds) -> list[Hold]:
    if kinds.all == 0 or kinds.glue_only < kinds.all:
        return []
    words = (
        "its only dent is glue-only" if kinds.all == 1 else f"all {kinds.all} dents are glue-only"
    )
    return [Hold("push", "glue-only", True, words)]


def _glue_holds(
    panel: Panel, kinds: DentKinds, temperature: Decimal | None, rules: AccessRules
) -> list[Hold]:
    limit = Fraction(rules.glue_limit_c)
    hot = temperature is not None and Fraction(temperature) > limit
    warm = "" if temperature is None else plain(temperature)
    found: tuple[tuple[bool, RuleName, str, str], ...] = (
        (
            hot,
            "glue-hot",
            rules.glue_hot,
            f"{warm} °C, hotter than the {plain(Decimal(rules.glue_limit_c))} °C up to which "
            "glue holds",
        ),
        (
            panel.repainted,
            "glue-repainted",
            rules.glue_repainted,
            "repainted, and a pull can lift the paint",
        ),
        (kinds.sharp > 0, "glue-sharp", rules.glue_sharp, dents(kinds.sharp, "sharp")),
        (
            kinds.body_line > 0,
            "glue-body-line",
            rules.glue_body_line,
            f"{dents(kinds.body_line)} on a body line",
        ),
    )
    return [
        Hold("glue", name, force == "forbid", words)
        for holds, name, force, words in found
        if holds and force != "allow"
    ]


def _replace_holds(panel: Panel) -> list[Hold]:
    if panel.agreed is not None:
        return [Hold("replace", "agreed-price", True, "a price for its repair is agreed")]
    if panel.replace_cost is None:
        return [Hold("replace", "replace-price", True, "no price of a replacement")]
    return []


def no_method_words(found: Ruling) -> str:
    """Why a panel cannot be reached at all, method by method."""
    each = []
    for method in METHODS:
        reasons = [hold.words for hold in found.holds if hold.method == method and hold.forbids]
        each.append(f"{method}: {', '.join(reasons)}")
    return "no method: " + "; ".join(each)
