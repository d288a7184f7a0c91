"""What the command line reads and prints about tokens: who may come in, as what, until when.

Times are UTC in ISO 8601, as the store keeps them; they are printed by the minute. What a token
opens with is printed once by whoever makes it, and stands in no list.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Protocol

from hailcalc.columns import columns_text
from hailcalc.fields import FileModel, Title
from hailcalc.problems import InputError, Problem, printable
from hailcalc.reading import check


class Token(Protocol):
    """What is known of a token."""

    @property
    def id(self) -> str:
        """What it is called."""

    @property
    def role(self) -> str:
        """Whose it is."""

    @property
    def scopes(self) -> Sequence[str]:
        """What it allows."""

    @property
    def claim(self) -> str | None:
        """The only claim that it opens; None for one of the shop."""

    @property
    def name(self) -> str:
        """Who has it."""

    @property
    def created(self) -> str:
        """When it was made."""

    @property
    def until(self) -> str:
        """When it ends."""

    @property
    def revoked(self) -> str | None:
        """When it was revoked."""


class _Named(FileModel):
    name: Title


def require_token(name: str, role: str, scopes: Iterable[str], allowed: Collection[str]) -> None:
    """Raise InputError unless the name is one line of text and the scopes are among the role's."""
    _, found = check(_Named, {"name": name}, "token")
    problems = list(found)
    problems += [
        Problem("token", ("scope",), f'"{scope}" for an {role}', f"one of {', '.join(allowed)}")
        for scope in scopes
        if scope not in allowed
    ]
    if problems:
        raise InputError(problems)


def tokens_text(tokens: Iterable[Token], now: str) -> str:
    """A list of tokens and whether each opens anything now, a row each; links name their claim."""
    rows = [("id", "role", "allows", "claim", "made", "until", "now", "name")]
    rows += [
        (
            token.id,
            token.role,
            ",".join(token.scopes),
            token.claim or "any",
            _minute(token.created),
            _minute(token.until),
            _standing(token, now),
            printable(token.name),
        )
        for token in tokens
    ]
    return columns_text(rows) if len(rows) > 1 else ""


def token_note(token: Token) -> str:
    """What to know about a token that was just made."""
    return (
        f"token {token.id} of an {token.role}, {printable(token.name)}; allows "
        f"{', '.join(token.scopes)}; until {_minute(token.until)}. "
        "It is shown this once: only its hash is kept."
    )


def _standing(token: Token, now: str) -> str:
    if token.revoked is not None:
        return "revoked"
    return "in force" if token.until > now else "ended"


def _minute(moment: str) -> str:
    """2026-05-21T14:03:05.120000Z by the minute: 2026-05-21T14:03Z."""
    return f"{moment[:16]}Z"
