"""Killed at any moment, no acknowledged write is missing and no half write shows."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.builders import ROOT
from tests.databases import KINDS, new_database
from tests.effort import SOAK

KILLS = 100 if not SOAK else 3_000


@pytest.mark.parametrize("kind", KINDS)
def test_a_writer_killed_a_hundred_times_loses_nothing(
    request: pytest.FixtureRequest, tmp_path: Path, kind: str
) -> None:
    url = "-"
    if kind == "postgresql":
        url = new_database(request.getfixturevalue("postgres_server"))
    words = [str(tmp_path / "data"), url, "8423", str(KILLS)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.store.storm", *words],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    told = re.fullmatch(r"(\d+) killed, (\d+) writes acknowledged, 0 lost\n", done.stdout)
    assert told is not None, done.stdout
    assert int(told[1]) == KILLS
    assert int(told[2]) > KILLS
