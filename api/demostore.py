"""The invented storm's claims in a store: every state of a claim's life, to be looked at.

One claim has two supplements and the adjuster's answers, one is agreed, one withdrawn, one still
a draft; the others are issued. The story is told by `demo/life/story.json`. Everything goes the
way that the API goes.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from api.demopictures import drawn
from api.issuing import freeze, made, waiting
from api.library import Library
from api.problems import Refusal
from api.store import claims as stored
from api.store import tokens
from api.store.answers import add_agreement, add_answers
from api.store.claims import Head
from api.store.photographs import add, write_files
from api.store.session import Store
from hailcalc.claim.answers import LineAnswer, read_answers
from hailcalc.claim.life import Side
from hailcalc.claimfile import ClaimFile, claim_from_data, require_claim
from hailcalc.files import read_text, shipped
from hailcalc.photographs import examine
from hailcalc.problems import InputError, Problem
from hailcalc.reading import load_json

WHO = "command-line"
_LINK_DAYS = 365


def fill(store: Store, matrices: Path) -> int:
    """Keep every demo claim in an empty store; returns how many. Raises InputError."""
    with store.reading() as connection:
        if stored.all_ids(connection):
            found = "a store with claims in it"
            raise InputError([Problem(str(store.folder.parent), (), found, "an empty one")])
    story = _json("life", "story")
    library = Library(matrices).fresh()
    paths = sorted(shipped("demo", "claims").glob("*.json"))
    for number, path in enumerate(paths, 1):
        _live(store, library, story, path.stem)
        print(f"{number} of {len(paths)}: {path.stem}", file=sys.stderr)
    return len(paths)


def _json(*names: str) -> Any:
    path = shipped("demo", *names[:-1], f"{names[-1]}.json")
    return load_json(read_text(path), str(path))


def _claim_file(*names: str) -> ClaimFile:
    return require_claim(claim_from_data(_json(*names), names[-1]))


def _live(store: Store, library: Library, story: Mapping[str, Any], name: str) -> None:
    """One claim, as far as its story goes."""
    file = _claim_file("claims", name)
    storm = story["storms"][file.claim.date_of_loss.isoformat()]
    with store.writing(WHO) as writing:
        head = stored.open_claim(writing, file, storm)
    if name == story["claim"]:
        _photograph(store, head, story["photographs"])
    if name == story["draft"]:
        return
    head = _issue(store, library, head, "")
    if name == story["claim"]:
        _argue(store, library, head, story)
    elif name == story["agreed"]:
        _agree(store, head, story)
    elif name == story["withdrawn"]:
        with store.writing(WHO) as writing:
            stored.withdraw(writing, head, story["why_withdrawn"])


def _photograph(store: Store, head: Head, wanted: Sequence[Mapping[str, Any]]) -> None:
    """Drawn photographs of the claim, on the way that those of a camera go."""
    for number, each in enumerate(wanted, 1):
        picture = examine(drawn(each["dents"], number, each["taken"]), each["panel"])
        write_files(store, picture)
        with store.writing(WHO) as writing:
            add(writing, store, head.id, picture, each["panel"], each["note"])


def _issue(store: Store, library: Library, head: Head, reason: str) -> Head:
    with store.reading() as connection:
        waits = waiting(connection, head)
    try:
        issued = made(waits, library, store, None, paper="letter", labels="us", reason=reason)
    except Refusal as refusal:
        problems = [
            Problem(each.file or head.number, (each.pointer,), each.found, each.expected)
            for each in refusal.mistakes
        ]
        raise InputError(problems) from None
    with store.writing(WHO) as writing:
        return freeze(writing, waits, issued)


def _adjuster(store: Store, head: Head, story: Mapping[str, Any]) -> str:
    """The token of the adjuster whom a link was given."""
    until = datetime.now(UTC) + timedelta(days=_LINK_DAYS)
    with store.writing(WHO) as writing:
        return tokens.add(writing, "adjuster", story["adjuster"], until, claim=head.id)[0].id


def _argue(store: Store, library: Library, head: Head, story: Mapping[str, Any]) -> None:
    """Answers and supplements by turns."""
    adjuster = _adjuster(store, head, story)
    for step in story["steps"]:
        if "supplement" in step:
            _photograph(store, head, step.get("photographs", ()))
            file = _claim_file("life", step["supplement"])
            with store.writing(WHO) as writing:
                head = stored.save_draft(writing, head, file, head.storm)
            head = _issue(store, library, head, step["reason"])
        else:
            answer = read_answers(_json("life", step["answer"]), step["answer"])
            with store.writing(adjuster) as writing:
                add_answers(writing, head.id, answer.revision, answer.answers)
                head = stored.refresh(writing, head.id)


def _agree(store: Store, head: Head, story: Mapping[str, Any]) -> None:
    """Every line accepted, and both sides' word."""
    adjuster = _adjuster(store, head, story)
    with store.writing(adjuster) as writing:
        stands = stored.standing_of(writing.connection, head.id, head.revision)
        assert stands is not None, "an issued claim stands somehow"
        lines = [LineAnswer(line=each.number, answer="accept") for each in stands.lines]
        add_answers(writing, head.id, head.revision, lines)
        stored.refresh(writing, head.id)
    sides: tuple[tuple[Side, str], ...] = (("shop", WHO), ("adjuster", adjuster))
    for side, who in sides:
        with store.writing(who) as writing:
            settled = stored.settlement_of(writing.connection, head.id, head.revision)
            assert settled is not None, "every line is answered"
            add_agreement(writing, head.id, head.revision, side, settled["settlement"])
            stored.refresh(writing, head.id)
