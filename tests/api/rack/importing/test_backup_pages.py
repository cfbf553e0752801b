"""Does a person take a backup with one click, and put it back with one more?"""

from __future__ import annotations

import re

import pytest

from solespan.api.services.importing import import_desk
from tests.api.rack.test_adding import post, rows
from tests.api.rack.test_forms import token


@pytest.fixture(autouse=True)
def own_desk(monkeypatch, tmp_path):
    monkeypatch.setattr(import_desk.tempfile, "gettempdir", lambda: str(tmp_path))


def send(client, data):
    return client.post(
        "/export/restore",
        data={"form_token": token(client)},
        files={"file": ("backup.zip", data)},
        follow_redirects=False,
    )


@pytest.mark.slow
def test_a_lost_pair_comes_back_at_once_and_can_be_undone(client):
    backup = client.get("/export/backup")
    assert "solespan-backup-2026" in backup.headers["content-disposition"]
    pairs = rows(client, "pairs")
    post(client, f"/pairs/{pairs[0]['pair_id']}/delete", {"sure": "true"})
    answer = send(client, backup.content)
    assert answer.status_code == 303, answer.text
    assert [row["pair_id"] for row in rows(client, "pairs")] == [row["pair_id"] for row in pairs]
    page = client.get(answer.headers["location"]).text
    undo = re.search(r'action="(/history/\w+/undo)"', page)[1]
    post(client, undo, {"from": "/export"})
    assert len(rows(client, "pairs")) == len(pairs) - 1
    assert "same" in send(client, client.get("/export/backup").content).headers["location"]


@pytest.mark.parametrize("decision", ["replace", "leave"])
def test_a_renamed_pair_is_asked_about(client, decision):
    backup = client.get("/export/backup").content
    first = rows(client, "pairs")[0]
    address = f"/records/pairs/{first['pair_id']}"
    post(client, f"{address}/edit", {k: str(v) for k, v in first.items() if v} | {"label": "New"})
    asked = send(client, backup)
    assert "1 pair." in asked.text
    ticket = re.search(r'name="ticket" value="([^"]+)"', asked.text)[1]
    post(client, "/export/restore", {"ticket": ticket, "decision": decision})
    label = first["label"] if decision == "replace" else "New"
    assert rows(client, "pairs")[0]["label"] == label


@pytest.mark.parametrize("data", [b"PK\x03\x04 no more", b"a,b\n1,2\n", b""])
def test_another_file_is_refused_in_words(client, data):
    answer = send(client, data)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
