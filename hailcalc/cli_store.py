"""Commands that look after stored claims: tokens, audit, export, import, forget.

Each opens the store of a data folder, or the database that $HAILCALC_DATABASE_URL names, and
closes it at its end. Whatever they write, the store's log names the command line for it.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.store.session import Store
    from hailcalc.problems import Problem

NOT_WHOLE = 1
COMMAND_LINE = "command-line"
"""Who the store's log names for what was done here."""

token_app = typer.Typer(
    help="Say who may reach the stored claims.", no_args_is_help=True, rich_markup_mode=None
)


class ShopRole(StrEnum):
    """Roles of people of the shop."""

    owner = "owner"
    estimator = "estimator"


class ShopScope(StrEnum):
    """What a token of the shop may be narrowed to."""

    read = "read"
    write = "write"
    issue = "issue"
    manage = "manage"


DataOption = Annotated[
    Path | None,
    typer.Option(metavar="DIR", help="Data folder; none: $HAILCALC_DATA, else ./hailcalc-data."),
]


def remark(text: object) -> None:
    """Say something on standard error, after what standard output already has."""
    sys.stdout.flush()
    print(text, file=sys.stderr)


@contextmanager
def kept_in(data: Path | None, *, create: bool = False) -> Iterator[Store]:
    """The store of a data folder, closed at the end. Raises InputError where it fails."""
    from api.store.faults import StoreFault
    from api.store.opening import data_folder, database_url, open_store
    from hailcalc.problems import InputError, Problem

    store = open_store(data or data_folder(), database_url(), create=create)
    try:
        yield store
    except StoreFault as fault:
        found = fault.words.rstrip(".")
        raise InputError([Problem("store", (), found, "a database that can be used")]) from None
    finally:
        store.close()


@token_app.command(
    "add", epilog='Example: hailcalc token add --role estimator --name "The front desk"'
)
def token_add(
    role: Annotated[ShopRole, typer.Option(help="What its holder may do.")],
    name: Annotated[str, typer.Option(metavar="TEXT", help="Who has it.")],
    days: Annotated[int, typer.Option(min=1, max=3650, help="Days until it ends.")] = 365,
    scope: Annotated[
        list[ShopScope] | None,
        typer.Option(help="Allow only this of what the role may; may be repeated."),
    ] = None,
    data: DataOption = None,
) -> None:
    """Make a token for somebody of the shop, and print it this once.

    An adjuster's link is given from the claim's page or through the API.
    """
    from datetime import UTC, datetime, timedelta

    from api.store import tokens
    from hailcalc.tokencommands import require_token, token_note

    known = tokens.SCOPES[role.value]
    wanted = [each.value for each in scope or ()]
    require_token(name, role.value, wanted, known)
    scopes = tuple(each for each in known if each in wanted or not wanted)
    until = datetime.now(UTC) + timedelta(days=days)
    with kept_in(data, create=True) as store, store.writing(COMMAND_LINE) as writing:
        grant, secret = tokens.add(writing, role.value, name, until, scopes=scopes)
    print(secret)
    remark(token_note(grant))


@token_app.command("list", epilog="Example: hailcalc token list --links")
def token_list(
    links: Annotated[bool, typer.Option("--links", help="Adjusters' links as well.")] = False,
    data: DataOption = None,
) -> None:
    """List the shop's tokens, newest first, and whether they open anything now."""
    from api.store import tokens
    from api.store.session import now_text
    from hailcalc.tokencommands import tokens_text

    with kept_in(data) as store, store.reading() as connection:
        found = tokens.grants(connection)
        if links:
            found += tokens.links(connection)
    print(tokens_text(found, now_text()), end="")


@token_app.command("revoke", epilog="Example: hailcalc token revoke k7m2p9qdxw3c")
def token_revoke(
    token: Annotated[str, typer.Argument(metavar="ID", help="As the list has it.")],
    data: DataOption = None,
) -> None:
    """Let a token or an adjuster's link open nothing from now on."""
    from api.store import tokens
    from hailcalc.problems import InputError, Problem, shown

    with kept_in(data) as store, store.writing(COMMAND_LINE) as writing:
        known = tokens.revoke(writing, token)
    if not known:
        raise InputError(
            [Problem("token", (), f"no token {shown(token)}", "one that hailcalc token list names")]
        )
    print(f"token {token} opens nothing any more")


