"""Plain text in aligned columns, for people and for pipes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def columns_text(rows: Sequence[Sequence[str]], right: Iterable[int] = ()) -> str:
    """Rows as aligned columns two blanks apart; columns in `right` are set flush right."""
    rights = set(right)
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = (
        "  ".join(
            cell.rjust(width) if k in rights else cell.ljust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    )
    return "\n".join(lines) + "\n"
