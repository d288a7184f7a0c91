"""Texts that must say something: blanks alone are none."""

from __future__ import annotations

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError


def saying(what: str) -> AfterValidator:
    """Refuses a text of blanks alone; `what` is expected of it, in the words of an error."""

    def check(text: str) -> str:
        if text.strip():
            return text
        raise PydanticCustomError("expected", "{what}", {"what": what})

    return AfterValidator(check)
