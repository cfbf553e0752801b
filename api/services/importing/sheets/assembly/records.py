"""Record reader: what does each row of a block say, cell by cell?

A cell that cannot be read is a problem. A problem with a day, a thickness or a word refuses the
row; one with a price, a size or the like leaves the cell as a note.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from solespan.api.clock import is_time_zone
from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, Day, read_day, read_days
from solespan.api.services.importing.sheets.cells.quantities import (
    currency_in,
    read_frequency,
    read_hours,
    read_minutes,
    read_money,
    read_number,
    read_size,
    read_thickness_mm,
    unit_in,
)
from solespan.api.services.importing.sheets.cells.words import (
    TARGETS,
    is_blank,
    plain,
    say,
    word_of,
)
from solespan.api.services.importing.sheets.layout.blocks import HEADING, Block
from solespan.api.services.importing.sheets.layout.columns import (
    IGNORE,
    NOTE,
    TWO_VALUES,
    WORDS_OF,
    Use,
)
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.sheet import Cell
from solespan.api.services.importing.sheets.translation import Place, Problem
from solespan.forecast.frames import MAX_THICKNESS_MM, TABLES
from solespan.forecast.values import TEXT_LENGTH, TEXT_PATTERNS

__all__ = ["CheckRead", "ConsentRead", "Record", "RecordReader"]

UNIT = "checks.unit"
KEEP_AS_NOTE = "keep as a note"
USUAL_WORD = {"material": "veg_tan_leather", "construction": "goodyear_welted", "work": "full_sole"}
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


@dataclass(frozen=True)
class CheckRead:
    """One measured value or grade of a row; foot and point are empty where the row lacks them."""

    foot: str
    point: str
    method: str
    value_mm: float | None
    grade: str
    day: date | None


@dataclass(frozen=True)
class ConsentRead:
    """One cell of a consent column that says yes: by which way, and since when."""

    channel: str
    on: date | None
    how: str


@dataclass
class Record:
    """All that one row says. `values` holds single values by target."""

    place: Place
    values: dict[str, object] = field(default_factory=dict)
    days: dict[str, list[Day]] = field(default_factory=dict)
    checks: list[CheckRead] = field(default_factory=list)
    works: list[str] = field(default_factory=list)
    consents: list[ConsentRead] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    guesses: dict[str, str] = field(default_factory=dict)
    worn: bool | None = None
    unit: str = ""
    periods: list[tuple[date, date]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    soft: list[Problem] = field(default_factory=list)

    def text(self, target: str) -> str:
        """Return a value as text; empty = the row does not say."""
        value = self.values.get(target)
        return value if isinstance(value, str) else ""

    def number(self, target: str) -> float | None:
        """Return a value as a number; None = the row does not say."""
        value = self.values.get(target)
        return value if isinstance(value, float) else None

    def day(self, target: str) -> Day | None:
        """Return the first day of a target."""
        found = self.days.get(target)
        return found[0] if found else None


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
        self.targets = {use.target for use in self.uses}

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
            record.notes.append(f"{use.name}: {text}"[:TEXT_LENGTH])
            return
        reader = getattr(self, f"_{kind}")
        if not reader(record, use, cell, text):
            problem = Problem(use.name, text[:200], _why(kind), ACCEPTED.get(kind, ""))
            if kind in ("date", "dates", "thickness", "word", "work", "hours", "mark", "event"):
                record.problems.append(problem)
            else:
                record.soft.append(problem)
                record.notes.append(f"{use.name}: {text}"[:TEXT_LENGTH])

    def _text(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        record.values[use.target] = " ".join(text.split())[:TEXT_LENGTH]
        return len(text) <= TEXT_LENGTH

    _name = _label = _text

    def _id(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        record.values[use.target] = " ".join(text.split())[:200]
        return True

    def _email(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        text = re.sub(r"^mailto:|[<>\s]", "", text.strip().strip(",;"))
        record.values[use.target] = text
        good = re.fullmatch(TEXT_PATTERNS["email"][0], text) and len(text) <= 320
        if not good:
            del record.values[use.target]
        return bool(good)

    def _phone(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        kept = re.sub(r"[^\d+()/ .-]", " ", text).strip()
        kept = re.sub(r"\s+", " ", kept)
        if not re.fullmatch(r"^[+(]?[0-9][0-9 ()./-]*$", kept) or not 5 < len(kept) <= 40:
            return False
        record.values[use.target] = kept
        return True

    def _language(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        word, _ = word_of("language", text.replace("_", "-").split("-")[0], near=False)
        if not word:
            return False
        record.values[use.target] = word
        return True

    def _zone(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        if not is_time_zone(text):
            return False
        record.values[use.target] = text
        return True

    def _date(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del text
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

    def _word(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        column = WORDS_OF[use.target]
        word, sure = word_of(column, text)
        if not word:
            word, sure = self._ask_word(column, use.name, text), False
        if not word:
            record.notes.append(f"{use.name}: {text}"[:TEXT_LENGTH])
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

    def _work(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
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

    def _event(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell, use
        record.events.append(text)
        return True

    def _flag(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        number = read_number(cell)
        word, _ = word_of("yes_no", text)
        if not word and number is not None:
            word = "yes" if number > 0 else "no"
        if word:
            record.values[use.target] = "true" if word == "yes" else "false"
        return bool(word)

    def _consent(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        channel = use.target.partition(".")[2]
        pieces = [p for p in re.split(r"[,;(+&/:]|\s(?:and|und|et|e|y|en)\s", text) if p.strip(" )")]
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

    def _mark(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
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

    def _unit(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del use, cell
        record.unit = unit_in(text) or ("inch" if plain(text) == "in" else "")
        return bool(record.unit)

    def _hours(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del text
        value = read_hours(cell)
        if value is None or not 0 <= value <= 24:
            return False
        record.values[use.target] = float(value)
        return True

    def _minutes(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del text
        value = read_minutes(cell)
        high = 1440 if use.target.startswith("wear_days") else 100_000
        if value is None or not 0 <= value <= high:
            return False
        record.values[use.target] = float(value)
        return True

    def _count(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del text
        value = read_number(cell, grouped=True)
        if value is None or value != int(value) or not 0 <= value <= 200_000:
            return False
        if use.target == "pairs.earlier_resoles" and value > 30:
            return False
        if use.target == "pairs.wear_count":
            value += record.number(use.target) or 0.0
            record.periods += [use.period] if use.period else []
        record.values[use.target] = float(value)
        return True

    def _frequency(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del text
        value = read_frequency(cell, use.header)
        if value is None or not 0 <= value <= 7:
            return False
        record.values[use.target] = float(value)
        return True

    def _size(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del text
        value = read_size(cell, use.header)
        if value is not None:
            record.values[use.target] = float(value)
        return value is not None

    def _currency(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del cell
        code = currency_in(text) or (text.upper() if re.fullmatch(r"[A-Za-z]{3}", text) else "")
        record.values[use.target] = code
        return bool(code)

    def _money(self, record: Record, use: Use, cell: Cell, text: str) -> bool:
        del text
        amount = read_money(cell, currency_in(use.header))
        if amount is None:
            return False
        record.values[use.target] = float(amount[0])
        if amount[1]:
            record.values[f"{use.target}.currency"] = amount[1]
        return True


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


def _why(kind: str) -> str:
    return {
        "date": "this is not a day that can be read",
        "dates": "this is not a day, nor a list of days",
        "thickness": "this is not a thickness",
        "email": "this is not an e-mail address",
        "size": "this is not a European size",
        "zone": "this is not a known time zone",
        "language": "this is not a language that is known here",
    }.get(kind, "this cannot be read here")
