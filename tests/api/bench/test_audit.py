"""The audit log says of every record made which one it was: by ids, days and words, no names."""

from __future__ import annotations

from datetime import date

import pytest
from fastapi.routing import iter_route_contexts

from solespan.api.author import Author
from solespan.api.schemas.bench.stock import Item
from solespan.api.schemas.notices.many_consents import BASES
from solespan.api.services.bench.stock import put_item
from solespan.api.services.rack.records import create
from solespan.api.storage.accounts.customers import forget_quotes
from solespan.api.storage.audit import list_audit
from solespan.api.wiring import Services
from tests.api.bench.test_orders import PIXEL

DAY = "2026-06-10"
CHECK = {"pair_id": "oxford", "checked_on": DAY, "point": "ball", "method": "thumb"}
PAIRS = b"pair_id,wearer_id,construction\nslipper,dora,stitchdown\n"
SOLES = b"sole_id,pair_id,fitted_on,material,nominal_thickness_mm\ns,slipper,2026-01-01,rubber,6\n"
# What is sent, and what the log says was made; None = as the answer names it.
MADE: dict[str, tuple[dict, dict]] = {
    "/v1/wearers": ({"name": "Secret Name", "email": "s@mail.example"}, {"wearer_id": None}),
    "/v1/pairs": ({"wearer_id": "ada", "construction": "blake", "label": "Secret"}, {"pair_id": None}),  # noqa: E501
    "/v1/soles": ({"pair_id": "oxford", "fitted_on": DAY, "material": "rubber", "nominal_thickness_mm": 5}, {"sole_id": None}),  # noqa: E501
    "/v1/wear-days": ({"pair_id": "derby", "worn_on": DAY}, {"pair_id": "derby", "worn_on": DAY}),
    "/v1/checks": (CHECK | {"foot": "left", "grade": "firm"}, CHECK | {"foot": "left"}),
    "/v1/bench-jobs": ({"pair_id": "derby", "work": "top_piece", "received_on": DAY, "returned_on": DAY}, {"job_id": None}),  # noqa: E501
    "/v1/bench-orders": ({"pair_id": "oxford", "work": "full_sole", "note": "Secret"}, {"order_id": None, "pair_id": "oxford"}),  # noqa: E501
    "/v1/layers": ({"pair_id": "oxford", "layer": "welt", "nominal_thickness_mm": 3}, {"layer_id": None}),  # noqa: E501
    "/v1/receptions": ({"pair_id": "oxford", "here": False, "note": "Secret"}, {"order_id": None, "pair_id": "oxford"}),  # noqa: E501
    "/v1/care": ({"pair_id": "oxford", "care": "condition", "done_on": DAY}, {"pair_id": "oxford", "care": "condition", "done_on": DAY}),  # noqa: E501
    "/v1/consents/many": ({"channel": "print", "basis": BASES[0], "how": "Secret", "by": "Secret", "customers": 1}, {"channel": "print", "customers": "1", "basis": BASES[0]}),  # noqa: E501
    "/v1/consents": ({"wearer_id": "ada", "channel": "mail", "how": "paper", "by": "Secret"}, {"wearer_id": "ada", "channel": "mail"}),  # noqa: E501
    "/v1/due-outcomes": ({"pair_id": "derby", "due_on": DAY, "outcome": "declined"}, {"pair_id": "derby", "due_on": DAY}),  # noqa: E501
    "/v1/rack-plans": ({"wearer_id": "ada", "weeks": 4}, {"plan_id": None, "wearer_id": "ada"}),
    "/v1/purchases": ({"item_id": "oak", "quantity": 2, "note": "Secret"}, {"purchase_id": None, "item_id": "oak"}),  # noqa: E501
    "/v1/hook-endpoints": ({"url": "https://secret.example/"}, {"endpoint_id": None}),
    "/v1/bench-plans": ({"months": 1}, {"as_of": "2026-06-15"}),
}  # fmt: skip
OTHERWISE = {
    "/v1/bench-orders/{order_id}/moves",  # its address names the order
    "/v1/bench-orders/{order_id}/agreements",
    "/v1/hook-endpoints/{endpoint_id}/secret",
    "/v1/hook-events/{event_id}/resend",
    "/v1/stock/{item_id}/lines",
    "/v1/purchases/{purchase_id}/receipts",
    "/v1/purchases/{purchase_id}/cancellation",
    "/v1/bench-photos",  # below: these take files
    "/v1/pair-photographs",
    "/v1/imports",
    "/v1/notices/runs",  # with the notices, as it needs a shop's rules
}


