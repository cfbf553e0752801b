"""Help and the API's page: are they served under the strict policy, also for a phone offline?"""

import json
import re

from solespan.dashboards.chapters import CHAPTERS, help_addresses


def test_the_help_lists_every_chapter_and_serves_it(client):
    index = client.get("/help").text
    for chapter in CHAPTERS:
        assert f'href="{chapter.address}"' in index
        assert client.get(chapter.address).status_code == 200
    missing = client.get("/help/nothing", headers={"accept": "text/html"})
    assert missing.status_code == 404
    assert "no help chapter" in missing.text


def test_a_page_leads_to_its_chapter(client):
    assert 'href="/help/collector/import"' in client.get("/import").text


def test_the_service_worker_keeps_every_help_page(client):
    script = client.get("/sw.js").text
    (known,) = re.findall(r"^const HELP = (\{.*?\});", script, re.MULTILINE)
    assert json.loads(known)["pages"] == help_addresses()


def test_the_api_page_shows_every_operation_and_loads_nothing_from_elsewhere(client, app):
    answer = client.get("/docs")
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert not re.search(r'(?:src|href)="(?:https?:)?//', answer.text)
    for path, methods in app.openapi()["paths"].items():
        for method in methods:
            assert f"<code>{method.upper()} {path}</code>" in answer.text
