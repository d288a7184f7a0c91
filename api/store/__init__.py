"""Claims that live: a database of claims, their revisions, answers and tokens.

`opening` finds and prepares the database, `session` reads and writes in transactions, `tables`
says what lies where; `contents`, `claims`, `answers`, `photographs`, `tokens`, `replies` and
`log` each hold one kind of record. Nothing that was written is ever changed: rows are only added,
and triggers in the database hold to it. The one exception is `claims.head`, the row that lists
find a claim by, which is worked out from the others.
"""
