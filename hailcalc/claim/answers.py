"""What the adjuster answers to an issued sheet, and how its money stands after that.

A sheet is read here as the JSON that was issued, never priced anew, so that a later version
reads it alike. Its lines are numbered from 1, as printed; amounts in minor units, with as many
decimals as the sheet prints. An answer accepts a line, offers another amount for it or declines
it; the latest answer to a line counts. Of every line some money is agreed, some open and some
disputed, and the three add up to what is printed. A tax line that nobody answered follows the
lines that it is on; a line without a price stays open until a supplement prices it.

An offer for a charge lies between nothing and the charge: who finds more damage than was charged
asks for a supplement, whose figures explain the larger sum. A discount may be offered smaller or
larger than it is printed, since part of what it is on may be declined; it stays a discount.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field

from hailcalc.fields import FileModel, Note, Signed
from hailcalc.lines import LABOUR, PARTS, SUBLET
from hailcalc.money import decimals_of, minor_units, money_text, rounded
from hailcalc.problems import InputError, Place, Problem, shown
from hailcalc.reading import check, sound_parts
from hailcalc.sheet.document import digest

Sheet = Mapping[str, Any]
"""An issued sheet's JSON document."""

AnswerKind = Literal["accept", "amount", "decline"]
LineNumber = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]

_TAXED = {
    "Tax on labour": ("labour", LABOUR),
    "Tax on parts": ("parts", PARTS),
    "Tax on sublet": ("sublet", SUBLET),
}
"""Label of a tax line, its rate's key in the matrix, and the kinds of line that it is on."""


class LineAnswer(FileModel):
    """The answer to one line; an `amount` is a decimal string, as on the sheet."""

    line: Annotated[LineNumber, Field(description="Number of the line, as printed, from 1.")]
    answer: AnswerKind
    amount: Signed | None = None
    reason: Note = ""


class AnswerFile(FileModel):
    """Answers to some or all lines of one revision; `others` accepts those that are still open."""

    revision: Annotated[int, Field(strict=True, ge=1, le=1_000_000)]
    answers: Annotated[tuple[LineAnswer, ...], Field(max_length=1000)] = ()
    others: Annotated[
        Literal["accept"] | None, Field(description="What is said of every other open line.")
    ] = None


class Given(NamedTuple):
    """An answer as it was kept: in which part, when (ISO 8601) and by whom.

    `carried_from` is the revision before, if it was given to that one and the line stayed.
    """

    part: int
    answer: LineAnswer
    at: str
    by: str
    carried_from: int | None


class LineStanding(NamedTuple):
    """How one printed line stands; `follows` is a tax line that goes by the lines it is on.

    `amount` is None on a line without a price, of which nothing is agreed, open or disputed.
    """

    number: int
    line: Mapping[str, Any]
    amount: int | None
    agreed: int
    open: int
    disputed: int
    answer: Given | None
    follows: bool

    @property
    def waits(self) -> bool:
        """Whether the line still needs an answer, or a price."""
        return self.answer is None and not self.follows


class Standing(NamedTuple):
    """How a sheet stands: agreed + open + disputed = total, in minor units.

    `net_agreed` is what is agreed less the deductible, never below zero. Tax lines that follow
    others count neither as answered nor as open.
    """

    currency: str
    decimals: int
    agreed: int
    open: int
    disputed: int
    total: int
    deductible: int
    net_agreed: int
    lines_answered: int
    lines_open: int
    complete: bool
    lines: tuple[LineStanding, ...]


# --- reading ----------------------------------------------------------------------------------


def read_answers(data: Any, file: str = "answers") -> AnswerFile:
    """Answers from parsed JSON. Raises InputError with every mistake seen without the sheet."""
    answers, problems = check(AnswerFile, data, file)
    if answers is not None:
        sound = list(enumerate(answers.answers))
    else:
        lean_on = {"answer": {"amount", "reason"}}
        sound = sound_parts(AnswerFile, data, problems, lean_on).get("answers", [])
    for position, answer in sound:
        problems += _form_problems(answer, ("answers", position), file)
    if answers is not None and not answers.answers and answers.others is None:
        problems.append(Problem(file, ("answers",), "no answer", "answers, or others: accept"))
    if answers is None or problems:
        raise InputError(problems)
    return answers


