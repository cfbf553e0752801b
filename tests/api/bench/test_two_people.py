"""Two people, one form: does the second see what changed, lose nothing, and overwrite nothing?"""

from __future__ import annotations

import html
import re

import pytest

from solespan.api.author import Author
from solespan.api.schemas.bench.orders import Record
from solespan.api.services.bench.papers import file_paper

SHOES = {"left-width-ball": "78", "right-width-ball": "78"}
WORDING = {"text": "{{ unsubscribe_link }}", "html": "<p>{{ unsubscribe_link }}</p>"}
# kind: page, where its form is sent, the field both change, and what else is typed
KINDS = {
    "paper": ("/bench/{order}/before", "", "left-width-ball", SHOES),
    "booking": ("/records/bench_orders/{order}", "/edit", "note", {"work": "full_sole"}),
    "customer": ("/records/wearers/ada", "/edit", "name", {}),
    "pair": ("/pairs/oxford/edit", "", "label", {}),
    "stock item": ("/stock?item=oak", "/stock", "minimum_order", {"item_id": "oak", "use": "sole"}),
    "supplier": ("/stock?supplier=tan", "/stock/supplier", "name", {"supplier_id": "tan"}),
    "wording": ("/notices/wording", "", "subject", WORDING),
    "hours": ("/settings/hours", "", "hours_by_weekday_0", {}),
    "prices": ("/settings/prices", "", "price_minor_rewelt", {}),
    "bands": ("/settings/bands", "", "sound_days", {}),
    "care": ("/settings/care", "", "suede_brush_every_wears", {}),
    "ways": ("/settings/ways", "", "ways_0_wait_days", {}),
    "sender": ("/settings/sender", "", "shop_name", {}),
    "time zone": ("/settings/shop", "", "time_zone", {}),
}
NUMBERS = ("left-width-ball", "minimum_order", "hours_by_weekday_0", "price_minor_rewelt",
           "sound_days", "suede_brush_every_wears", "ways_0_wait_days")  # fmt: skip


def form_at(page: str, target: str) -> dict[str, str]:
    """Return the fields of the form that is sent to an address, as a browser would send them."""
    body = re.search(rf'<form[^>]*action="{re.escape(target)}"[^>]*>(.*?)</form>', page, re.DOTALL)
    assert body, target
    found = {}
    for tag in re.findall(r"<input[^>]*>", body[1]):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and ("checkbox" not in tag or "checked" in tag):
            found[name[1]] = html.unescape(value[1]) if value else ""
    for name, options in re.findall(
        r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', body[1], re.DOTALL
    ):
        chosen = re.search(r'value="([^"]*)" selected', options)
        found[name] = (chosen or re.search(r'value="([^"]*)"', options))[1]
    for name, text in re.findall(
        r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', body[1], re.DOTALL
    ):
        found[name] = html.unescape(text.removeprefix("\n"))
    return found


@pytest.fixture
def order(bench, client):
    made = bench.moved(bench.book(), "received")
    client.put("/v1/suppliers/tan", json={"name": "Tannery"})
    client.put("/v1/stock/oak", json={"use": "sole", "supplier_id": "tan"})
    return made["order_id"]


@pytest.mark.parametrize("kind", KINDS)
def test_the_second_sees_what_changed_keeps_what_was_typed_and_sends_again(client, order, kind):
    address, target, field, more = KINDS[kind]
    address = address.format(order=order)
    target = target if target.startswith("/stock") else address + target
    first, second = ("4", "5") if field in NUMBERS else ("First words", "Second words")
    if field == "time_zone":
        first, second = "Europe/Vienna", "Asia/Tokyo"
    opened = form_at(client.get(address).text, target) | more

    def send(typed: dict[str, str], value: str):
        return client.post(target, data=typed | {field: value}, follow_redirects=False)

    def kept() -> str:
        return form_at(client.get(address).text, target)[field]

    assert send(opened, first).status_code == 303
    refused = send(opened, second)
    assert refused.status_code == 409, refused.text
    assert "Changed while you were typing" in refused.text
    assert f"is now {first}" in refused.text
    assert kept() in (first, f"{first}.00", f"{first} ")
    again = form_at(refused.text, target)
    assert again[field] == second
    assert send(again, second).status_code == 303
    assert kept() == second


def test_a_program_that_names_no_version_replaces_no_paper_item_or_supplier(client, order, foot):
    both = {"left": foot(), "right": foot()}
    for path, body, other in (
        (f"/v1/bench-orders/{order}/before", both, both | {"left": foot(width=77.0)}),
        ("/v1/stock/oak", {"use": "sole"}, {"use": "sole", "minimum_order": 5}),
        ("/v1/suppliers/tan", {"name": "Tannery"}, {"name": "Tanner"}),
    ):
        client.put(path, json=body, headers={"if-match": "*"})
        assert client.put(path, json=other).status_code == 412
        stale = client.put(path, json=other, headers={"if-match": '"999"'})
        assert stale.status_code == 412
        read = client.get(f"/v1/bench-orders/{order}" if "orders" in path else path)
        if read.status_code == 200:
            there = read.json()
            version = there.get("paper_versions", {}).get("before") or there["version"]
            named = client.put(path, json=other, headers={"if-match": f'"{version}"'})
            assert named.status_code == 200, named.text


def test_the_history_names_who_filed_a_paper_and_not_who_has_the_pair(client, order, foot):
    services = client.app.state.services
    paper = Record.model_validate({"left": foot(), "right": foot()})
    for name, width in (("mo@example.org", 78.0), ("zoe@example.org", 77.0)):
        door = services.database.for_tenant(services.database.tenant_pk, Author(name, "a test"))
        paper = Record.model_validate({"left": foot(width=width), "right": foot()})
        with door.writing() as session:
            file_paper(session, order, "before", paper, services.clock)
    events = client.get(f"/v1/bench-orders/{order}").json()["events"]
    filed = [event["worker"] for event in events if "paper" in event["details"]]
    assert filed == ["mo@example.org", "zoe@example.org"]
