"""Web app manifest and service worker.

What does a phone need to put the rack on its home screen and open it without a network?
"""

from __future__ import annotations

import json
from importlib.resources import files

from fastapi import APIRouter, Response

from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.requests import json_answer
from solespan.dashboards.assets import assets
from solespan.dashboards.chapters import help_addresses, help_version

__all__ = ["PAGE"]

router = APIRouter()
GROUND = "#e9eeec"
HELP_PAGES = 'const HELP = { cache: "solespan-help", pages: [] };'  # as it stands in the script


@router.get("/app.webmanifest")
def read_manifest() -> Response:
    """Describe the installed program (W3C Web Application Manifest)."""
    icons = [("icon-192.png", "192x192"), ("icon-512.png", "512x512")]
    body = {
        "name": "solespan",
        "short_name": "solespan",
        "description": "When does each pair need a new sole?",
        "id": "/",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": GROUND,
        "theme_color": GROUND,
        "shortcuts": [
            {"name": "Pick of the day", "url": "/"},
            {"name": "Log today", "url": "/worn"},
            {"name": "Thumb check", "url": "/thumb"},
        ],
        "icons": [
            {
                "src": f"/assets/{assets()[name].url_name}",
                "sizes": sizes,
                "type": "image/png",
                "purpose": "any maskable",
            }
            for name, sizes in icons
        ]
        + [
            {
                "src": f"/assets/{assets()['icon.svg'].url_name}",
                "sizes": "any",
                "type": "image/svg+xml",
            }
        ],
    }
    answer = json_answer(body)
    answer.headers["content-type"] = "application/manifest+json"
    return answer


@router.get("/sw.js")
def read_service_worker() -> Response:
    """Send the script that keeps pages and files for a time without a network.

    It stands at the root because that is how far it may look. A browser asks for it each time.
    """
    script = (files("solespan.dashboards") / "static" / "sw.js").read_text("utf-8")
    known = {"cache": f"solespan-help-{help_version()}", "pages": help_addresses()}
    filled = script.replace(HELP_PAGES, f"const HELP = {json.dumps(known)};", 1)
    return Response(
        filled,
        media_type="text/javascript",
        headers={"cache-control": "no-cache"},
    )


PAGE = PageEntry(router, needs=(Need(r"/app\.webmanifest|/sw\.js", "open", "open"),))
