"""Units of thickness: how do the trade's units of thickness become millimetres, and back?

1 iron = 1/48 inch and 1 ounce (of thickness) = 1/64 inch: ASTM D1814, clause 1.2. The inch is
25.4 mm exactly. Inside the program every thickness is in millimetres; irons and ounces exist only
at the edge.
"""

from __future__ import annotations

__all__ = ["MM_PER_IRON", "MM_PER_OUNCE", "iron_to_mm", "mm_to_iron", "mm_to_ounce", "ounce_to_mm"]

MM_PER_INCH = 25.4
MM_PER_IRON = MM_PER_INCH / 48
MM_PER_OUNCE = MM_PER_INCH / 64


def iron_to_mm(thickness_iron: float) -> float:
    """Convert a thickness in irons to millimetres (ASTM D1814: 1 iron = 1/48 inch).

    >>> iron_to_mm(9)
    4.7625
    """
    return thickness_iron * MM_PER_INCH / 48


def mm_to_iron(thickness_mm: float) -> float:
    """Convert a thickness in millimetres to irons (ASTM D1814)."""
    return thickness_mm * 48 / MM_PER_INCH


def ounce_to_mm(thickness_ounce: float) -> float:
    """Convert a thickness in ounces (a length, not a mass) to millimetres (ASTM D1814)."""
    return thickness_ounce * MM_PER_INCH / 64


def mm_to_ounce(thickness_mm: float) -> float:
    """Convert a thickness in millimetres to ounces of thickness (ASTM D1814)."""
    return thickness_mm * 64 / MM_PER_INCH
