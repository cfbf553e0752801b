"""Does each address answer HEAD and OPTIONS, and does each list lead to its next page?"""

from __future__ import annotations

import re
from urllib.parse import urljoin

import pytest

from tests.api.service.test_edge import every_operation

VOLATILE = {"x-request-id", "date"}


def head_of(answer):
    return {k: v for k, v in answer.headers.items() if k not in VOLATILE}


def test_every_address_that_takes_get_takes_head(logged, app):
    for method, path in every_operation(app):
        if method == "get":
            got, head = logged.get(path), logged.head(path)
            assert (head.status_code, head.content) == (got.status_code, b""), path
            assert head_of(head) == head_of(got), path


def test_every_address_answers_its_methods(logged, app):
    by_path = {}
    for method, path in every_operation(app):
        by_path.setdefault(path, set()).add(method.upper())
    for path, methods in by_path.items():
        answer = logged.options(path)
        allowed = {*answer.headers["allow"].split(", ")}
        assert answer.status_code == 204, path
        assert methods | {"OPTIONS"} <= allowed, path
        assert ("GET" in allowed) == ("HEAD" in allowed), path
        assert ("PATCH" in allowed) == ("accept-patch" in answer.headers), path
    assert logged.options("/v1/nowhere").status_code == 404
    assert "access-control-allow-origin" not in logged.options("/v1/pairs").headers


def test_a_head_with_a_known_etag_is_not_modified(logged):
    etag = logged.head("/v1/pairs/oxford").headers["etag"]
    assert logged.head("/v1/pairs/oxford", headers={"if-none-match": etag}).status_code == 304
    assert logged.head("/v1/pairs/nobody").status_code == 404
    assert logged.head("/v1/what-if").status_code == 405


@pytest.mark.parametrize(
    "address",
    [
        "/v1/wear-days?limit=7&pair_id=oxford&since=2026-01-10",
        "/v1/forecasts?limit=2",
        "/v1/revisions?limit=9",
    ],
)
def test_the_links_of_a_list_lead_through_all_of_it(fitted, address):
    whole = re.sub(r"limit=\d+", "limit=200", address)
    got = fitted.get(whole)
    body = got.json()
    assert (body["next"], got.headers.get("link")) == (None, None)
    found, seen = [], 0
    while address:
        answer = fitted.get(address)
        page = answer.json()
        found += page["items"]
        assert len(page["items"]) > 0 or page["next"] is None
        link = answer.headers.get("link")
        assert (link is None) == (page["next"] is None)
        target = re.fullmatch(r'<(.*)>; rel="next"', link)[1] if link else ""
        address = target and urljoin(str(answer.url), target)
        seen += 1
    assert found == body["items"]
    assert seen > 1
