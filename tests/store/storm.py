"""A process that writes claims until it is killed, again and again, and what is left then.

Run as `python -m tests.store.storm FOLDER URL SEED KILLS`, URL "-" for SQLite. A child opens the
store and writes: claims opened, issued, answered, agreed to, each in a transaction of its own, and
after each commit says so down a pipe. At a chance moment it is killed outright (SIGKILL); the
store is opened anew, and every write that was acknowledged must be there, whole.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
from pathlib import Path

from api.issuing import Waiting, freeze, made, waiting
from api.library import Library
from api.store import claims as stored
from api.store.answers import add_agreement, add_answers
from api.store.audit import audit
from api.store.claims import Issue
from api.store.opening import open_store
from api.store.session import Store
from hailcalc.claim.answers import LineAnswer
from hailcalc.claimfile import ClaimFile, claim_from_data, require_claim
from tests.builders import ROOT

WHO = "storm-writer"
MOST = 6
"""A child is killed after so many writes at most, or the next."""

LONGEST_S = 0.03
"""How long it may be silent before that."""


def claim_file() -> ClaimFile:
    """A small claim of the shipped matrices."""
    data = {
        "claim": {"number": "K-1", "date_of_loss": "2026-05-19"},
        "vehicle": {"body": "sedan"},
        "matrix": "copperfin-2026",
        "panels": [{"panel": "hood", "tally": {"dime": 4}}],
    }
    return require_claim(claim_from_data(data))


def written(store: Store, file: ClaimFile, issue: Issue | None, said: int) -> None:
    """Write without end, and say each write that has been committed."""
    while True:
        with store.writing(WHO) as writing:
            head = stored.open_claim(writing, file, None)
        os.write(said, f"claim {head.id} 1\n".encode())
        with store.reading() as connection:
            waits: Waiting = waiting(connection, head)
        assert issue is not None
        with store.writing(WHO) as writing:
            head = freeze(writing, waits, issue)
        os.write(said, f"revision {head.id} 1\n".encode())
        for line in (1, 2):
            with store.writing(WHO) as writing:
                add_answers(writing, head.id, 1, [LineAnswer(line=line, answer="accept")])
                head = stored.refresh(writing, head.id)
            os.write(said, f"answer {head.id} {line}\n".encode())
        with store.writing(WHO) as writing:
            add_agreement(writing, head.id, 1, "shop", "ab" * 32)
            stored.refresh(writing, head.id)
        os.write(said, f"agreement {head.id} 1\n".encode())


def one_life(folder: Path, url: str | None, issue: Issue, writes: int, moment: float) -> list[str]:
    """A child that writes until it is killed; returns what it said it had written.

    It is killed once it has said so many writes and then nothing more for `moment`, or one more:
    while it opens the store, between two writes or within one.
    """
    heard, said = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(heard)
            written(open_store(folder, url), claim_file(), issue, said)
        finally:
            os._exit(1)
    os.close(said)
    text = b""
    while text.count(b"\n") < writes:
        more = os.read(heard, 65_536)
        assert more, "the child ended by itself"
        text += more
    select.select([heard], [], [], moment)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the child ended by itself"
    while more := os.read(heard, 65_536):
        text += more
    os.close(heard)
    return [line for line in text.decode().split("\n")[:-1] if line]


def missing(store: Store, acknowledged: list[str]) -> list[str]:
    """Acknowledged writes that are not there, and heads that say something else than their rows."""
    lost: list[str] = []
    with store.reading() as connection:
        for line in acknowledged:
            kind, claim, number = line.split()
            head = stored.head_of(connection, claim)
            stands = None if head is None else stored.standing_of(connection, claim, 1)
            there = {
                "claim": head is not None,
                "revision": stands is not None,
                "answer": stands is not None and stands.lines_answered >= int(number),
                "agreement": head is not None and head.version >= 5,
            }[kind]
            if not there:
                lost.append(line)
            elif head is not None:
                found = stored.worked_out(connection, claim)
                lost += [
                    f"{claim} {name}"
                    for name, value in found.items()
                    if getattr(head, name) != value
                ]
    return lost


def main(folder: Path, url: str | None, seed: int, kills: int) -> int:
    """Kill so many writers; prints what was acknowledged and what was lost."""
    chance = random.Random(seed)
    first = open_store(folder, url)
    with first.writing(WHO) as writing:
        head = stored.open_claim(writing, claim_file(), None)
    with first.reading() as connection:
        waits = waiting(connection, head)
    library = Library(ROOT / "matrices").fresh()
    issue = made(waits, library, first, None, paper="letter", labels="us", reason="")
    first.close()
    acknowledged: list[str] = []
    lost: list[str] = []
    for number in range(1, kills + 1):
        writes, moment = chance.randint(0, MOST), chance.uniform(0, LONGEST_S)
        said = one_life(folder, url, issue, writes, moment)
        acknowledged += said
        store = open_store(folder, url)
        lost += missing(store, said)
        if number % 50 == 0 or number == kills:
            lost += missing(store, acknowledged)
            lost += map(str, audit(store).findings)
        store.close()
    print(f"{kills} killed, {len(acknowledged)} writes acknowledged, {len(lost)} lost")
    for line in lost[:20]:
        print(line)
    return 1 if lost else 0


if __name__ == "__main__":
    _, given_folder, given_url, given_seed, given_kills = sys.argv
    address = None if given_url == "-" else given_url
    sys.exit(main(Path(given_folder), address, int(given_seed), int(given_kills)))
