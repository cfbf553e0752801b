"""Assembly of tables: what do all rows of all lists say together, and what became of each?

The rows of one line are taken or refused together. People come first, then pairs, then events;
soles come last, when all days of a pair are known.
"""

from __future__ import annotations

import copy
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby

from solespan.api.services.importing.sheets.assembly.consents import Consents
from solespan.api.services.importing.sheets.assembly.details import (
    add_pair_details,
    add_wearer_details,
    label_parts,
)
from solespan.api.services.importing.sheets.assembly.diary import read_diary
from solespan.api.services.importing.sheets.assembly.events import (
    NO_EVENT,
    RESOLES,
    Rows,
    apply_events,
    check_rows,
    job_rows,
    wear_rows,
)
from solespan.api.services.importing.sheets.assembly.judgement import judge_days
from solespan.api.services.importing.sheets.assembly.pair_rows import write_people
from solespan.api.services.importing.sheets.assembly.people import Book, Pair, SoleFact, Wearer
from solespan.api.services.importing.sheets.assembly.record import Record
from solespan.api.services.importing.sheets.assembly.records import RecordReader
from solespan.api.services.importing.sheets.assembly.remarks import lines_of
from solespan.api.services.importing.sheets.assembly.table_rows import TableRows
from solespan.api.services.importing.sheets.cells.words import TARGETS, plain, say
from solespan.api.services.importing.sheets.layout.completion import List
from solespan.api.services.importing.sheets.layout.interchange import rows_of
from solespan.api.services.importing.sheets.layout.text_lines import split_caption
from solespan.api.services.importing.sheets.layout.use import is_described
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.sheet import Sheet
from solespan.api.services.importing.sheets.translation import (
    LEFT_OUT,
    REFUSED,
    TAKEN,
    Assumption,
    KnownNames,
    Note,
    Place,
    Problem,
    RowFate,
    Translation,
)
from solespan.forecast.columns import Table

__all__ = ["Assembly"]

ONE, SEVERAL = "one pair", "a pair for each row"
ROWS_IN_WORDS = {
    "wear_days": "wear day",
    "checks": "check",
    "bench_jobs": "bench job",
    "layers": "layer",
}
_BETWEEN = re.compile(r"[,;+&/\n]|\s(?:and|und|et|e|y|en)\s")
DAY_OF = {"wear_days": "worn_on", "checks": "checked_on", "bench_jobs": "received_on"}


