"""Habits of people: twenty sheets of shoes as persons keep them, and one of a larger shop.

All are invented.
"""

from __future__ import annotations

from datetime import date, timedelta

from tests.api.importing.sheets import day_habits as days
from tests.api.importing.sheets import list_habits as lists
from tests.api.importing.sheets.habit import TODAY, Habit
from tests.api.importing.sheets.sheet_files import Cell

__all__ = ["HABITS", "TODAY", "Habit", "shop_of"]

HABITS = (
    lists.LONG_LIST,
    lists.GERMAN_LIST,
    lists.IRONS,
    lists.MERGED,
    lists.REPAIRS,
    lists.SHOP,
    lists.LIST_OF_DAYS,
    lists.COUNTS,
    days.MONTH_GRID,
    days.YEAR_OF_MONTHS,
    days.DAYS_DOWN,
    days.WEEKS,
    days.WEAR_LOG,
    days.DIARY,
    days.EVENT_LOG,
    days.MEASURES,
    days.SERIALS,
    days.WORKBOOK,
    days.DATED_COLUMNS,
    days.AMERICAN,
)


def shop_of(customers: int) -> Habit:
    """Return a shop's sheet of many customers, with resole dates, e-mails and consents."""
    rows: list[list[Cell]] = [["Customer", "E-mail", "Last resole", "Consent to email", "Phone"]]
    for n in range(customers):
        day = date(2021, 1, 5) + timedelta(days=(n * 37) % 1900)
        rows.append(
            [
                f"Customer {chr(65 + n % 26)} Number {n}",
                f"c{n}@example.org",
                day.strftime("%d/%m/%Y"),
                ("yes", "no", "")[n % 3],
                f"+44 20 7946 {n:04d}",
            ]
        )
    count = {"wearers": customers, "pairs": customers, "soles": customers}
    return Habit("a shop's many customers", {"Sheet1": rows}, count, consents=(customers + 2) // 3)
