"""Is a photograph of a pair kept without its place and device, and shown in the list?"""

import io
import re

import pytest
from PIL import Image
from sqlalchemy import func, select

from solespan.api.services.rack.pictures import pair_photos
from solespan.api.storage.tables.pair_extras import PairPhoto
from tests.api.rack.test_forms import token

PLACE = "at 51.5 north"


def picture(size=(900, 1600), kind="JPEG", colour="#884422", orientation=None):
    image = Image.new("RGB", size, colour)
    exif = Image.Exif()
    exif[0x010E] = PLACE
    if orientation:
        exif[0x0112] = orientation
    out = io.BytesIO()
    image.save(out, kind, exif=exif)
    return out.getvalue()


def send(client, content, pair="pair-000"):
    form = {"form_token": token(client), "pair": pair}
    file = {"file": ("a.jpg", content, "image/jpeg")}
    return client.post("/pair-photographs", data=form, files=file, follow_redirects=False)


def photos(client):
    page = client.get("/pair-photographs", params={"pair": "pair-000"}).text
    return re.findall(r'<img src="/pair-photographs/([0-9a-f]+)\?small=1"', page)


@pytest.fixture
def client(client):
    yield client
    for photo in photos(client):
        client.post(f"/pair-photographs/{photo}/taken-away", data={"form_token": token(client)})


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_photograph_is_kept_small_upright_and_without_metadata(client, kind):
    content = picture(kind=kind, orientation=6)
    assert PLACE.encode() in content
    assert send(client, content).status_code == 303
    (photo,) = photos(client)
    for small, most in (("", (1600, 1200)), ("1", (224, 168))):
        answer = client.get(f"/pair-photographs/{photo}", params={"small": small})
        assert answer.headers["content-type"] == "image/jpeg"
        assert PLACE.encode() not in answer.content
        with Image.open(io.BytesIO(answer.content)) as image:
            assert all(side <= limit for side, limit in zip(image.size, most, strict=True))
            assert image.width > image.height, "it stands upright"
            assert not image.getexif()
    assert f"/pair-photographs/{photo}?small=1" in client.get("/").text


def test_the_same_picture_is_kept_once_and_no_more_than_are_of_use(client, monkeypatch):
    monkeypatch.setattr(pair_photos, "MOST_OF_PAIR", 2)
    for colour in ("#111111", "#111111", "#222222", "#333333"):
        last = send(client, picture((60, 40), colour=colour))
    assert last.status_code == 409
    assert "Take one away first" in last.text
    assert len(photos(client)) == 2


@pytest.mark.parametrize("content", [b"", b"GIF89a", b"\xff\xd8\xff\xe0cut", b"\x89PNG\r\n\x1a\n"])
def test_what_is_no_picture_is_said_and_nothing_is_kept(client, content):
    answer = send(client, content)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert photos(client) == []


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_decoded(client, monkeypatch):
    monkeypatch.setattr(pair_photos, "MOST_PIXELS", 100)
    assert send(client, picture((60, 40))).status_code == 422


def test_a_pair_that_comes_back_has_its_photograph_again(client):
    send(client, picture((60, 40)))
    (photo,) = photos(client)
    form = {"form_token": token(client)}
    taken = client.post(f"/pair-photographs/{photo}/taken-away", data=form, follow_redirects=False)
    assert photos(client) == []
    undo = re.search(r"undo=(\w+)", taken.headers["location"])[1]
    client.post(f"/history/{undo}/undo", data=form | {"from": "/"})
    assert photos(client) == [photo]
    with client.app.state.services.database.reading() as session:
        assert session.scalar(select(func.count()).select_from(PairPhoto)) == 1


def test_a_program_adds_reads_and_takes_away_the_same_photographs(client):
    content, form = picture(), {"pair_id": "pair-000"}

    def added():
        file = {"file": ("a.jpg", content, "image/jpeg")}
        headers = {"idempotency-key": "picture-1"}
        return client.post("/v1/pair-photographs", data=form, files=file, headers=headers)

    made = added()
    assert made.status_code == 201
    assert added().json() == made.json()
    kept = client.get("/v1/pair-photographs", params=form).json()["items"]
    assert kept == [made.json()]
    assert photos(client) == [made.json()["photo_id"]]
    address = made.headers["location"]
    large, small = (client.get(address, params={"small": s}).content for s in (False, True))
    assert large == client.get(f"/pair-photographs/{made.json()['photo_id']}").content
    assert len(small) < len(large)
    assert client.delete(address).status_code == 204
    assert client.get(address).status_code == 404
    assert client.get("/v1/pair-photographs", params=form).json() == {"items": []}
