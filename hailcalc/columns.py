"""Plain text for people and for pipes: aligned columns, sums in groups of three, words counted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from hailcalc.money import money_text


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


def grouped(amount: int, decimals: int) -> str:
    """Minor units as a decimal whose thousands stand apart: 1,234.50."""
    whole, point, rest = money_text(abs(amount), decimals).partition(".")
    return f"{'-' if amount < 0 else ''}{int(whole):,}{point}{rest}"


def counted(number: int, one: str, many: str = "") -> str:
    """1 claim, 3 claims."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
