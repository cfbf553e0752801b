"""Rows of layers: can one row of `frames.LAYER_ROWS` be true by itself?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

__all__ = ["layer_faults"]

# Layers that an outseam goes through: only they have had seams.
CARRYING = ("welt", "midsole", "insole")


def layer_faults(row: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Say which values of a layer cannot be true: column, why, what is accepted.

    Parameters
    ----------
    row : mapping
        Columns of `frames.LAYER_ROWS`; None where nothing is known.
    """
    new, now, limit = (row.get(f"{c}_mm") for c in ("nominal_thickness", "thickness", "limit"))
    if new is not None and new <= 0:
        yield "nominal_thickness_mm", "a new layer has some thickness", "more than 0 mm"
    if new is not None and now is not None and now > new:
        yield "thickness_mm", f"{now:g} mm is more than the new layer has", f"up to {new:g} mm"
    if new is not None and limit is not None and limit >= new:
        said = f"{limit:g} mm is not under the new layer"
        yield "limit_mm", said, f"less than {new:g} mm"
    fitted, removed = row.get("fitted_on"), row.get("removed_on")
    if fitted is not None and removed is not None and removed < fitted:
        yield "removed_on", "it came off before it was fitted", f"{str(fitted)[:10]} or later"
    if row.get("earlier_seams") is not None and row["layer"] not in CARRYING:
        yield "earlier_seams", "no outseam goes through it", f"seams of {', '.join(CARRYING)}"
