"""HTTP schemas of photographs: which fields has a picture of a pair over HTTP?"""

from __future__ import annotations

from solespan.api.schemas.planning.planning_fields import field, id_field
from solespan.api.schemas.rack.records import Answer

__all__ = ["PairPhotograph", "PairPhotographs"]


class PairPhotograph(Answer):
    """One photograph of a pair."""

    photo_id: str = id_field("the photograph")
    pair_id: str = id_field("the pair")


class PairPhotographs(Answer):
    """The photographs of a pair."""

    items: list[PairPhotograph] = field("the newest first", "none (list)")
