"""Killed at any moment, no acknowledged write is missing and no half write shows."""

from __future__ import annotations

import random
import re
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.store import claims as stored
from api.store.audit import audit
from api.store.claims import Wanted
from api.store.opening import open_store
from tests.api.conftest import bearer
from tests.api.storehouse import PLAIN, two_panels
from tests.api.test_serving import posix, served, token_in
from tests.builders import ROOT
from tests.databases import KINDS, new_database
from tests.effort import SOAK

SEED = 8423
KILLS = 100 if not SOAK else 3_000


@pytest.mark.parametrize("kind", KINDS)
def test_a_writer_killed_a_hundred_times_loses_nothing(
    request: pytest.FixtureRequest, tmp_path: Path, kind: str
) -> None:
    url = "-"
    if kind == "postgresql":
        url = new_database(request.getfixturevalue("postgres_server"))
    words = [str(tmp_path / "data"), url, str(SEED), str(KILLS)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.store.storm", *words],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    told = re.fullmatch(r"(\d+) killed, (\d+) writes acknowledged, 0 lost\n", done.stdout)
    assert told is not None, done.stdout
    assert int(told[1]) == KILLS
    assert int(told[2]) > 2 * KILLS


SERVERS = 3 if not SOAK else 60


class Shop(threading.Thread):
    """Somebody who opens claims and saves their drafts until the server is gone."""

    def __init__(
        self, base: str, secret: str, name: str, enough: threading.Barrier, writes: int
    ) -> None:
        super().__init__()
        self.client = httpx.Client(base_url=base, headers=bearer(secret), timeout=60)
        self.who, self.enough, self.writes = name, enough, writes
        self.sent: list[str] = []
        self.answered: dict[str, dict[str, Any]] = {}

    def run(self) -> None:
        """Send and note; what was sent last may never be answered."""
        with self.client, suppress(httpx.TransportError):
            for number in count(1):
                self.sent.append(f"{self.who}-{number}")
                answer = opened_once(self.client, self.sent[-1])
                self.answered[self.sent[-1]] = answer
                saved = self.client.put(
                    f"/v1/claims/{answer['id']}/draft",
                    json=two_panels(number=self.sent[-1], insurer="Marram Mutual"),
                    headers=PLAIN,
                )
                self.answered[self.sent[-1]] = saved.raise_for_status().json()
                if number == self.writes:
                    self.enough.wait(60)


def opened_once(client: httpx.Client, number: str) -> dict[str, Any]:
    """A claim opened under a key of its own, so that asking again opens no other."""
    file, key = two_panels(number=number), {"Idempotency-Key": f"open-{number}"}
    answer = client.post("/v1/claims", json=file, headers=key).raise_for_status()
    found: dict[str, Any] = answer.json()
    return found


@posix
@pytest.mark.parametrize("kind", KINDS)
def test_a_server_killed_while_it_answers_loses_nothing_and_repeats_nothing(
    request: pytest.FixtureRequest, matrices: Path, tmp_path: Path, kind: str
) -> None:
    """What was answered is there; what was not is sent again with its key, and is there once."""
    url, settings = None, dict[str, str]()
    if kind == "postgresql":
        url = new_database(request.getfixturevalue("postgres_server"))
        settings = {"HAILCALC_DATABASE_URL": url}
    store = open_store(tmp_path / "data", url)
    _, secret = token_in(store)
    print(f"seed {SEED}")
    chance = random.Random(SEED)
    sent: list[str] = []
    answered: dict[str, dict[str, Any]] = {}
    for life in range(SERVERS):
        with served(tmp_path, matrices, **settings) as server:
            with httpx.Client(base_url=server.base, headers=bearer(secret), timeout=60) as client:
                for number in sent:
                    claim = opened_once(client, number)
                    assert claim["id"] == answered.get(number, claim)["id"]
            enough = threading.Barrier(3)
            shops = [
                Shop(server.base, secret, f"{life}-{name}", enough, chance.randint(1, 6))
                for name in "ab"
            ]
            for shop in shops:
                shop.start()
            enough.wait(60)
            server.end(signal.SIGKILL)
            for shop in shops:
                shop.join()
                sent += shop.sent
                answered |= shop.answered
    with store.reading() as connection:
        heads = {head.number: head for head in stored.listed(connection, Wanted(), None, 10_000)}
        assert len(stored.all_ids(connection)) == len(heads)
    for number, claim in answered.items():
        assert heads[number].id == claim["id"]
        assert heads[number].version >= claim["version"]
    assert len(answered) >= 2 * SERVERS
    assert heads.keys() <= set(sent)
    assert audit(store).findings == ()
    store.close()
