"""Mistakes in what somebody gave us, as records rather than sentences.

A `Problem` says where (file and place), what was found and what was expected.
Readers collect problems and go on reading, so that a file with ten mistakes
reports ten; only the outermost step raises `InputError`, carrying them all.
The command line prints them a line each, the API as a problem document.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

Place = tuple[str | int, ...]
"""Keys and positions from the top of a file down to a value: ("panels", 2, "tally", "dime")."""


_LONG_BITS = 1000
"""A longer whole number is described rather than written out."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake. `where` is empty when the file as a whole is meant."""

    file: str
    where: Place
    found: str
    expected: str

    @property
    def place(self) -> str:
        """The place as people write it: panels[2].tally.dime."""
        text = ""
        for key in self.where:
            if isinstance(key, int):
                text += f"[{key}]"
            else:
                text += f".{printable(key)}" if text else printable(key)
        return text

    @property
    def pointer(self) -> str:
        """The place as a JSON Pointer (RFC 6901): /panels/2/tally/dime."""
        return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in self.where)

    def __str__(self) -> str:
        head = ": ".join(part for part in (self.file, self.place) if part)
        return f"{head}: found {self.found}, expected {self.expected}"


class InputError(Exception):
    """What was given cannot be used; `problems` lists every reason found."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def printable(text: str) -> str:
    """`text` with everything that a terminal might obey written as an escape."""
    if text.isprintable():
        return text
    return "".join(
        char if char.isprintable() else char.encode("unicode_escape").decode("ascii")
        for char in text
    )


def shown(value: object, limit: int = 60) -> str:
    """`value` as it may stand in a message: quoted, on one line, cut at `limit` characters."""
    if isinstance(value, int) and value.bit_length() > _LONG_BITS:
        return f"a whole number of {value.bit_length():,} bits"
    text = printable(f'"{value}"' if isinstance(value, str) else str(value))
    return text if len(text) <= limit else f"{text[:limit]}… ({len(text):,} characters)"
