"""Out of one store and into another: the same sheets, digests, answers and photographs."""

from __future__ import annotations

import contextlib
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.store import claims as stored
from api.store.archive import export
from api.store.audit import audit
from api.store.forget import forget
from api.store.opening import open_store
from api.store.restoring import restore
from api.store.session import Store
from hailcalc.problems import InputError
from hailcalc.sheet.verify import verify_sheet
from tests.api.conftest import app_on, serving
from tests.api.storehouse import opened
from tests.store.test_forget import SECRETS, lived

WHO = "command-line"


def archived(store: Store, folder: Path, claim: str | None = None, **more: Any) -> Path:
    out = folder / "archive.zip"
    assert export(store, out, claim, **more) is not None
    return out


def another(folder: Path) -> Store:
    return open_store(folder / "elsewhere")


def files_of(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_a_whole_store_comes_back_byte_for_byte(
    shop: httpx.Client, store: Store, matrices: Path, tmp_path: Path
) -> None:
    claim, draft = lived(shop), str(opened(shop)["id"])
    out = archived(store, tmp_path)
    other = another(tmp_path)
    assert restore(other, out, WHO).claims == 2
    paths = ["", "/revisions/1", "/revisions/2", "/answers", "/photographs", "/photographs/1"]
    with serving(app_on(matrices, other)) as second:
        for path in [f"/{claim}{each}" for each in paths] + [f"/{draft}", f"/{draft}/draft"]:
            for accept in ("application/json", "application/pdf"):
                headers = {"Accept": accept}
                ours = shop.get(f"/v1/claims{path}", headers=headers)
                theirs = second.get(f"/v1/claims{path}", headers=headers)
                assert theirs.content == ours.content, path
    assert audit(other).findings == ()
    other.close()


def test_the_chain_goes_on_from_where_it_was(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    lived(shop)
    last = audit(store).head
    other = another(tmp_path)
    restore(other, archived(store, tmp_path), WHO)
    looked = audit(other, noted=last)
    assert looked.findings == ()
    assert looked.entries == audit(store).entries + 1
    other.close()


def test_the_same_store_gives_the_same_bytes(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    lived(shop)
    first = archived(store, tmp_path).read_bytes()
    assert archived(store, tmp_path).read_bytes() == first


def test_a_store_restored_gives_the_same_archive_but_for_its_log(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    lived(shop)
    before = files_of(archived(store, tmp_path))
    other = another(tmp_path)
    restore(other, tmp_path / "archive.zip", WHO)
    after = files_of(archived(other, tmp_path))
    differing = {name for name in before if before[name] != after.get(name)}
    assert differing == {"log.jsonl", "archive.json"}
    assert before.keys() == after.keys()
    other.close()


def test_a_single_claim_comes_into_a_store_that_is_in_use(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    claim = lived(shop)
    out = archived(store, tmp_path, claim)
    other = another(tmp_path)
    first = files_of(out)
    assert "log.jsonl" not in first
    restore(other, out, WHO)
    assert audit(other).findings == ()
    with pytest.raises(InputError, match="a claim that is there"):
        restore(other, out, WHO)
    other.close()


def test_a_whole_archive_wants_an_empty_store(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    lived(shop)
    out = archived(store, tmp_path)
    before = audit(store)
    with pytest.raises(InputError, match="in use"):
        restore(store, out, WHO)
    assert audit(store) == before


def test_a_forgotten_claim_stays_forgotten(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    claim = lived(shop)
    forget(store, claim, WHO)
    other = another(tmp_path)
    restore(other, archived(store, tmp_path), WHO)
    with other.reading() as connection:
        head = stored.head_of(connection, claim)
    assert head is not None
    assert head.forgotten is not None
    assert audit(other).findings == ()
    other.close()


def test_no_secret_of_a_token_leaves_the_store(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    lived(shop)
    with store.reading() as connection:
        from api.store.tables import tokens

        secrets = [row.secret for row in connection.execute(tokens.select())]
    text = b"".join(files_of(archived(store, tmp_path)).values()).decode("utf-8", "replace")
    assert secrets
    assert not any(secret in text for secret in secrets)


def test_an_anonymous_archive_names_nobody(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    claim = lived(shop)
    files = files_of(archived(store, tmp_path, anonymous=True))
    whole = b"\n".join([name.encode() + data for name, data in files.items()]).decode()
    assert [name for name, word in SECRETS.items() if word in whole] == []
    assert claim not in whole
    assert "Tallow Yard" not in whole
    sheet = json.loads(files["claims/claim-0001/revision-2.json"])
    assert verify_sheet(sheet) == []


def test_an_anonymous_archive_is_to_look_at(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    lived(shop)
    out = archived(store, tmp_path, anonymous=True)
    other = another(tmp_path)
    with pytest.raises(InputError, match="anonymous"):
        restore(other, out, WHO)
    other.close()


def test_a_reason_that_looks_like_a_formula_runs_in_no_spreadsheet(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    from tests.api.storehouse import answered, issued, linked, two_panels

    claim = opened(shop, two_panels(number="=1+1"))["id"]
    issued(shop, claim)
    reason = '=HYPERLINK("http://x.example")'
    answered(shop, claim, linked(shop, claim), {"line": 1, "answer": "decline", "reason": reason})
    files = files_of(archived(store, tmp_path))
    assert b",'=1+1," in files["claims.csv"]
    assert b"\"'=HYPERLINK(" in files["lines.csv"]


def changed(path: Path, change: Callable[[dict[str, bytes]], None], listed: bool = True) -> Path:
    """The archive with a change in its files, its list of hashes made to agree or not."""
    import hashlib

    files = files_of(path)
    change(files)
    if listed:
        about = json.loads(files["archive.json"])
        about["files"] = {
            name: hashlib.sha256(data).hexdigest()
            for name, data in files.items()
            if name != "archive.json"
        }
        files["archive.json"] = json.dumps(about).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    path.write_bytes(out.getvalue())
    return path


def in_claim(files: dict[str, bytes], change: Callable[[Any], None]) -> None:
    name = next(name for name in files if name.endswith("claim.json"))
    told = json.loads(files[name])
    change(told)
    files[name] = json.dumps(told).encode()


def replaced(old: bytes, new: bytes, ending: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        name = next(name for name in files if name.endswith(ending))
        assert old in files[name]
        files[name] = files[name].replace(old, new)

    return change


def set_total(told: Any) -> None:
    told["claim"]["agreed"] += 1


def set_revision(told: Any) -> None:
    told["revisions"][0]["total"] += 1


def set_kind(told: Any) -> None:
    told["revisions"][0]["number"] = "one"


def double_part(told: Any) -> None:
    told["answers"].append(told["answers"][0])


def without_list(files: dict[str, bytes]) -> None:
    del files["archive.json"]


def add_column(told: Any) -> None:
    told["claim"]["secret"] = "x"


BROKEN: dict[str, tuple[Callable[[dict[str, bytes]], None], bool]] = {
    "a file changed": (replaced(b"hood", b"roof", "revision-1.json"), False),
    "a sheet changed and listed": (replaced(b": true", b": false", "revision-1.json"), True),
    "a head that says otherwise": (lambda files: in_claim(files, set_total), True),
    "a revision that the log has otherwise": (lambda files: in_claim(files, set_revision), True),
    "a number that is a word": (lambda files: in_claim(files, set_kind), True),
    "a row twice": (lambda files: in_claim(files, double_part), True),
    "a column too many": (lambda files: in_claim(files, add_column), True),
    "a log entry changed": (replaced(b'"act":"withdrawn"', b'"act":"issued"', "log.jsonl"), True),
    "a log cut off": (lambda files: files.update({"log.jsonl": b""}), True),
    "a way out": (lambda files: files.update({"claims/../../x": b"x"}), True),
    "an absolute name": (lambda files: files.update({"/etc/x": b"x"}), True),
    "a file of another sort": (lambda files: files.update({"claims/x.sh": b"x"}), True),
    "no list": (without_list, False),
    "a list of another sort": (lambda files: files.update({"archive.json": b"[]"}), False),
}


@pytest.mark.parametrize("what", BROKEN)
def test_an_archive_that_was_tampered_with_leaves_the_store_empty(
    shop: httpx.Client, store: Store, tmp_path: Path, what: str
) -> None:
    from tests.api.storehouse import PLAIN

    claim = lived(shop)
    reason = {"reason": "Sold."}
    assert shop.post(f"/v1/claims/{claim}/withdrawal", json=reason, headers=PLAIN).is_success
    change, listed = BROKEN[what]
    path = changed(archived(store, tmp_path), change, listed)
    other = another(tmp_path)
    with pytest.raises(InputError):
        restore(other, path, WHO)
    with other.reading() as connection:
        assert stored.all_ids(connection) == []
    assert audit(other).entries == 0
    other.close()


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"{}", b"%PDF-1.4"])
def test_what_is_no_archive_is_refused(store: Store, tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "no.zip"
    path.write_bytes(data)
    with pytest.raises(InputError):
        restore(store, path, WHO)


def test_a_byte_changed_in_the_zip_is_said_plainly(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    lived(shop)
    whole = archived(store, tmp_path).read_bytes()
    other = another(tmp_path)
    path = tmp_path / "damaged.zip"
    for at in range(0, len(whole), len(whole) // 40):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :])
        # A byte that nothing depends on, such as one of a date, may be another.
        with contextlib.suppress(InputError):
            restore(other, path, WHO)
            break
    else:
        with other.reading() as connection:
            assert stored.all_ids(connection) == []
    other.close()


def test_a_file_that_swells_is_not_read_to_its_end(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("archive.json", b" " * 70_000_000)
    with pytest.raises(InputError, match="at most"):
        restore(store, path, WHO)


def test_what_cannot_be_written_leaves_no_half_archive(store: Store, tmp_path: Path) -> None:
    with pytest.raises(InputError):
        export(store, tmp_path / "missing" / "out.zip")
    (tmp_path / "folder.zip").mkdir()
    with pytest.raises(InputError):
        export(store, tmp_path / "folder.zip")
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".hailcalc")]