class Assembly:
    """Takes lists one after the other, and makes a translation of them at the end."""

    def __init__(self, known: KnownNames, asker: Asker, today: date) -> None:
        self.known = known
        self.asker = asker
        self.today = today
        self.book = Book(known, asker)
        self.rows = TableRows()
        self.out = Translation()
        self.consents = Consents(asker)
        self._counted: Counter[tuple[str, str, str]] = Counter()

    def take_table(self, sheet: Sheet, table: Table) -> None:
        """Take a sheet that has the columns of our own files, as it stands."""
        names = list(dict.fromkeys(str(c).strip() for c in sheet.rows[0] if c is not None))
        told = dict(rows_of(sheet))
        for line in sheet.lines:
            place = Place(sheet.file, sheet.name, line)
            if line not in told:
                why = "a header row" if line == sheet.lines[0] else "an empty row"
                self.out.fates.append(RowFate(place, LEFT_OUT, why))
                continue
            self.rows.add_verbatim(table.name, told[line], place, names)
            self.out.fates.append(RowFate(place, TAKEN, became=f"a row of {say(table.name)}"))
            if table.name == "pairs":
                self._remember(told[line], place)

    def _remember(self, row: dict[str, str], place: Place) -> None:
        wearer_id = row.get("wearer_id", "")
        wearer = self.book.wearers.setdefault(wearer_id, Wearer(wearer_id, place, known=True))
        label = row.get("label", "") or row["pair_id"]
        self.book.add(Pair(row["pair_id"], wearer, label, place, known=True), row["pair_id"])

    def take_list(self, one: List) -> None:
        """Take the rows of a list, line by line."""
        reader = RecordReader(one.block, one.uses, one.style, self.asker, one.units)
        numbered = zip(one.block.lines, one.block.rows, strict=True)
        records = [
            [reader.read(row, line) for _, row in rows]
            for line, rows in groupby(numbered, key=lambda pair: pair[0])
        ]
        records = self._split_labels(one, records)
        longer = _labels_in_need(records)
        for of_line in records:
            self._take_line(one, of_line, longer)

    def _split_labels(self, one: List, records: list[list[Record]]) -> list[list[Record]]:
        """Give each pair a record of its own where a cell names several, as `brown and black`."""
        if is_described(one.targets):
            return records
        alone = {plain(r.text("pairs.label")) for of_line in records for r in of_line}
        alone |= {plain(label) for label in self.book.labels()}
        return [[part for r in of_line for part in _parts(r, alone)] for of_line in records]

    def _take_line(self, one: List, records: list[Record], longer: set[str]) -> None:
        for record in records:
            judge_days(record, self.today)
        became: Counter[str] = Counter()
        named: list[str] = []
        doubles: list[str] = []
        if not any(record.problems for record in records):
            for record in records:
                self._take_record(one, record, longer, became, named, doubles)
        problems = tuple(dict.fromkeys(p for record in records for p in record.problems))
        place = records[0].place
        soft = tuple(dict.fromkeys(p for record in records for p in record.soft))
        if problems:
            why = "; ".join(p.words for p in problems)
            self.out.fates.append(RowFate(place, REFUSED, why, problems=(*problems, *soft)))
            return
        words = [*dict.fromkeys(named), *(_number(n, what) for what, n in became.items())]
        if not words or (doubles and not became):
            why = doubles[0] if doubles else "the row says nothing that has a place here"
            self.out.fates.append(RowFate(place, LEFT_OUT, why, problems=soft))
            return
        why = "; ".join([*doubles[:1], *(p.words for p in soft)])
        self.out.fates.append(RowFate(place, TAKEN, why, ", ".join(words), soft))

    def _take_record(
        self,
        one: List,
        record: Record,
        longer: set[str],
        became: Counter[str],
        named: list[str],
        doubles: list[str],
    ) -> None:
        wearer = self.book.wearer(record)
        if wearer is not None:
            named.append(f"customer {wearer.values.get('name', wearer.wearer_id)}")
        label, more = label_parts(record)
        if more and plain(label) in longer:
            label, more = f"{more} {label}", ""
        if "pairs.label" not in one.targets and record.events:
            label = label or read_diary(record, self.book.labels())
        pair = self._pair_of(one, record, wearer, label)
        if record.problems:
            return
        if pair is not None:
            told = pair.label or pair.pair_id
            named.append(told if told.startswith("pair ") else f"pair {told}")
            self._take_events(one, record, pair, became, doubles)
            if record.problems:
                return
            add_pair_details(record, pair)
        elif wearer is None and (record.notes or record.remarks):
            became["note"] += 0
        if more:
            record.notes.append(more)
        if wearer is not None:
            add_wearer_details(record, wearer)
            self.consents.take(record, wearer)
        self._take_notes(one, record, pair, wearer, became)

    def _pair_of(self, one: List, record: Record, wearer: Wearer | None, label: str) -> Pair | None:
        about = {t.partition(".")[0] for t in (*record.values, *record.days)}
        tables = {"pairs", "soles", "wear_days", "checks", "bench_jobs", "any"}
        if not (about & tables or record.checks or record.works or record.events or label):
            return None
        if not label and not record.text("pairs.pair_id"):
            label = self._unnamed(one, record, wearer)
            if not label:
                record.problems.append(
                    Problem("", "", "the row names no pair", "the name of a pair")
                )
                return None
        described = is_described(one.targets)
        return self.book.pair(record, wearer, label, described=described)

    def _unnamed(self, one: List, record: Record, wearer: Wearer | None) -> str:
        """Name the pair of a row that names none: by its wearer, or by the table's caption."""
        if wearer is None and not is_described(one.targets):
            label, day = split_caption(one.block.caption, one.style)
            if day is not None:
                record.days.setdefault("checks.checked_on", [day])
            return label
        if wearer is None:
            return ""
        own = [p for p in self.book.pairs.values() if p.wearer is wearer]
        if len(own) == 1 and not is_described(one.targets):
            return own[0].label
        name = wearer.values.get("name", wearer.wearer_id)
        label = f"pair of {name}"
        if own and record.place != own[-1].place and is_described(one.targets):
            answer = self.asker.ask(
                "same_pair",
                f"Several rows of {name} name no pair. Are they of one pair?",
                ((SEVERAL, "no, each row is a pair"), (ONE, "yes, they are one pair")),
                SEVERAL,
            )
            return label if answer == ONE else f"{label} ({len(own) + 1})"
        return label

    def _take_events(
        self, one: List, record: Record, pair: Pair, became: Counter[str], doubles: list[str]
    ) -> None:
        facts: list[SoleFact] = apply_events(record)
        has_work = "bench_jobs.work" in one.targets or "any.event" in one.targets
        counted: Counter[tuple[str, str, str]] = Counter()

        def count(table: str, column: str, value: str) -> None:
            counted[table, column, value] += 1

        if NO_EVENT in record.days:
            record.problems.append(
                Problem("", "", "the row has a day but does not say what happened", "worn, resoled")
            )
            return
        found: dict[str, Rows] = {
            "wear_days": wear_rows(record, pair),
            "checks": check_rows(record, pair, self.asker, self.today, count),
            "bench_jobs": job_rows(
                record, pair, facts, self.asker, self.today, count, has_work=has_work
            ),
        }
        fresh = self._fresh(record, found, doubles)
        if record.problems:
            return
        self._counted += counted
        pair.facts += facts
        for table in ("wear_days", "bench_jobs"):
            if not found[table] and record.worn is None:
                record.notes += _unused(record, table)
        for table, rows in fresh.items():
            for row in rows:
                self.rows.add(table, row, record.place)
                became[ROWS_IN_WORDS[table]] += 1
                if row.get("work") not in RESOLES:
                    last = row.get("returned_on") or row.get("finished_on") or row[DAY_OF[table]]
                    pair.days.append(date.fromisoformat(last))

    def _fresh(self, record: Record, found: dict[str, Rows], doubles: list[str]) -> dict[str, Rows]:
        """Keep the rows that are new; a row with other values for the same key is a problem."""
        fresh: dict[str, Rows] = {table: [] for table in found}
        own: dict[str, dict[tuple[str, ...], dict[str, str]]] = {table: {} for table in found}
        for table, rows in found.items():
            for row in rows:
                key = self.rows.key(table, row)
                before = self.rows.find(table, row)
                told = {name: value for name, value in row.items() if value}
                if key in own[table] and own[table][key] != row:
                    record.problems.append(
                        Problem("", " ".join(key), "the row states two values of this", "one value")
                    )
                if key in own[table]:
                    continue
                if before is None:
                    own[table][key] = row
                    fresh[table].append(row)
                elif all(before[0].get(name, value) == value for name, value in told.items()):
                    doubles.append(f"the same {ROWS_IN_WORDS[table]} is in {before[1].words}")
                else:
                    record.problems.append(
                        Problem(
                            "",
                            " ".join(key),
                            f"{before[1].words} has other values for the same {say(table)}",
                            "one row for each",
                        )
                    )
        return fresh

    def _take_notes(
        self,
        one: List,
        record: Record,
        pair: Pair | None,
        wearer: Wearer | None,
        became: Counter[str],
    ) -> None:
        for text in lines_of(record, dated=not is_described(one.targets)):
            if pair is not None:
                self.out.notes.append(Note("pairs", pair.pair_id, text, record.place))
            elif wearer is not None:
                self.out.notes.append(Note("wearers", wearer.wearer_id, text, record.place))
            else:
                continue
            became["note"] += 1

    def finish(self) -> Translation:
        """Write people, pairs and soles, and gather what was assumed."""
        write_people(self.book, self.rows, self.known, self.asker, self.today, self.out.assumed)
        for (table, column, value), number in self._counted.items():
            words = (
                f"{say(column)} is not stated in {_number(number, 'row')}; {say(value)} is assumed"
            )
            self.out.assumed.append(Assumption(table, "", column, value, words))
        self.out.consents = self.consents.found()
        self.out.tables = self.rows.frames()
        self.out.origin = self.rows.origin()
        return self.out


def _unused(record: Record, table: str) -> list[str]:
    """Write what a row says of an event that it does not state, so that nothing is lost."""
    told = {t: v for t, v in record.values.items() if t.startswith(f"{table}.") and t in TARGETS}
    return [
        f"{TARGETS[t].title}: {v:g}" if isinstance(v, float) else f"{TARGETS[t].title}: {v}"
        for t, v in told.items()
    ]


def _parts(record: Record, alone: set[str]) -> list[Record]:
    label = record.text("pairs.label")
    pieces = [p.strip() for p in _BETWEEN.split(label) if p.strip()]
    if len(pieces) < 2 or not any(plain(piece) in alone for piece in pieces):
        return [record]
    return [
        replace(copy.deepcopy(record), values={**record.values, "pairs.label": piece})
        for piece in pieces
    ]


def _labels_in_need(records: Sequence[Sequence[Record]]) -> set[str]:
    """Find labels that stand for several pairs, told apart by brand, model or colour."""
    more: dict[str, set[str]] = {}
    for of_line in records:
        for record in of_line:
            label, words = label_parts(record)
            more.setdefault(plain(label), set()).add(plain(words))
    return {label for label, words in more.items() if len(words) > 1}


def _number(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
