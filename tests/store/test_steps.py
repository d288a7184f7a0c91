"""Stores of older versions: what a step of the database changes about the claims in it."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from api.store.audit import audit
from api.store.opening import open_store
from api.store.session import Store
from tests.api.conftest import app_on, serving
from tests.api.storehouse import (
    accepting,
    answered,
    issued,
    linked,
    opened,
    supplemented,
    two_panels,
)


def test_a_supplement_that_nobody_has_answered_goes_back_to_issued(
    store: Store, matrices: Path
) -> None:
    """Before, a claim was answered as soon as no line was open."""
    with serving(app_on(matrices, store)) as shop:
        claims = [issued(shop, opened(shop)["id"])["id"] for _ in range(2)]
        for claim in claims:
            answered(shop, claim, linked(shop, claim), *accepting(1, 2, 3))
        supplemented(shop, claims[0], two_panels() | {"other": []}, "The clips could be kept.")
        with store.engine.begin() as connection:
            connection.execute(sa.text("UPDATE claims SET state = 'answered'"))
            connection.execute(sa.text("DROP TABLE omissions"))  # of a later step
            connection.execute(sa.text("UPDATE alembic_version SET version_num = 's0001'"))
        again = store.engine.url.render_as_string(hide_password=False)
        url = None if again.startswith("sqlite") else again
        open_store(store.folder.parent, url).close()
        states = [shop.get(f"/v1/claims/{claim}").json()["state"] for claim in claims]
    assert states == ["issued", "answered"]
    assert audit(store).findings == ()