def _form_problems(answer: LineAnswer, where: Place, file: str) -> Iterator[Problem]:
    """An offer has an amount, nothing else has; whatever is not accepted has a reason."""
    place = (*where, "amount")
    if answer.answer == "amount" and answer.amount is None:
        yield Problem(file, place, "nothing", "the amount that is offered for the line")
    if answer.answer != "amount" and answer.amount is not None:
        yield Problem(file, place, shown(answer.amount), f'no amount beside "{answer.answer}"')
    if answer.answer != "accept" and not answer.reason.strip():
        what = "another amount is offered" if answer.answer == "amount" else "the line is declined"
        yield Problem(file, (*where, "reason"), "no reason", f"why {what}")


def with_others(answers: AnswerFile, found: Standing) -> tuple[LineAnswer, ...]:
    """The answers, and acceptance of every other line that has a price and waits, if so asked."""
    if answers.others is None:
        return answers.answers
    given = {answer.line for answer in answers.answers}
    others = (
        LineAnswer(line=line.number, answer="accept")
        for line in found.lines
        if line.waits and line.amount is not None and line.number not in given
    )
    return (*answers.answers, *others)


def answer_problems(answers: AnswerFile, sheet: Sheet, file: str = "answers") -> Iterator[Problem]:
    """What is wrong with answers to this sheet; they are well formed (`read_answers`)."""
    first: dict[int, int] = {}
    charges = _charges(sheet)
    for position, answer in enumerate(answers.answers):
        where: Place = ("answers", position)
        if answer.line in first:
            found = f"line {answer.line} again, as in answers[{first[answer.line]}]"
            yield Problem(file, (*where, "line"), found, "each line once")
        first.setdefault(answer.line, position)
        yield from _line_problems(answer, sheet, charges, where, file)


def _line_problems(
    answer: LineAnswer, sheet: Sheet, charges: int, where: Place, file: str
) -> Iterator[Problem]:
    lines = sheet["lines"]
    if answer.line > len(lines):
        expected = f"a line of the sheet, 1 to {len(lines)}" if lines else "no answer: no line"
        yield Problem(file, (*where, "line"), f"line {answer.line}", expected)
        return
    printed = lines[answer.line - 1]["amount"]
    if printed is None:
        found = f"line {answer.line}, which has no price"
        yield Problem(file, (*where, "line"), found, "a line with a price; a supplement prices it")
    elif answer.amount is not None:
        place = (*where, "amount")
        decimals = _decimals(sheet)
        try:
            offer = minor_units(answer.amount, decimals)
        except ValueError:
            expected = f"at most {decimals} decimals, as the sheet has"
            yield Problem(file, place, shown(answer.amount), expected)
            return
        wanted = _instead_of(offer, minor_units(printed, decimals), charges, decimals)
        if wanted is not None:
            yield Problem(file, place, f"{shown(answer.amount)} for {printed}", wanted)


def _instead_of(offer: int, printed: int, charges: int, decimals: int) -> str | None:
    """What is expected in place of an offer that cannot be made for what is printed."""
    if offer == printed:
        return 'the answer "accept"'
    if offer == 0:
        return 'the answer "decline"'
    if printed == 0:
        return 'the answer "accept" or "decline"; a supplement charges more'
    if printed > 0:
        fits = 0 < offer < printed
        more = (
            f"more than 0 and less than {money_text(printed, decimals)}; a supplement charges more"
        )
        return None if fits else more
    most = max(charges, -printed)
    less = f"a discount: less than 0, and at least {money_text(-most, decimals)}"
    return None if -most <= offer < 0 else less


def _charges(sheet: Sheet) -> int:
    """What is charged before tax and discounts: no discount can be larger."""
    amounts = _amounts(sheet)
    kinds = [line["kind"] for line in sheet["lines"]]
    return sum(
        max(0, amount or 0) for amount, kind in zip(amounts, kinds, strict=True) if kind != "tax"
    )


