"""Picture of a pair for mails: how is its side view drawn as PNG, which every mail reader shows?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from resvg import render, usvg

from solespan.dashboards.pages.rack.look import Look, guess_look
from solespan.dashboards.pages.rack.side_view import side_view

__all__ = ["draw_pair"]

WIDTH_PX, HEIGHT_PX = 224, 168  # twice the place it has in a mail
_PLAIN = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)  # row by row
_SPACE = 'xmlns="http://www.w3.org/2000/svg" '


def draw_pair(pair: Mapping[str, Any]) -> bytes:
    """Draw a pair of which no photograph is kept, from its record."""
    return _drawn(replace(guess_look(pair), letter=""))


@lru_cache(maxsize=512)
def _drawn(look: Look) -> bytes:
    svg = str(side_view(look, WIDTH_PX, HEIGHT_PX)).replace("<svg ", f"<svg {_SPACE}", 1)
    return bytes(render(usvg.Tree.from_str(svg, usvg.Options.default()), _PLAIN))
