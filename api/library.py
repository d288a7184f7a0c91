"""The matrices of a folder, read and compiled, as they stand on disk.

A library is frozen; `fresh` looks at the folder again and reads only files whose time or
size has changed, so that a matrix edited on disk is priced with from the next request on.
Names are looked up among the files found, never put together to a path.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from hailcalc.estimate import CompiledMatrix, compile_matrix
from hailcalc.files import matrix_files, read_matrix_file
from hailcalc.problems import Problem

Stamp = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Entry:
    """One matrix file: compiled, or with its problems. `name` is the file's without .toml."""

    name: str
    stamp: Stamp
    compiled: CompiledMatrix | None
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Library:
    """All matrix files of a folder by name."""

    folder: Path
    entries: Mapping[str, Entry] = field(default_factory=dict)

    def fresh(self) -> Library:
        """The library as the folder is now; itself if nothing has changed."""
        entries: dict[str, Entry] = {}
        for path in matrix_files(self.folder):
            stamp = _stamp(path)
            if stamp is None:
                continue
            known = self.entries.get(path.stem)
            same = known is not None and known.stamp == stamp
            entries[path.stem] = known if known is not None and same else _read(path, stamp)
        return self if entries == self.entries else Library(self.folder, entries)

    @property
    def sound(self) -> list[CompiledMatrix]:
        """The matrices that can be priced with."""
        found = (entry.compiled for entry in self.entries.values())
        return [compiled for compiled in found if compiled is not None]

    @property
    def broken(self) -> list[Problem]:
        """Every problem of every file."""
        return [problem for entry in self.entries.values() for problem in entry.problems]

    @property
    def names(self) -> str:
        """The names for a message."""
        return ", ".join(self.entries) or "no matrix at all"


def _stamp(path: Path) -> Stamp | None:
    """What changes when a file is edited or replaced; None if it has just gone."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino


def _read(path: Path, stamp: Stamp) -> Entry:
    reading = read_matrix_file(path)
    compiled = None if reading.matrix is None else compile_matrix(reading.matrix)
    return Entry(path.stem, stamp, compiled, reading.problems)
