"""The shop's storms as they stand on disk, priced and compared.

A folder of storms' folders, each with its storm.toml and its book. Pricing one takes tenths of a
second, so what was last worked out is kept: a storm is priced again when a file of its folder or a
matrix has another time or size, and comparisons are kept until any storm changes. At most
`MAX_STORMS` storms are read and `MAX_COMPARISONS` comparisons kept.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from hailcalc.files import matrix_files
from hailcalc.problems import InputError, Problem

if TYPE_CHECKING:
    from hailcalc.storm.compare import Measure
    from hailcalc.storm.economics import StormFigures

MAX_STORMS = 60
"""Storms of a folder that are read; a book may be of megabytes, and each is priced."""

MAX_COMPARISONS = 24
"""Comparisons that are kept, by measure and rates; the oldest makes room for another."""

Rates = tuple[tuple[str, Fraction], ...]
"""What one unit of other currencies is worth in that of the first storm, by code."""

Stamps = tuple[tuple[str, int, int, int], ...]


class StormEntry(NamedTuple):
    """A storm's folder: its figures, or what is wrong with it. `name` is the folder's."""

    name: str
    stamps: Stamps
    figures: StormFigures | None
    problems: tuple[Problem, ...]


class Compared(NamedTuple):
    """A comparison on its way out: its JSON text, and its charts by file name.

    `narrow` are the same charts for the screen of a phone.
    """

    text: str
    charts: Mapping[str, bytes]
    narrow: Mapping[str, bytes]


class StormShelf:
    """The storms of a folder, priced under the matrices of another.

    Whoever asks at the same time waits, so that nothing is worked out twice.
    """

    def __init__(self, folder: Path, matrices: Path) -> None:
        self._folder = folder
        self._matrices = matrices
        self._lock = threading.Lock()
        self._entries: tuple[StormEntry, ...] = ()
        self._compared: dict[tuple[Measure, Rates], Compared] = {}

    def entries(self) -> tuple[StormEntry, ...]:
        """Every storm of the folder by name, as its files are now."""
        with self._lock:
            return self._fresh()

    def comparison(self, by: Measure, rates: Mapping[str, Fraction]) -> Compared:
        """The storms that can be read, compared by a measure in the currency of the first.

        Raises InputError if there is none, or if they cannot be compared.
        """
        key = by, tuple(sorted(rates.items()))
        with self._lock:
            entries = self._fresh()
            if key not in self._compared:
                found = _compared(entries, by, rates)
                if len(self._compared) >= MAX_COMPARISONS:
                    del self._compared[next(iter(self._compared))]
                self._compared[key] = found
            return self._compared[key]

    def _fresh(self) -> tuple[StormEntry, ...]:
        """The entries as the files are now; comparisons of others are dropped."""
        known = {entry.name: entry for entry in self._entries}
        matrices = _stamps(matrix_files(self._matrices))
        entries = []
        for at, file in enumerate(sorted(self._folder.glob("*/storm.toml"))):
            # Taken before reading: what changes meanwhile is read again the next time.
            stamps = (*_stamps(_files_in(file.parent)), *matrices)
            name = file.parent.name
            if at >= MAX_STORMS:
                entries.append(_one_too_many(name))
            elif name in known and known[name].stamps == stamps:
                entries.append(known[name])
            else:
                entries.append(_read(file.parent, stamps, self._matrices))
        found = tuple(entries)
        if [entry.stamps for entry in found] != [entry.stamps for entry in self._entries]:
            self._compared = {}
        self._entries = found
        return found


def _files_in(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:
        return []  # gone or closed to us, which reading it will say


def _stamps(files: Iterable[Path]) -> Stamps:
    """What changes when one of some files is edited or replaced."""
    found = []
    for path in sorted(files):
        try:
            status = path.stat()
        except OSError:
            continue  # it has just gone
        found.append((str(path), status.st_mtime_ns, status.st_size, status.st_ino))
    return tuple(found)


def _one_too_many(name: str) -> StormEntry:
    problem = Problem(name, (), "one storm too many", f"at most {MAX_STORMS} in the folder")
    return StormEntry(name, (), None, (problem,))


def _read(folder: Path, stamps: Stamps, matrices: Path) -> StormEntry:
    from hailcalc.storm.folder import figures_of, open_storm, priced_book

    try:
        opened = open_storm(folder)
        figures = figures_of(opened, priced_book(opened, matrices=matrices))
    except InputError as error:
        return StormEntry(folder.name, stamps, None, error.problems)
    return StormEntry(folder.name, stamps, figures, ())


def _compared(
    entries: Iterable[StormEntry], by: Measure, rates: Mapping[str, Fraction]
) -> Compared:
    from hailcalc.storm.charts import PHONE_WIDTH, svg_files
    from hailcalc.storm.compare import compare
    from hailcalc.storm.report import comparison_json, json_text

    sound = [entry.figures for entry in entries if entry.figures is not None]
    if not sound:
        raise InputError([Problem("storms", (), "no storm that can be read", "one at least")])
    comparison = compare(sound, by, rates=rates)
    return Compared(
        json_text(comparison_json(comparison)),
        svg_files(comparison),
        svg_files(comparison, PHONE_WIDTH),
    )
