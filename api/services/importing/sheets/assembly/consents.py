"""Consents of sheets: who agreed to be written to, by which way, and where does it say so?

A consent is taken only where a cell says yes, a day or a way, in a column about consents. Which way
is meant is asked where no cell says it; without an answer there is no consent.
"""

from __future__ import annotations

from solespan.api.services.importing.sheets.assembly.people import Wearer
from solespan.api.services.importing.sheets.assembly.record import ConsentRead, Record
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.translation import ConsentFound, Place

__all__ = ["Consents"]

ANY, NONE = "any", "none"


class Consents:
    """Gathers the consents of all rows."""

    def __init__(self, asker: Asker) -> None:
        self.asker = asker
        self._read: list[tuple[Wearer, ConsentRead, Place]] = []

    def take(self, record: Record, wearer: Wearer) -> None:
        """Take the consents of one row."""
        stated = record.day("consents.given_on")
        on = stated.day if stated and stated.exact else None
        for one in record.consents:
            dated = ConsentRead(one.channel, one.on or on, one.how)
            self._read.append((wearer, dated, record.place))
        if stated and not record.consents:
            self._read.append((wearer, ConsentRead(ANY, on, f"day: {stated.day}"), record.place))

    def found(self) -> list[ConsentFound]:
        """Return the consents, one for each wearer and way."""
        out: dict[tuple[str, str], ConsentFound] = {}
        for wearer, one, place in self._read:
            channel = self._ask(one) if one.channel == ANY else one.channel
            if channel == NONE:
                continue
            address = wearer.values.get("email", "") if channel == "mail" else ""
            out.setdefault(
                (wearer.wearer_id, channel),
                ConsentFound(wearer.wearer_id, channel, one.on, one.how, address, place),
            )
        return list(out.values())

    def _ask(self, one: ConsentRead) -> str:
        return self.asker.ask(
            "consent",
            f"The sheet says {one.how[:80]!r} without a way. To what did the customers agree?",
            (
                ("mail", "notices by e-mail"),
                ("print_list", "letters"),
                (NONE, "nothing that is plain; take no consent"),
            ),
            NONE,
        )
