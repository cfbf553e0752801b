"""Asked with the ids of another shop's records, no address shows or changes anything of it."""

from __future__ import annotations

import re

import pytest

from solespan.api.routes.edge.access import need_of
from tests.api.accounts.test_access import addresses, bearer
from tests.api.accounts.test_customer_record import MARK, everything, fill

IDS = {
    "wearer_id": f"{MARK}-wearers",
    "pair_id": f"{MARK}-pairs",
    "sole_id": f"{MARK}-soles",
    "job_id": f"{MARK}-bench_jobs",
    "order_id": f"{MARK}-bench_orders",
    "photo_id": f"{MARK}-bench_photos",
    "plan_id": f"{MARK}-rack_plans",
    "notice_id": f"{MARK}-notices",
}
OTHERS = {
    "worn_on": "2026-06-01",
    "checked_on": "2026-06-01",
    "foot": "left",
    "point": "ball",
    "method": "thumb",
    "upper": "suede",
    "kind": "condition",
    "on": "2026-06-01",
    "name": "wear_path",
    "route_id": MARK,
}
pytestmark = pytest.mark.slow
SCOPES = ("read", "write", "notices", "manage")


def asked(template: str) -> str:
    """Put the ids of the first shop's records into an address."""
    named = {**IDS, **OTHERS}
    if "/pair-photographs/" in template:
        named["photo_id"] = f"{MARK}-pair_photos"
    return re.sub(r"\{(\w+)[^}]*\}", lambda part: named.get(part[1], "x9"), template)


def send(client, method: str, template: str, token: str):
    headers = {**bearer(token), "if-match": "*"}
    address = asked(template)
    if method in ("GET", "HEAD", "DELETE"):
        return client.request(method, address, headers=headers, follow_redirects=False)
    if address.startswith("/v1"):
        return client.request(method, address, headers=headers, json={})
    client.cookies.set("form_token", "known")
    typed = {"form_token": "known", "confirm": IDS["wearer_id"], "sure": "true"}
    return client.request(method, address, headers=headers, data=typed, follow_redirects=False)


def test_an_outsider_finds_and_changes_nothing_and_the_owner_finds_it(client, services, token_of):
    fill(services)
    outsider, owner = (token_of(email, *SCOPES) for email in ("eve@example.org", "ada@example.org"))
    before = everything(services)
    named = 0
    for method, template in addresses(client):
        if need_of(method, asked(template)) in ("open", "signed in", "own"):
            continue
        answer = send(client, method, template, outsider)
        if any(f"{{{name}" in template for name in IDS):
            named += 1
            assert answer.status_code in (404, 422), (method, template, answer.text[:200])
        else:
            assert MARK not in answer.text, (method, template)
    assert named > 60
    after = everything(services)
    before.pop("api_tokens"), after.pop("api_tokens")  # when a token was used
    for table, rows in before.items():
        assert set(rows.split("\n")) <= set(after[table].split("\n")), table
    for method, template in addresses(client):
        if need_of(method, asked(template)) == "own":
            continue
        if method == "GET" and any(f"{{{name}" in template for name in IDS):
            answer = send(client, method, template, owner)
            assert answer.status_code not in (401, 403, 404), (method, template)


def test_a_form_without_this_browsers_token_changes_nothing(client, services, enter):
    """A site that makes a signed-in browser send a form cannot know the token in it."""
    fill(services)
    enter(client, "ada@example.org")
    before = everything(services)
    found = 0
    for method, template in addresses(client):
        apart = ("/v1", "/answers", "/bookings", "/unsubscribe", "/my")
        if method != "POST" or template.startswith(apart):
            continue
        found += 1
        typed = {"form_token": "guessed", "confirm": IDS["wearer_id"], "sure": "true"}
        answer = client.post(asked(template), data=typed, follow_redirects=False)
        assert answer.status_code in (401, 404, 422), (template, answer.status_code)
    assert found > 30
    after = everything(services)
    for table in ("browser_sessions", "sign_in_tries"):
        before.pop(table), after.pop(table)
    assert after == before