@pytest.fixture
def signed(client, services: Services) -> Services:
    """Let every change be signed, as accounts do; there is an item to order."""
    with services.database.writing() as session:
        put_item(session, "oak", Item(use="sole"))
    seen = services.for_tenant(1, Author("mo", "POST"))
    client.app.state.services = seen
    return seen


def subjects(services: Services) -> list[dict]:
    """What the log says changed, the newest first."""
    with services.database.reading() as session:
        return [entry["subject"] for entry in list_audit(session, after=None, limit=99)]


def test_every_create_is_in_these_tests(client):
    routes = iter_route_contexts(client.app.router.routes)
    creates = {r.path for r in routes if getattr(r, "status_code", None) == 201}
    assert creates == set(MADE) | OTHERWISE


@pytest.mark.parametrize("path", MADE)
def test_what_was_made_is_named_once_and_not_again_by_the_answer_that_is_kept(client, signed, path):
    body, named = MADE[path]
    key = {"idempotency-key": '"k"'}
    answer = client.post(path, json=body, headers=key)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert subjects(signed) == [{n: told[n] if v is None else v for n, v in named.items()}]
    assert "Secret" not in str(subjects(signed))
    again = client.post(path, json=body, headers=key)
    assert again.headers["idempotency-replayed"] == "true"
    assert len(subjects(signed)) == 1, "the same answer again changed nothing"


def test_photographs_and_imports_are_named_by_their_ids(client, signed):
    order = client.post("/v1/bench-orders", json={"pair_id": "oxford", "work": "top_piece"}).json()
    told = {"order_id": order["order_id"], "caption": "Secret"}
    photo = client.post("/v1/bench-photos", data=told, files={"file": PIXEL}).json()
    named = {"photo_id": photo["photo_id"], "order_id": order["order_id"]}
    assert subjects(signed)[0] == named
    files = [("files", ("pairs.csv", PAIRS)), ("files", ("soles.csv", SOLES))]
    taken = client.post("/v1/imports", files=files)
    assert subjects(signed)[0] == {"import_id": taken.headers["location"].rpartition("/")[2]}


def test_what_a_form_changes_without_an_id_in_its_address_is_named(client, signed):
    client.get("/")
    typed = {"pair": "derby", "worn_on": DAY, "form_token": client.cookies["form_token"]}
    assert client.post("/wear", data=typed, follow_redirects=False).status_code == 303
    assert subjects(signed)[0] == {"pair_id": "derby", "worn_on": DAY}


def test_several_of_one_kind_are_all_named_and_an_erasure_takes_the_names_out(client, signed):
    day = date.fromisoformat(DAY)
    with signed.database.writing() as session:
        for foot in ("left", "right"):
            check = {"checked_on": day, "foot": foot, "grade": "firm"}
            create(session, "checks", CHECK | check, signed.clock)
            create(session, "wear_days", {"pair_id": "derby", "worn_on": day}, signed.clock)
    (named,) = subjects(signed)
    assert named["foot"] == ["left", "right"]
    assert named["pair_id"] == ["oxford", "derby"]
    with signed.database.about().writing() as session:
        forget_quotes(session, 1, {"derby"})
    assert not [s for s in subjects(signed) if "derby" in str(s)]
