"""Does the stock book stay true, and does a quote follow from the pair's state?"""

from __future__ import annotations

import struct
import zlib

import pytest

SOLE = {"use": "sole", "material": "oak_bark_leather", "supply_days": 240, "supply_days_sd": 30}


def test_the_book_never_goes_below_zero_and_says_what_is_there(client):
    assert client.put("/v1/stock/soles-oak", json=SOLE).status_code == 200
    lines = "/v1/stock/soles-oak/lines"
    assert client.post(lines, json={"reason": "receipt", "quantity": 3}).json()["quantity"] == 3
    refused = client.post(lines, json={"reason": "use", "quantity": 4})
    assert refused.status_code == 409
    assert refused.json()["accepted"] == "up to 3"
    assert client.post(lines, json={"reason": "use", "quantity": -1}).status_code == 422
    counted = client.post(lines, json={"reason": "count", "quantity": 2}).json()
    assert counted["quantity"] == 2
    assert sum(m["change"] for m in counted["moves"]) == 2


def test_a_finished_job_takes_its_materials_and_names_what_it_could_not(bench, client, foot):
    client.put("/v1/stock/soles-oak", json=SOLE)
    client.put("/v1/stock/cement", json={"use": "cement"})
    client.post("/v1/stock/soles-oak/lines", json={"reason": "receipt", "quantity": 2})
    order = bench.on_bench()
    bench.file(order, "after", {"left": foot(), "right": foot()})
    done = bench.finish(order).json()
    told = {t["use"]: t for t in done["events"][-1]["details"]["stock"]}
    assert told["sole"]["item_id"] == "soles-oak"
    assert told["cement"]["not_taken"] == "not enough in the book"
    item = client.get("/v1/stock/soles-oak").json()
    assert item["quantity"] == 1
    assert item["moves"][0]["order_id"] == order["order_id"]


def test_longer_supply_is_ordered_sooner(client):
    for name, days in (("slow", 300), ("fast", 7)):
        client.put(f"/v1/stock/{name}", json=SOLE | {"supply_days": days, "supply_days_sd": 1})
    advice = {a["item_id"]: a for a in client.get("/v1/stock-advice").json()["items"]}
    assert advice["slow"]["reorder_point"] > advice["fast"]["reorder_point"]


def test_a_thin_sole_is_quoted_and_a_sound_one_is_not(client):
    thin = client.get("/v1/quotes/oxford").json()
    assert thin["needed"][0]["work"] == "full_sole"
    assert {a["works"][0] for a in thin["alternatives"]} == {"full_sole", "half_sole"}
    for way in thin["alternatives"]:
        assert way["minutes_low"] < way["minutes"] < way["minutes_high"]
        assert way["wear_days_bought"] > 0
    assert client.get("/v1/quotes/derby").json()["alternatives"] == []
    assert client.get("/v1/quotes/none").status_code == 404


def _chunk(kind: bytes, data: bytes) -> bytes:
    check = zlib.crc32(kind + data)
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)


def png_with_place() -> bytes:
    """A picture of one grey dot that says where it was taken."""
    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + _chunk(b"IHDR", head)
        + _chunk(b"eXIf", b"GPS 48.2 16.4")
        + _chunk(b"tEXt", b"Comment\x00at home")
        + _chunk(b"IDAT", zlib.compress(b"\x00\x80"))
        + _chunk(b"IEND", b"")
    )


def jpeg_with_place() -> bytes:
    """The segments of a picture, in order, with a place and a comment in it."""

    def segment(marker: int, data: bytes) -> bytes:
        return bytes((0xFF, marker)) + struct.pack(">H", len(data) + 2) + data

    return (
        b"\xff\xd8"
        + segment(0xE0, b"JFIF\x00")
        + segment(0xE1, b"Exif\x00\x00GPS 48.2 16.4")
        + segment(0xFE, b"at home")
        + segment(0xDA, b"\x01\x01\x00")
        + b"\x12\xff\x00\x34\xff\xd0\x56"
        + b"\xff\xd9"
    )


@pytest.mark.parametrize("picture", [png_with_place(), jpeg_with_place()], ids=["png", "jpeg"])
def test_a_photograph_is_kept_without_its_place(bench, client, picture):
    order = bench.book()
    form = {"order_id": order["order_id"], "caption": "left ball"}
    made = client.post("/v1/bench-photos", data=form, files={"file": ("a.jpg", picture)})
    assert made.status_code == 201, made.text
    kept = client.get(f"/v1/bench-photos/{made.json()['photo_id']}")
    assert kept.headers["content-type"] in ("image/png", "image/jpeg")
    assert b"GPS" not in kept.content
    assert b"at home" not in kept.content
    assert kept.content[-4:] == picture[-4:]
    photos = client.get(f"/v1/bench-orders/{order['order_id']}").json()["photos"]
    assert [p["caption"] for p in photos] == ["left ball"]


@pytest.mark.parametrize("content", [b"", b"GIF89a", png_with_place()[:40], b"\xff\xd8\xff"])
def test_what_is_no_whole_picture_is_refused(bench, client, content):
    order = bench.book()
    form = {"order_id": order["order_id"]}
    answer = client.post("/v1/bench-photos", data=form, files={"file": ("a.jpg", content)})
    assert answer.status_code == 422


def test_a_photograph_over_the_limit_is_refused(bench, client):
    order = bench.book()
    form = {"order_id": order["order_id"]}
    big = {"file": ("a.jpg", b"\xff\xd8\xff" + bytes(8 * 1024 * 1024))}
    assert client.post("/v1/bench-photos", data=form, files=big).status_code == 413
