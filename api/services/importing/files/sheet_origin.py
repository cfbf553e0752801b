"""Sheet origin service.

From which row of a person's sheets did each row of the tables come, and what else do they state?

An import tells its findings by the lines of the tables; here they get the person's file, sheet and
line. Consents are written by the service of consents, in the transaction that takes the rows.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import asdict, replace
from functools import cached_property
from itertools import accumulate

from pydantic import ValidationError
from sqlalchemy.orm import Session

from solespan.api.channels import CHANNELS
from solespan.api.clock import Clock
from solespan.api.errors import NotFound
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.services.importing.files.sheet_tables import NOTES, Reading
from solespan.api.services.importing.sheets import translation as sheets
from solespan.api.services.importing.sheets.translation import ConsentFound, Place, RowFate
from solespan.api.services.interchange.report import QUESTIONED, REFUSED, Finding, ImportReport
from solespan.api.services.notices.consents import take_over
from solespan.api.storage.importing.mappings import put_mapping

__all__ = ["SheetOrigin"]

# What a column of a table is called as a target of a sheet, where that differs.
_TARGETS = {
    "wearers.phone": "wearers.telephone",
    "pairs.price_minor": "pairs.price",
    "soles.nominal_thickness_mm": "soles.thickness",
    "soles.limit_mm": "soles.limit",
    "checks.value_mm": "checks.value",
    "bench_jobs.price_minor": "bench_jobs.price",
}
_CHANNELS = {"print_list": "print"}
_TABLE_LINE = re.compile(r"\b(\w+)\.csv, line (\d+)")
_OWN_LINES = re.compile(r"on line (\d+(?:, \d+)*)")


class SheetOrigin:
    """Where the rows of made-up tables came from; see `api.services.importing.imports.Origin`."""

    def __init__(self, reading: Reading, clock: Clock, by: str, *, may_consent: bool) -> None:
        self._reading, self._clock, self._by = reading, clock, by
        self._may_consent = may_consent
        self._headers = {
            (use.file, use.sheet, use.target): use.header for use in reading.translation.columns
        }
        self._lines: dict[str, list[int]] = {}
        self._consents: list[ConsentGiven] = []
        self._unusable: list[Finding] = []
        for found in reading.translation.consents:
            self._look_at(found)

    @cached_property
    def findings(self) -> list[Finding]:
        """Problems of rows that became no row of a table, each problem of a row, and consents."""
        refused = [fate for fate in self._reading.translation.fates if fate.fate == sheets.REFUSED]
        return [one for fate in refused for one in _problems(fate)] + self._unusable

    @property
    def assumed(self) -> list[dict[str, str]]:
        """Values that no sheet states."""
        return [asdict(one) for one in self._reading.translation.assumed]

    def place(self, finding: Finding) -> Finding:
        """Tell a finding by the person's file, sheet, line and heading."""
        table = finding.file.removesuffix(".csv")
        place = self._place(table, finding.line)
        why = _TABLE_LINE.sub(lambda at: self._words(at[1], int(at[2]), at[0]), finding.why)
        why = _OWN_LINES.sub(self._lines_in(table), why)
        if place is None:
            return replace(finding, why=why)
        name = f"{table}.{finding.column}"
        target = _TARGETS.get(name, name)
        column = self._headers.get((place.file, place.sheet, target)) or finding.column
        return replace(finding, file=_label(place), line=place.line, column=column, why=why)

    def write_along(self, session: Session, _report: ImportReport) -> None:
        """Write consents, and keep the choices for sheets with the same headers."""
        for given in self._consents:
            try:
                take_over(session, given, self._clock)
            except NotFound:  # the row of this customer was not taken
                continue
        put_mapping(session, self._reading.fingerprint, self._reading.choices, self._clock.now())

    def fates_after(self, report: ImportReport) -> list[RowFate]:
        """Return what came of each row of the sheets once the import has judged it as well."""
        refused: dict[tuple[str, int], list[sheets.Problem]] = {}
        for one in report.rows:
            if one.severity == REFUSED:
                problem = sheets.Problem(one.column, one.value, one.why, one.accepted)
                refused.setdefault((one.file, one.line), []).append(problem)
        return [
            replace(fate, fate=sheets.REFUSED, became="", problems=tuple(problems))
            if fate.fate == sheets.TAKEN
            and (problems := refused.get((_label(fate.place), fate.place.line)))
            else fate
            for fate in self._reading.translation.fates
        ]

    def _look_at(self, found: ConsentFound) -> None:
        """Keep a consent that can be written; question one that cannot."""
        channel = _CHANNELS.get(found.channel, found.channel)
        entry = CHANNELS.get(channel)
        why = "" if entry else f"this program does not write by {channel}"
        if not self._may_consent:
            why = "who sends this may not write down consents"
        today = self._clock.today()
        if found.on is not None and found.on > today:
            why = f"{found.on} lies in the future"
        keeps = entry is not None and entry.address.kept == "consent"
        try:
            if not why:
                given = ConsentGiven.model_validate(
                    {
                        "wearer_id": found.wearer_id,
                        "channel": channel,
                        "how": (found.how or f"in the file {found.place.file}")[:200],
                        "by": self._by[:200],
                        "on": found.on,
                        "address": (found.address or None) if keeps else None,
                    }
                )
                self._consents.append(given)
        except ValidationError as cause:
            why = str(cause.errors()[0]["msg"])
        if why:
            self._unusable.append(
                Finding(
                    QUESTIONED,
                    _label(found.place),
                    found.place.line,
                    "consent",
                    found.address,
                    f"the consent was not taken over: {why}",
                    ", ".join(CHANNELS),
                )
            )

    def _place(self, table: str, line: int) -> Place | None:
        places, first = self._reading.translation.origin.get(table, []), self._first_lines(table)
        row = bisect_right(first, line) - 1
        return places[row] if 0 <= row < len(places) and line < first[-1] else None

    def _first_lines(self, table: str) -> list[int]:
        """Return the line of a table's file on which each row begins, and the line after all."""
        if table not in self._lines:
            frame = self._reading.translation.tables.get(table)
            notes = [] if frame is None else frame[NOTES] if NOTES in frame else [""] * len(frame)
            self._lines[table] = [*accumulate((1 + str(n).count("\n") for n in notes), initial=2)]
        return self._lines[table]

    def _words(self, table: str, line: int, as_told: str) -> str:
        place = self._place(table, line)
        return place.words if place else as_told

    def _lines_in(self, table: str) -> Callable[[re.Match[str]], str]:
        def lines(at: re.Match[str]) -> str:
            told = [self._words(table, int(line), line) for line in at[1].split(", ")]
            return "in " + "; ".join(dict.fromkeys(told))

        return lines


def _label(place: Place) -> str:
    return f"{place.file}, sheet {place.sheet}" if place.sheet else place.file


def _problems(fate: RowFate) -> list[Finding]:
    problems = fate.problems or (sheets.Problem("", "", fate.why),)
    return [
        Finding(
            REFUSED,
            _label(fate.place),
            fate.place.line,
            one.column,
            one.value[:200],
            one.why,
            one.accepted,
        )
        for one in problems
    ]
