"""Names of claims, tokens and links: twelve characters that can be read out over the telephone."""

from __future__ import annotations

import secrets

_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
"""No 0, 1, i, l, o."""

LENGTH = 12
PATTERN = f"^[{_LETTERS}]{{{LENGTH}}}$"


def new_id() -> str:
    """A new name; 31^12 of them (about 59 bits), so two are never the same by chance."""
    return "".join(secrets.choice(_LETTERS) for _ in range(LENGTH))
