"""Messages of the program: which texts must every catalogue hold, and what does each look like?"""

from __future__ import annotations

from functools import cache
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po
from jinja2.ext import babel_extract

from solespan.api.notices.template import messages_of

ROOT = Path(__file__).parent.parent.parent
CATALOGUES = ROOT / "dashboards/messages"
PYTHON = ("dashboards", "api/notices", "api/channels", "api/routes")
KEYWORDS = {"_": None, "say": None, "gettext": None, "gettext_noop": None, "ngettext": (1, 2)}
WIDTH = 99


@cache
def messages() -> dict[str | tuple[str, str], str]:
    """Return every message of a customer's texts, and a file it stands in."""
    found: dict[str | tuple[str, str], str] = {}
    for folder in PYTHON:
        for path in sorted((ROOT / folder).rglob("*.py")):
            lines = BytesIO(path.read_bytes())
            for _, message, *_ in extract("python", lines, keywords=KEYWORDS):
                found[message] = path.name
    for path in sorted((ROOT / "dashboards/templates").rglob("*.html")):
        lines = BytesIO(path.read_bytes())
        for _, _, message, _ in babel_extract(lines, list(KEYWORDS), [], {}):
            if isinstance(message, tuple):  # an ngettext with its number, a gettext with values
                texts = tuple(text for text in message if text is not None)
                found[texts[:2] if len(texts) > 1 else texts[0]] = path.name
            elif message:
                found[message] = path.name
    return found | dict.fromkeys(messages_of(), "api/notices/templates")


def read_catalogue(code: str) -> Catalog:
    """Read the catalogue of a language."""
    return read_po(BytesIO((CATALOGUES / f"{code}.po").read_bytes()), locale=code)


def write_catalogue(code: str) -> None:
    """Bring a catalogue to the messages of the program: what is new stands in it without text."""
    try:
        old = {message.id: message for message in read_catalogue(code) if message.id}
    except FileNotFoundError:
        old = {}
    new = Catalog(locale=code, project="solespan", charset="utf-8", fuzzy=False)
    for message in sorted(messages(), key=str):
        known = old.get(message)
        new.add(message, known.string if known else None)
    out = BytesIO()
    write_po(out, new, width=WIDTH, omit_header=False, no_location=True)
    lines = out.getvalue().decode().splitlines()
    dated = ("#", '"POT-Creation', '"PO-Revision', '"Last-Tr', '"Generated', '"Report')
    kept = [line for line in lines if not line.startswith(dated)]
    (CATALOGUES / f"{code}.po").write_text("\n".join(kept).strip() + "\n", "utf-8")
