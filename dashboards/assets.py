"""Static assets: which static files do the pages load, under which name, and compressed how?

Each file is named by its content (`app.1a2b3c4d5e6f.css`), so that a browser may keep it for ever
and a new version gets a new name. The figure library is the one in the installed plotly package.
"""

from __future__ import annotations

import gzip
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

__all__ = ["Asset", "asset_by_url_name", "assets", "plotly_map_style_id"]

SCRIPT = "text/javascript; charset=utf-8"
OWN_FILES = {
    "app.css": "text/css; charset=utf-8",
    "bench.css": "text/css; charset=utf-8",
    "customer.css": "text/css; charset=utf-8",
    "chart.css": "text/css; charset=utf-8",
    "pair.css": "text/css; charset=utf-8",
    "notices.css": "text/css; charset=utf-8",
    "plan.css": "text/css; charset=utf-8",
    "plotly.css": "text/css; charset=utf-8",
    "print.css": "text/css; charset=utf-8",
    "grid.css": "text/css; charset=utf-8",
    "rack.css": "text/css; charset=utf-8",
    "phone.css": "text/css; charset=utf-8",
    "figures.js": SCRIPT,
    "grid.js": SCRIPT,
    "partial.js": SCRIPT,
    "rack.js": SCRIPT,
    "passkeys.js": SCRIPT,
    "regions.js": SCRIPT,
    "icon.svg": "image/svg+xml",
    "icon-192.png": "image/png",
    "icon-512.png": "image/png",
    "device.js": SCRIPT,
    "offline.js": SCRIPT,
    "push.js": SCRIPT,
}
LIBRARY = "plotly.js"
GZIP_LEVEL = 6  # level 9 takes three times as long for 1 % less


@dataclass(frozen=True)
class Asset:
    """One file: its bytes, plain and gzipped, its type, and the name it has in addresses."""

    name: str
    url_name: str
    media_type: str
    content: bytes
    gzipped: bytes


def _asset(name: str, media_type: str, content: bytes) -> Asset:
    digest = hashlib.sha256(content).hexdigest()[:12]
    stem, _, suffix = name.rpartition(".")
    return Asset(
        name,
        f"{stem}.{digest}.{suffix}",
        media_type,
        content,
        gzip.compress(content, GZIP_LEVEL, mtime=0),
    )


@cache
def assets() -> dict[str, Asset]:
    """Read and compress every static file once; about 0.3 s, most of it the figure library."""
    own = files("solespan.dashboards") / "static"
    found = {
        name: _asset(name, kind, (own / name).read_bytes()) for name, kind in OWN_FILES.items()
    }
    library = (files("plotly") / "package_data" / "plotly.min.js").read_bytes()
    found[LIBRARY] = _asset(LIBRARY, SCRIPT, library)
    return found


@cache
def _by_url_name() -> dict[str, Asset]:
    return {asset.url_name: asset for asset in assets().values()}


def asset_by_url_name(url_name: str) -> Asset | None:
    """Find a file by the name it has in addresses; None where there is none."""
    return _by_url_name().get(url_name)


@cache
def plotly_map_style_id() -> str:
    """Find the id whose presence keeps the library from adding its map style to the page.

    The library adds that style only where no element of this id (a hash of its build) exists; a
    strict Content-Security-Policy would refuse it.
    """
    text = assets()[LIBRARY].content.decode("utf-8")
    found = re.search(r'document\.getElementById\("([0-9a-f]{64})"\)', text)
    return found.group(1) if found else ""
