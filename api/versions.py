"""Which version of a claim a caller goes on from: ETag, If-Match and If-None-Match (RFC 9110).

A claim's entity tag is its version, which grows with every change. A change names the version that
it was made against; one that somebody else has changed since is refused with the present state.
"""

from __future__ import annotations

import re

from fastapi import Request

from api.problems import Refusal, at
from api.store.claims import Head
from hailcalc.problems import shown

_TAGS = re.compile(r'\s*(?:W/)?"[\x21\x23-\x7e]*"\s*(?:,\s*(?:W/)?"[\x21\x23-\x7e]*"\s*)*')
_TAG = re.compile(r'(?:W/)?"[\x21\x23-\x7e]*"')


def etag(head: Head) -> str:
    """The entity tag of a claim as it is."""
    return f'"{head.version}"'


def require_version(request: Request, head: Head, *, required: bool = True) -> None:
    """Raise Refusal unless If-Match names the claim as it is (412), or anything at all (428)."""
    given = ", ".join(request.headers.getlist("if-match"))
    present = f"{etag(head)}: {_told(head)}"
    if not given.strip():
        if required:
            entry = at("header", ("If-Match",), "nothing", present)
            detail = "A change names the version that it was made against, in If-Match."
            raise Refusal("version-missing", detail, [entry], {"ETag": etag(head)})
        return
    if given.strip() != "*" and etag(head) not in _tags(given):
        raise changed_since(head, shown(given))


def changed_since(head: Head, found: str) -> Refusal:
    """What is said (412) to somebody who went on from something else than the claim as it is."""
    entry = at("header", ("If-Match",), found, f"{etag(head)}: {_told(head)}")
    detail = f"The claim has changed meanwhile: {_told(head)}."
    return Refusal("version-old", detail, [entry], {"ETag": etag(head)})


def unchanged(request: Request, tag: str) -> bool:
    """Whether If-None-Match says that the caller has this already; weakly compared."""
    given = ", ".join(request.headers.getlist("if-none-match"))
    return given.strip() == "*" or tag in [each.removeprefix("W/") for each in _tags(given)]


def _tags(given: str) -> list[str]:
    """The entity tags of a header; none of a malformed one."""
    return _TAG.findall(given) if _TAGS.fullmatch(given) else []


def _told(head: Head) -> str:
    revision = f"revision {head.revision}" if head.revision else "no revision yet"
    return f"version {head.version}, {revision}, draft {head.draft}, {head.state}"