def _decimals(sheet: Sheet) -> int:
    # As printed: a currency's decimals may be other ones by the time that the sheet is read.
    return decimals_of(sheet["totals"]["total"])


def _amounts(sheet: Sheet) -> list[int | None]:
    decimals = _decimals(sheet)
    printed = [line["amount"] for line in sheet["lines"]]
    return [None if text is None else minor_units(text, decimals) for text in printed]


# --- standing ---------------------------------------------------------------------------------


def effective(parts: Iterable[Given]) -> dict[int, Given]:
    """The answer that counts for each line that has one: that of the latest part."""
    return {given.answer.line: given for given in sorted(parts, key=lambda given: given.part)}


class _Share(NamedTuple):
    agreed: int
    open: int
    disputed: int


class _TaxOn(NamedTuple):
    """A tax line's rate as a fraction, and the numbers of the lines that it is on."""

    rate: Fraction
    base: tuple[int, ...]


def standing(sheet: Sheet, answers: Mapping[int, Given]) -> Standing:
    """How the sheet stands under the answers that count, by line number."""
    amounts = dict(enumerate(_amounts(sheet), 1))
    given = {
        number: answers.get(number) for number, amount in amounts.items() if amount is not None
    }
    taxes = {number: tax for number, tax in _taxes(sheet, amounts).items() if given[number] is None}
    decimals, totals = _decimals(sheet), sheet["totals"]
    shares = {
        number: _share(amount, given.get(number), decimals) for number, amount in amounts.items()
    }
    for number, tax in taxes.items():
        shares[number] = _tax_share(amounts[number] or 0, tax, shares)
    lines = tuple(
        LineStanding(
            number, line, amounts[number], *shares[number], given.get(number), number in taxes
        )
        for number, line in enumerate(sheet["lines"], 1)
    )
    agreed = sum(line.agreed for line in lines)
    deductible = minor_units(totals["deductible"], decimals)
    return Standing(
        currency=sheet["matrix"]["matrix"]["currency"],
        decimals=decimals,
        agreed=agreed,
        open=sum(line.open for line in lines),
        disputed=sum(line.disputed for line in lines),
        total=minor_units(totals["total"], decimals),
        deductible=deductible,
        net_agreed=max(0, agreed - deductible),
        lines_answered=sum(line.answer is not None for line in lines),
        lines_open=sum(line.waits for line in lines),
        complete=totals["complete"],
        lines=lines,
    )


def _share(amount: int | None, given: Given | None, decimals: int) -> _Share:
    """A line's money by its own answer."""
    if amount is None:
        return _Share(0, 0, 0)
    if given is None:
        return _Share(0, amount, 0)
    agreed = _agreed(given.answer, amount, decimals)
    return _Share(agreed, 0, amount - agreed)


def _agreed(answer: LineAnswer, amount: int, decimals: int) -> int:
    if answer.answer == "accept":
        return amount
    if answer.answer == "decline":
        return 0
    assert answer.amount is not None, "an offer has an amount"
    return minor_units(answer.amount, decimals)


def _taxes(sheet: Sheet, amounts: Mapping[int, int | None]) -> dict[int, _TaxOn]:
    """The tax lines that can follow others: those that are their rate on just these lines.

    Another tax line, perhaps of a sheet by another version, needs an answer of its own.
    """
    rates = sheet["matrix"].get("tax", {})
    taxes: dict[int, _TaxOn] = {}
    for number, line in enumerate(sheet["lines"], 1):
        if line["kind"] != "tax" or line["label"] not in _TAXED:
            continue
        key, kinds = _TAXED[line["label"]]
        base = tuple(
            position for position, each in enumerate(sheet["lines"], 1) if each["kind"] in kinds
        )
        tax = _TaxOn(Fraction(rates.get(key, "0")) / 100, base)
        if amounts[number] == rounded(tax.rate * sum(amounts[each] or 0 for each in base)):
            taxes[number] = tax
    return taxes


