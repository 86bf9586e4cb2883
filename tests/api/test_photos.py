"""Photos and notes on the record: kept whole, told apart from anything that runs, carried by a backup."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import update

from api.service.seeing import MOST_BYTES
from api.store.backup import Faulty, back_up
from api.store.database import Store
from api.store.photo_tables import notes, photos
from tests.api.pages.whole_unit import WHOLE, whole
from tests.api.whole import whole_app

JPEG = b"\xff\xd8\xff\xe0" + b"a photo" * 10
KINDS = {
    "image/jpeg": JPEG, "image/png": b"\x89PNG\r\n\x1a\n" + b"rest", "image/webp": b"RIFF\x04\x00\x00\x00WEBPrest",
}  # fmt: skip
"""First bytes by the standards: ISO/IEC 10918-1 (SOI marker), ISO/IEC 15948 section 5.2, RFC 9649 section 2.3."""


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """An owner's client."""
    app, token = whole_app(tmp_path)
    with TestClient(app, headers={"Authorization": f"Bearer {token}"}) as found:
        yield found


@pytest.fixture
def place(client: TestClient) -> str:
    """Where a setup is."""
    return f"/units/{WHOLE}/setups/{whole(client)['setup']['id']}"


def send(client: TestClient, place: str, body: bytes, quantity: str = "feeder.drum", **headers: str) -> Any:
    return client.post(f"{place}/photos", params={"quantity": quantity}, content=body, headers=headers)


def test_photos_of_each_kind_come_back_as_they_were_sent(client: TestClient, place: str) -> None:
    for media, body in KINDS.items():
        sent = send(client, place, body, **{"Content-Type": "text/html"})  # what it is called is of no account
        assert sent.status_code == 201
        assert (sent.json()["media"], sent.json()["digest"]) == (media, sha256(body).hexdigest())
        answer = client.get(sent.headers["location"])
        assert answer.content == body
        assert answer.headers["content-type"] == media
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "sandbox" in answer.headers["content-security-policy"]
        assert answer.headers["content-disposition"].startswith("inline; filename=")
    assert len(client.get(f"{place}/photos").json()["items"]) == 3


def test_what_is_no_photo_is_refused(client: TestClient, place: str) -> None:
    for body in (
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"GIF89a",
        b"RIFF\x04\x00\x00\x00WAVE",
        b"\xff\xd8",
    ):
        assert send(client, place, body).status_code == 415
    assert send(client, place, JPEG + bytes(MOST_BYTES)).status_code == 413
    assert send(client, place, JPEG, quantity="<script>").status_code == 422
    assert client.get(f"{place}/photos").json()["items"] == []


def test_one_that_was_damaged_on_the_way_is_refused(client: TestClient, place: str) -> None:
    """RFC 9530, section 2: Content-Digest is a dictionary of digests as byte sequences."""
    good = b64encode(sha256(JPEG).digest()).decode()
    bad = b64encode(sha256(b"other").digest()).decode()
    for said in (f"sha-256=:{bad}:", "sha-256=:no base64:", "sha-256=abc", ""):
        assert send(client, place, JPEG, **{"Content-Digest": said}).status_code == 400
    assert send(client, place, JPEG, **{"Content-Digest": f"sha-512=:AA==:, sha-256=:{good}:"}).status_code == 201


def test_the_same_photo_is_kept_once(client: TestClient, place: str) -> None:
    first, second = send(client, place, JPEG), send(client, place, JPEG)
    assert first.json() == second.json()
    assert send(client, place, JPEG, quantity="").json()["id"] != first.json()["id"]
    keyed = {"Idempotency-Key": "one"}
    assert (
        send(client, place, KINDS["image/png"], **keyed).json()
        == send(client, place, KINDS["image/png"], **keyed).json()
    )
    assert len(client.get(f"{place}/photos").json()["items"]) == 3
    added = client.get("/record/events", params={"most": 500}).json()["items"]
    assert [one["after"] for one in added if one["what"] == "photo.added"].count(sha256(JPEG).hexdigest()) == 2


def test_notes_are_kept_by_what_they_are_about(client: TestClient, place: str) -> None:
    sent = client.post(f"{place}/notes", json={"quantity": "feeder.drum", "text": "Stift rechts verbogen"})
    assert sent.status_code == 201
    (note,) = client.get(f"{place}/notes").json()["items"]
    assert (note["quantity"], note["text"], note["by"]) == ("feeder.drum", "Stift rechts verbogen", "token:first owner")
    for wrong in ({"text": ""}, {"text": " "}, {"text": "x" * 2001}, {"text": "x", "quantity": "A B"}, {}):
        assert client.post(f"{place}/notes", json=wrong).status_code == 422


def test_only_who_may_record_adds_and_only_where_they_see_the_unit(client: TestClient, place: str) -> None:
    reader = client.post("/tokens", json={"name": "board", "role": "reader"}).json()["secret"]
    other = client.post("/tokens", json={"name": "far", "role": "recorder", "units": ["unit-99"]}).json()["secret"]
    photo = send(client, place, JPEG).headers["location"]
    as_reader, as_other = ({"Authorization": f"Bearer {one}"} for one in (reader, other))
    assert client.post(f"{place}/photos", content=JPEG, headers=as_reader).status_code == 403
    assert client.get(photo, headers=as_reader).status_code == 200
    for path in (photo, f"{place}/photos", f"{place}/notes"):
        assert client.get(path, headers=as_other).status_code == 404
    assert client.post(f"{place}/photos", content=JPEG, headers=as_other).status_code == 404
    assert client.get(f"{place}x/photos").status_code == 404


@pytest.mark.parametrize("change", ["body", "text"])
def test_a_backup_carries_them_and_finds_what_was_changed(tmp_path: Path, change: str) -> None:
    app, token = whole_app(tmp_path)
    with TestClient(app, headers={"Authorization": f"Bearer {token}"}) as client:
        place = f"/units/{WHOLE}/setups/{whole(client)['setup']['id']}"
        send(client, place, JPEG)
        client.post(f"{place}/notes", json={"text": "seen"})
    store = Store(f"sqlite:///{tmp_path / 'record.db'}")
    back_up(store, tmp_path / "copy.db")
    copy = Store(f"sqlite:///{tmp_path / 'copy.db'}")
    with copy.connection() as connection:
        assert connection.execute(photos.select()).one().body == JPEG
        assert connection.execute(notes.select()).one().text == "seen"
    copy.close()
    with store.connection(writes=True) as connection:
        changed = update(photos).values(body=JPEG + b"x") if change == "body" else update(notes).values(text="not seen")
        connection.execute(changed)
    with pytest.raises(Faulty) as found:
        back_up(store, tmp_path / "other.db")
    assert change in found.value.found[0][1].text
    store.close()