def audit(
    head: Annotated[
        str | None, typer.Option(metavar="HASH", help="A hash noted down: the log must have it.")
    ] = None,
    data: DataOption = None,
) -> None:
    """Look through the whole store: the chain of its log, every row, sheet and photograph.

    Exit code 0: all of it is whole; 1: something is not as it must be; 2: the store cannot be read.
    """
    from api.store.audit import audit as look
    from hailcalc.columns import counted
    from hailcalc.storecommands import audit_text, tell, told

    with kept_in(data) as store:
        found = look(store, None if head is None else head.strip().lower(), tell)
    told()
    for finding in found.findings:
        print(finding)
    print(audit_text(found), end="")
    if found.findings:
        remark(f"not whole: {counted(len(found.findings), 'finding')}")
        raise typer.Exit(NOT_WHOLE)


def export(
    claim: Annotated[
        str | None, typer.Argument(metavar="[CLAIM]", help="A claim, by its name in the store.")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Every claim, with the log.")] = False,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The zip to write.")] = Path(
        "claims.zip"
    ),
    anonymous: Annotated[
        bool, typer.Option("--anonymous", help="Without persons, VIN, places and photographs.")
    ] = False,
    data: DataOption = None,
) -> None:
    """Write a claim, or all of them, into one zip: rows, sheets, answers, photographs, and CSV."""
    from api.store.archive import export as write
    from hailcalc.columns import counted
    from hailcalc.problems import InputError, Problem
    from hailcalc.storecommands import tell, told

    if every == (claim is not None):
        found = "both a claim and --all" if every else "neither a claim nor --all"
        raise InputError([Problem("export", (), found, "one of the two")])
    with kept_in(data) as store:
        done = write(store, out, claim, anonymous=anonymous, tell=tell)
    told()
    if done is None:
        raise InputError([_no_claim(str(claim))])
    remark(f"{counted(done.claims, 'claim')}, {counted(done.files, 'file')} in {out}")


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A zip made by hailcalc export.")],
    data: DataOption = None,
) -> None:
    """Read a zip into the store: everything is checked first, then all of it is kept or nothing.

    A zip of a whole store needs an empty one. What opens tokens and links did not come along: make
    new ones.
    """
    from api.store.restoring import restore
    from hailcalc.columns import counted
    from hailcalc.storecommands import tell, told

    with kept_in(data, create=True) as store:
        done = restore(store, file, COMMAND_LINE, tell)
    told()
    remark(f"{counted(done.claims, 'claim')} from {file}, with the digests that they had")


def forget(
    claim: Annotated[str, typer.Argument(metavar="CLAIM", help="A claim, by its name.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    data: DataOption = None,
) -> None:
    """Remove a claim's person and photographs for good; sums, counts and the log's chain stay."""
    from api.store.forget import forget as forget_claim
    from hailcalc.problems import InputError, Problem
    from hailcalc.storecommands import forgotten_text

    if not yes and not sys.stdin.isatty():
        raise InputError([Problem("forget", (), "nobody to ask", "--yes")])
    if not yes and not typer.confirm(f"Forget the person of claim {claim} for good?"):
        raise typer.Exit(NOT_WHOLE)
    with kept_in(data) as store:
        gone = forget_claim(store, claim, COMMAND_LINE)
    if gone is None:
        raise InputError([_no_claim(claim)])
    print(forgotten_text(claim, gone), end="")


def _no_claim(claim: str) -> Problem:
    from hailcalc.problems import Problem, shown

    return Problem("store", (), f"no claim {shown(claim)}", "a name that the list of claims has")


def store_commands(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.add_typer(token_app, name="token")
    app.command(epilog="Example: hailcalc audit")(audit)
    app.command(epilog="Example: hailcalc export --all --out storm.zip")(export)
    app.command("import", epilog="Example: hailcalc import storm.zip --data elsewhere")(import_)
    app.command(epilog="Example: hailcalc forget c7k2m9pq4xya")(forget)
