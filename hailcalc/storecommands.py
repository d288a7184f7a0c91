"""What the commands that look after a store print."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from hailcalc.columns import counted

if TYPE_CHECKING:
    from api.store.audit import Audit
    from api.store.forget import Forgotten


def tell(text: str) -> None:
    """How far long work has got: one line on standard error that writes over itself."""
    if sys.stderr.isatty():
        print(f"\r{text}\033[K", end="", file=sys.stderr, flush=True)


def told() -> None:
    """Clear that line."""
    if sys.stderr.isatty():
        print("\r\033[K", end="", file=sys.stderr, flush=True)


def audit_text(found: Audit) -> str:
    """What an audit looked at, and the hash that is worth noting down."""
    lines = [
        f"{counted(found.entries, 'log entry', 'log entries')}, {counted(found.rows, 'row')}, "
        f"{counted(found.contents, 'content')}, "
        f"{counted(found.photographs, 'photograph file')}",
        f"the log ends at {found.head}",
        "note it down: with --head an audit shows whether the log was cut off before it",
    ]
    return "\n".join(lines) + "\n"


def forgotten_text(claim: str, gone: Forgotten) -> str:
    """What went and what stays."""
    return (
        f"{claim}: {counted(gone.contents, 'content')} deleted, {gone.instead} of them with an "
        f"anonymous one instead; {counted(gone.links, 'link')} revoked; "
        f"{counted(gone.files, 'photograph file')} deleted\n"
        "sums, counts, dates, insurer and storm stay, and the log's chain is whole\n"
        "archives and backups made before still name the person: see to them\n"
    )
