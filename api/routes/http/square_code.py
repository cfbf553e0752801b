"""Square code (QR, ISO/IEC 18004): how is an address drawn so that a phone can read it?"""

from __future__ import annotations

import segno
from markupsafe import Markup

__all__ = ["square_code"]


def square_code(address: str) -> Markup:
    """Draw an address as SVG; the drawing is segno's own text and holds the address as squares."""
    drawn = segno.make(address, error="m", micro=False)
    return Markup(drawn.svg_inline(omitsize=True, border=2))  # noqa: S704
