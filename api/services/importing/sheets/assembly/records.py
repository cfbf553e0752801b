"""Record reader: what does each row of a block say, cell by cell?

A cell that cannot be read is a problem. A problem with a day, a thickness or a word refuses the
row. One with a price, a size or the like leaves the cell as a note.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from solespan.api.services.importing.sheets.assembly.plain_cells import PLAIN_READERS, Reader
from solespan.api.services.importing.sheets.assembly.record import CheckRead, ConsentRead, Record
from solespan.api.services.importing.sheets.assembly.remarks import add_text
from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_day, read_days
from solespan.api.services.importing.sheets.cells.quantities import (
    read_hours,
    read_number,
    read_thickness_mm,
)
from solespan.api.services.importing.sheets.cells.words import (
    TARGETS,
    is_blank,
    plain,
    say,
    word_of,
)
from solespan.api.services.importing.sheets.layout.blocks import HEADING, Block
from solespan.api.services.importing.sheets.layout.looks import IGNORE, TWO_VALUES, WORDS_OF
from solespan.api.services.importing.sheets.layout.use import NOTE, Use
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.sheet import Cell
from solespan.api.services.importing.sheets.translation import Problem
from solespan.forecast.frames import MAX_THICKNESS_MM, TABLES

__all__ = ["RecordReader"]

UNIT = "checks.unit"
KEEP_AS_NOTE = "keep as a note"
USUAL_WORD = {"material": "veg_tan_leather", "construction": "goodyear_welted", "work": "full_sole"}
REFUSES = ("date", "dates", "thickness", "word", "work", "hours", "mark", "event")
ACCEPTED = {
    "date": "a day such as 2024-03-31, 31.3.2024 or March 2024",
    "dates": "a day, or several with semicolons between",
    "thickness": "a thickness from 0 to 40 mm, or in irons",
    "hours": "hours from 0 to 24",
    "mark": "a mark, or hours from 0 to 24",
    "count": "a whole number",
    "flag": "yes or no",
    "email": "an address with one @",
    "consent": "yes, no, the day or the way of the consent",
}
WHY = {
    "date": "this is not a day that can be read",
    "dates": "this is not a day, nor a list of days",
    "thickness": "this is not a thickness",
    "email": "this is not an e-mail address",
    "size": "this is not a European size",
    "zone": "this is not a known time zone",
    "language": "this is not a language that is known here",
}


class RecordReader:
    """Reads the rows of one block by the uses of its columns."""

    def __init__(
        self,
        block: Block,
        uses: Sequence[Use],
        style: DateStyle,
        asker: Asker,
        units: dict[int, str],
    ) -> None:
        self.block = block
        self.uses = sorted(
            (use for use in uses if use.target != IGNORE), key=lambda use: use.target != UNIT
        )
        self.style = style
        self.asker = asker
        self.units = units
        self._readers: dict[str, Reader] = PLAIN_READERS | {
            "date": self._date,
            "dates": self._dates,
            "word": self._word,
            "work": self._work,
            "consent": self._consent,
            "thickness": self._thickness,
            "mark": self._mark,
        }

    def read(self, row: Sequence[Cell], line: int) -> Record:
        """Read one row."""
        record = Record(self.block.place(line))
        if self.block.headers[0] == HEADING:
            year = month_and_year_in(text_of(row[0]))[1]
            self.style = replace(self.style, year=year or self.style.year)
        for use in self.uses:
            cell = row[use.at]
            text = text_of(cell)
            if text and not is_blank(text):
                self._read_cell(record, use, cell, text)
        return record

    def _read_cell(self, record: Record, use: Use, cell: Cell, text: str) -> None:
        kind = TARGETS[use.target].kind
        if use.target == NOTE:
            add_text(record, use.name, text)
            return
        if not self._readers[kind](record, use, cell, text):
            why = WHY.get(kind, "this cannot be read here")
            problem = Problem(use.name, text[:200], why, ACCEPTED.get(kind, ""))
            if kind in REFUSES:
                record.problems.append(problem)
            else:
                record.soft.append(problem)
                record.notes.append(f"{use.name}: {text}")

    def _date(self, record: Record, use: Use, cell: Cell, _text: str) -> bool:
        day = read_day(cell, self.style)
        if day is not None:
            record.days[use.target] = [day]
        return day is not None

    def _dates(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        days = read_days(cell, self.style)
        if days is None:
            if use.target == "soles.fitted_on" and word_of("yes_no", text, near=False)[0]:
                return word_of("yes_no", text, near=False)[0] == "no"
            return False
        record.days.setdefault(use.target, []).extend(days)
        return True

    def _word(self, record: Record, use: Use, _cell: Cell, text: str) -> bool:
        if use.target == "checks.grade" and read_number(text) is not None:
            return self._add_value(record, use, text, "")
        column = WORDS_OF[use.target]
        word, sure = word_of(column, text)
        if not word:
            word, sure = self._ask_word(column, use.name, text), False
        if not word:
            record.notes.append(f"{use.name}: {text}")
            return True
        if use.target == "checks.grade":
            record.checks.append(self._check(use, None, word))
            return True
        record.values[use.target] = word
        if not sure:
            record.guesses[use.target] = text[:100]
        return True

    def _ask_word(self, column: str, header: str, text: str) -> str:
        words = next(
            (c.words for t in TABLES.values() for c in t.columns if c.name == column and c.words),
            (),
        )
        usual = USUAL_WORD.get(column, "")
        choices = [*((word, say(word)) for word in words), ("", KEEP_AS_NOTE)]
        return self.asker.ask(
            f"word:{column}:{plain(text)[:60]}",
            f"Column {header}: what is {text[:60]!r}?",
            choices,
            usual,
            most=4,
        )

    def _work(self, record: Record, use: Use, _cell: Cell, text: str) -> bool:
        whole, _ = word_of("work", text, near=False)
        pieces = (
            [text] if whole else re.split(r"[+,;/&\n]|\s(?:and|und|et|e|y|en|with|mit)\s", text)
        )
        for piece in pieces:
            if piece.strip():
                word = word_of("work", piece)[0] or self._ask_word("work", use.name, piece.strip())
                if word and word not in record.works:
                    record.works.append(word)
                elif not word:
                    record.notes.append(f"{use.name}: {piece.strip()}")
        return True

    def _consent(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        channel = use.target.partition(".")[2]
        pieces = [
            p for p in re.split(r"[,;(+&/:]|\s(?:and|und|et|e|y|en)\s", text) if p.strip(" )")
        ]
        day = read_day(cell, self.style)
        if day is not None:
            record.consents.append(ConsentRead(channel, day.day, f"{use.name}: {text}"))
            return True
        found: list[str] = []
        on = None
        for piece in pieces:
            answer, way = _answer_and_way(piece)
            if answer == "no":
                return True
            dated = read_day(piece.strip(" )"), self.style)
            on = dated.day if dated else on
            if not (answer or way or dated):
                return False
            found += [way] if way else []
        for way in found or [channel]:
            record.consents.append(ConsentRead(way, on, f"{use.name}: {text}"))
        return True

    def _thickness(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        if use.target == "checks.value" and not re.search(r"[\d½¼¾]", text):
            grade = word_of("grade", text, near=False)[0]
            if grade:
                record.checks.append(self._check(use, None, grade))
            return bool(grade)
        both = TWO_VALUES.fullmatch(text)
        if use.target == "checks.value" and both:
            return all(
                self._add_value(record, use, number, foot)
                for number, foot in zip(both.groups(), ("left", "right"), strict=True)
            )
        if use.target == "checks.value":
            return self._add_value(record, use, cell, "")
        value = read_thickness_mm(cell, record.unit or self.units.get(use.at, ""))
        if value is None or not 0 < value <= MAX_THICKNESS_MM:
            return False
        record.values[use.target] = value
        return True

    def _add_value(self, record: Record, use: Use, cell: Cell, foot: str) -> bool:
        value = read_thickness_mm(cell, record.unit or self.units.get(use.at, ""))
        if value is None or not 0 <= value <= MAX_THICKNESS_MM:
            return False
        record.checks.append(self._check(use, value, "", foot))
        return True

    def _check(self, use: Use, value: float | None, grade: str, foot: str = "") -> CheckRead:
        facets = use.facets
        return CheckRead(
            foot or facets.get("foot", ""),
            facets.get("point", ""),
            "thumb" if grade else facets.get("method", ""),
            value,
            grade,
            use.day,
        )

    def _mark(self, record: Record, _use: Use, cell: Cell, text: str) -> bool:
        answer = word_of("yes_no", text, near=False)[0]
        number = read_hours(cell)
        record.worn = True
        if answer and (number is None or number == 1):
            record.worn = answer == "yes"
            return True
        if number is not None and 0 < number <= 24:
            record.values["wear_days.hours"] = float(number)
            return True
        works = word_of("work", text, near=False)[0] or word_of("event", text, near=False)[0]
        if works:
            record.events.append(text)
            record.worn = None
            return True
        return self._ask_mark(record, text)

    def _ask_mark(self, record: Record, text: str) -> bool:
        meaning = self.asker.ask(
            f"mark:{text.strip().lower()[:30]}",
            f"A cell of the calendar says {text[:40]!r}: what does it mean?",
            (("worn", "worn"), ("wet", "worn in the wet"), ("", "not worn"), ("bad", "a mistake")),
            "worn",
            most=4,
        )
        record.worn = bool(meaning)
        if meaning == "wet":
            record.values["wear_days.wet"] = "true"
        return meaning != "bad"


def _answer_and_way(piece: str) -> tuple[str, str]:
    """Read `yes`, `by letter` or `yes by e-mail`; both are empty where other words stand."""
    tokens = plain(piece).split()
    answer = word_of("yes_no", " ".join(tokens), near=False)[0]
    if answer:
        return answer, ""
    first = word_of("yes_no", tokens[0], near=False)[0] if tokens else ""
    rest = tokens[1:] if first else tokens
    way = word_of("consent_channel", " ".join(rest), near=False)[0]
    return (first or "yes", way) if way else ("", "")
