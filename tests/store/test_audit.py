"""Whoever changes a row past the program is found: no column lies outside of the log."""

from __future__ import annotations

from typing import Any

import httpx
import sqlalchemy as sa

from api.store.audit import Finding, audit
from api.store.session import Store
from api.store.tables import GROWING, metadata
from tests.effort import SOAK
from tests.store.test_forget import lived
from tests.store.test_store import filled

WORKED_WITH = {
    ("claims", "seq"), ("claims", "version"), ("claims", "changed"),  # in what order it is shown
    ("contents", "media_type"),
}  # fmt: skip
"""Columns that say nothing of a claim."""

KEYS = {"id", "claim", "number", "part", "hash", "seq"}
"""Columns that name a row; another name is another row."""


def let_go(store: Store) -> list[str]:
    """Take away what keeps written rows as they are; returns how to put it back."""
    with store.writing("these-tests.") as writing:
        connection = writing.connection
        if store.engine.dialect.name == "sqlite":
            query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
            triggers = connection.execute(sa.text(query)).all()
            for name, _ in triggers:
                connection.execute(sa.text(f"DROP TRIGGER {name}"))
            return [sql for _, sql in triggers]
        tables = [*(table.name for table in GROWING), "contents"]
        for table in tables:
            connection.execute(sa.text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))
        return [f"ALTER TABLE {table} ENABLE TRIGGER USER" for table in tables]


def found_with_another(
    store: Store, table: sa.Table, column: sa.Column[Any]
) -> tuple[Finding, ...]:
    """What an audit finds once a value of a table is another one; it is put back afterwards."""
    key = list(table.primary_key.columns)
    # A row with a value, if there is one.
    query = sa.select(table).order_by(column.is_(None), *key).limit(1)
    with store.reading() as connection:
        row = connection.execute(query).mappings().one()
    here = sa.and_(*(each == row[each.name] for each in key))
    old = row[column.name]
    for value in (other(old, column), old):
        with store.writing("these-tests.") as writing:
            change = sa.update(table).where(here).values({column.name: value})
            writing.connection.execute(change)
        if value is not old:
            found = audit(store).findings
    return found


def other(value: object, column: sa.Column[Any]) -> object:
    """A value of the same kind that is not this one."""
    match value:
        case bool():
            return not value
        case int():
            return value + 1
        case bytes():
            return value + b" "
        case None:
            return 7 if isinstance(column.type, sa.Integer) else "x"
        case _:
            text = str(value)
            return ("0" if text[:1] != "0" else "1") + text[1:]


def free(table: sa.Table, column: sa.Column[Any]) -> bool:
    """Whether a column can be given any value, and says something of a claim or a person."""
    bound = {fk.parent.name for fk in table.foreign_keys}
    known = {"state", "side", "role", "scopes", "lines", "claim_file", "sheet"}
    named = (table.name, column.name) in WORKED_WITH or column.name in KEYS | bound | known
    return not named and table.name not in ("replies", "log")


def test_a_value_changed_in_any_column_is_found(shop: httpx.Client, store: Store) -> None:
    filled(shop, store)
    lived(shop)
    assert audit(store).findings == ()
    let_go(store)
    asleep = audit(store).findings
    assert len(asleep) == len({each.where for each in asleep}) > 2 * len(GROWING)
    assert all(each.where.startswith("trigger no_") for each in asleep)
    unseen = []
    columns = [
        (table, column)
        for table in metadata.sorted_tables
        for column in table.columns
        if free(table, column)
    ]
    assert len(columns) > 60
    # Each takes an audit; what is done on one database is done alike on the other.
    step = 1 if SOAK else 2 if store.engine.dialect.name == "sqlite" else 6
    for table, column in columns[::step]:
        if not set(found_with_another(store, table, column)) - set(asleep):
            unseen.append(f"{table.name}.{column.name}")
    assert unseen == []


def test_guards_put_to_sleep_are_missed(shop: httpx.Client, store: Store) -> None:
    again = let_go(store)
    assert len(audit(store).findings) > 2 * len(GROWING)
    with store.writing("these-tests.") as writing:
        for statement in again:
            writing.connection.execute(sa.text(statement))
    assert audit(store).findings == ()
