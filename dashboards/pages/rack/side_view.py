"""Side view: how is a pair drawn as a small SVG where no photograph of it is kept?"""

from __future__ import annotations

from functools import lru_cache

from markupsafe import Markup

from solespan.dashboards.pages.rack.look import LEATHERS, TINTS, Look

__all__ = ["side_symbol", "side_view"]

_LOW = "M8 36C7 29 8 22 9 16c5 4 12 3 18-2 4 6 10 10 18 12 9 2 13 4 13 10z"
_SLIPPER = "M8 36C7 30 8 25 9 20c6 6 13 6 19 1 5 3 11 4 18 6 8 1 12 4 12 9z"
_HIGH = "M9 36C9 27 9 16 10 4h19c-1 8 0 13 4 17 5 3 10 4 14 5 8 2 11 4 11 10z"
_UPPERS = {"loafer": _SLIPPER, "boot": _HIGH, "chelsea": _HIGH}
# lines of each form over its upper: seams, laces, buckles
_LINES = {
    "oxford": "M27 14c-1 9 2 16 8 22M29 17l4-2M32 20l4-2M35 22l4-2",
    "derby": "M20 36c0-8 5-12 15-12M29 18l5-2M32 21l5-2M35 24l4-2",
    "wholecut": "M29 17l4-2M32 20l4-2M35 22l4-2",
    "monk": "M17 36c3-9 9-13 22-13M26 25l13-4",
    "loafer": "M25 36c0-6 3-10 8-13M33 35c0-5 2-8 6-10M39 25c6 2 12 2 17 7",
    "boot": "M20 36c1-9 4-14 13-15M27 8l5-1M26 12l5-1M27 16l5-1M30 20l5-2",
    "chelsea": "M17 5c0 9 1 15 4 18 2-3 3-9 3-18",
}
_SOLES = {
    "welted": "M6 36h54v2.5H24v1.5h35c-2 2-35 2-35 0v3H8z",
    "plain": "M7 36h52c0 2-4 3-9 3H23v4H8z",
    "thick": "M5 36h56c0 5-3 6-6 6H25v2H7z",
}
_INK = "#16191c"


@lru_cache(maxsize=4096)
def side_view(look: Look, width: int = 56, height: int = 42) -> Markup:
    """Draw a side view of 64 by 48 units. The words beside it name the pair, so it is hidden."""
    return Markup(  # noqa: S704 - built of our own words only
        f'<svg class="pic" width="{width}" height="{height}" viewBox="0 0 64 48" '
        f'aria-hidden="true">{_shapes(look)}</svg>'
    )


def side_symbol(look: Look, name: str) -> Markup:
    """Draw a side view once under an id of our own, to be used many times on a page."""
    return Markup(  # noqa: S704 - built of our own words only
        f'<symbol id="{name}" viewBox="0 0 64 48">{_shapes(look)}</symbol>'
    )


def _shapes(look: Look) -> str:
    leather = LEATHERS[look.leather]
    seam = "#e9ddc8" if _dark(leather) else "#2b1d12"
    parts = [
        f'<path d="{_UPPERS.get(look.form, _LOW)}" fill="{leather}" stroke="{_INK}"/>',
        f'<path d="{_SOLES[look.sole]}" fill="{_edge(look)}" stroke="{_INK}"/>',
        f'<path d="{_LINES[look.form]}" fill="none" stroke="{seam}" stroke-width="1.2"/>',
    ]
    if look.cap:
        dots = ' stroke-dasharray="1 2" stroke-width="1.8"' if look.broguing else ""
        parts.append(f'<path d="M46 26c-2 3-2 7-1 10" fill="none" stroke="{seam}"{dots}/>')
    if look.suede:
        parts.append(
            f'<path d="M11 30h12M13 33h30M39 29h12" stroke="{seam}" stroke-dasharray="1 3"/>'
        )
    if look.sole != "plain":
        y = "37.4" if look.sole == "welted" else "37.8"
        parts.append(f'<path d="M26 {y}h33" stroke="#fff" stroke-dasharray="2 1.5" opacity=".7"/>')
    side = "".join(parts)
    if look.toe_left:
        side = f'<g transform="matrix(-1 0 0 1 64 0)">{side}</g>'
    mark = ""
    if look.letter:
        x = 11 if not look.toe_left else 53
        mark = (
            f'<circle cx="{x}" cy="11" r="8" fill="#fff" stroke="{_INK}" stroke-dasharray="2 1"/>'
            f'<text x="{x}" y="15.5" font-size="13" text-anchor="middle" fill="{_INK}">'
            f"{look.letter}</text>"
        )
    ground = f'<rect width="64" height="48" rx="5" fill="{TINTS[look.tint]}"/>'
    return f"{ground}{side}{mark}"


def _edge(look: Look) -> str:
    return "#2f3336" if look.sole == "thick" else "#d3b078"


def _dark(colour: str) -> bool:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return 0.3 * red + 0.59 * green + 0.11 * blue < 110