def _tax_share(amount: int, tax: _TaxOn, shares: Mapping[int, _Share]) -> _Share:
    """Tax on what is agreed; what it would be more if all that is open were agreed; the rest."""
    agreed_base = sum(shares[number].agreed for number in tax.base)
    open_base = sum(shares[number].open for number in tax.base)
    agreed = rounded(tax.rate * agreed_base)
    at_most = rounded(tax.rate * (agreed_base + open_base))
    return _Share(agreed, at_most - agreed, amount - at_most)


# --- settlement -------------------------------------------------------------------------------


def settlement(sheet: Sheet, revision: int, found: Standing) -> dict[str, Any] | None:
    """What both sides can agree to; None while a line is open or the sheet is incomplete.

    It is over money alone: another reason for the same amount is the same settlement, and so is
    the settlement of a claim whose texts were forgotten. What is disputed is not paid.
    """
    if found.lines_open or not found.complete:
        return None
    content: dict[str, Any] = {
        "revision": revision,
        "sheet": sheet["digest"],
        "lines": [
            {"line": line.number, "amount": money_text(line.agreed, found.decimals)}
            for line in found.lines
        ],
        "agreed": money_text(found.agreed, found.decimals),
        "disputed": money_text(found.disputed, found.decimals),
        "net": money_text(found.net_agreed, found.decimals),
    }
    return content | {"settlement": digest(content)}


def carried(old: Sheet, answers: Mapping[int, Given], new: Sheet) -> tuple[LineAnswer, ...]:
    """The answers to a sheet that hold for the next one, under the new numbers of their lines.

    A line stays if kind, panel, label, amount and formula do: the same sum from other figures is
    another line. Equal lines are taken in order, each once. A tax line's answer is carried only
    where it had one of its own. An answer that could not be given to the new sheet is left out.
    """
    if old["matrix"]["matrix"]["currency"] != new["matrix"]["matrix"]["currency"]:
        return ()
    numbers: dict[tuple[str | None, ...], list[int]] = {}
    for number, line in enumerate(old["lines"], 1):
        numbers.setdefault(_identity(line), []).append(number)
    kept: list[LineAnswer] = []
    charges = _charges(new)
    for number, line in enumerate(new["lines"], 1):
        waiting = numbers.get(_identity(line), [])
        given = answers.get(waiting.pop(0)) if waiting else None
        if given is not None:
            answer = given.answer.model_copy(update={"line": number})
            if not any(_line_problems(answer, new, charges, (), "")):
                kept.append(answer)
    return tuple(kept)


def _identity(line: Mapping[str, Any]) -> tuple[str | None, ...]:
    formula = line["because"].get("formula")
    return line["kind"], line["panel"], line["label"], line["amount"], formula


# --- as JSON ----------------------------------------------------------------------------------


def answers_json(found: Standing) -> dict[str, Any]:
    """How a sheet stands, as JSON: sums as decimal strings, and every line with its answer."""
    names = ("agreed", "open", "disputed", "total", "deductible", "net_agreed")
    sums = {name: money_text(getattr(found, name), found.decimals) for name in names}
    return {
        "currency": found.currency,
        **sums,
        "complete": found.complete,
        "lines_answered": found.lines_answered,
        "lines_open": found.lines_open,
        "lines": [_line_json(line, found.decimals) for line in found.lines],
    }


def _line_json(line: LineStanding, decimals: int) -> dict[str, Any]:
    names = ("agreed", "open", "disputed")
    sums = {name: money_text(getattr(line, name), decimals) for name in names}
    answer = None if line.answer is None else given_json(line.answer)
    return {
        "number": line.number,
        "line": dict(line.line),
        **sums,
        "answer": answer,
        "follows": line.follows,
    }


def given_json(given: Given) -> dict[str, Any]:
    """One kept answer as JSON: what, when, by whom, and the revision it was carried from."""
    return {
        "answer": given.answer.answer,
        "amount": given.answer.amount,
        "reason": given.answer.reason,
        "part": given.part,
        "at": given.at,
        "by": given.by,
        "carried_from": given.carried_from,
    }
