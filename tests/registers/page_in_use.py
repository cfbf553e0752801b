"""Run in a copy of the program that has one more page, `/gloss`, with a figure."""

from __future__ import annotations

import re
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.routes.edge.access import need_of
from solespan.api.settings import Settings

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def serve(folder: str, *, accounts: bool) -> TestClient:
    settings = Settings(
        database_url=f"sqlite:///{Path(folder) / f'{accounts}.sqlite3'}",
        accounts=accounts,
        secret_key="a secret of the tests, long enough to sign with",
    )
    app = create_app(settings, clock=Clock(lambda: NOW), background=False)
    return TestClient(app, base_url="http://127.0.0.1:8000", follow_redirects=False)


def shown(client: TestClient) -> None:
    """Every page of the shop leads to it; it says where one is; its figure is drawn and named."""
    assert 'href="/gloss"' in client.get("/bench").text
    page = client.get("/gloss")
    assert page.status_code == 200
    here = re.findall(r'<a href="([^"]+)"[^>]* aria-current="page"', page.text)
    assert set(here) == {"/gloss"}
    assert 'id="figure-gloss_kept">{"data":' in page.text
    assert 'aria-label="How long a shine lasts"' in page.text


def guarded(client: TestClient) -> None:
    """The walk of all routes finds it, and the table of access asks for what the entry says."""
    paths = {context.path for context in iter_route_contexts(client.app.router.routes)}
    assert "/gloss" in paths
    assert need_of("GET", "/gloss") == "manage"
    assert client.get("/gloss").status_code == 401
    led = client.get("/gloss", headers={"accept": "text/html"})
    assert led.headers["location"].startswith("/sign-in")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        with serve(temporary, accounts=False) as open_to_all:
            shown(open_to_all)
        with serve(temporary, accounts=True) as with_accounts:
            guarded(with_accounts)
