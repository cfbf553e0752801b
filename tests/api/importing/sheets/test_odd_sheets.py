"""Odd sheets, thought of after the reader was written, come in as well.

Each entry is a text file and the rows of some table that must come of it, `table: cells`.
"""

from __future__ import annotations

import pytest

from solespan.api.services.importing.sheets.translate import read_sheets, translate
from solespan.api.services.importing.sheets.translation import KnownNames
from tests.api.importing.sheets.habits import TODAY

ODD = {
    "on its side": (
        ",Oxford,Derby\nBought,2019-01-02,2020-03-04\nSole,leather,rubber\nWelt,Goodyear,Blake\n",
        "pairs: derby construction=blake acquired_on=2020-03-04",
    ),
    "names in a year's calendar, months across": (
        "2024\nDay,Jan,Feb,Mar,Apr\n" + "".join(f"{n},OX,,DB,\n" for n in range(1, 29)),
        "wear_days: db 2024-03-28",
    ),
    "two tables on one page": (
        "Shoes,\nName,Bought\nOxford,2020-01-02\n,\nWears,\nDate,Shoe\n2024-01-05,Oxford\n",
        "wear_days: oxford 2024-01-05",
    ),
    "no header": ("2024-01-02,Oxford\n2024-01-03,Derby\n", "wear_days: derby 2024-01-03"),
    "two values in a cell": (
        "Pair,Measured,L/R mm\nOxford,2024-01-02,4.5/4.4\n",
        "checks: oxford 2024-01-02 right value_mm=4.4",
    ),
    "fractions of an inch": (
        "Shoe,Fitted,Sole thickness (in)\nOxford,2023-01-02,3/16\n",
        "soles: oxford nominal_thickness_mm=4.7625",
    ),
    "thumb": (
        "Schuh;Datum;Daumenprobe links;Daumenprobe rechts\nOxford;13.01.2024;fest;Loch\n",
        "checks: oxford right grade=hole",
    ),
    "letters in a calendar": (
        "March 2025\nShoe," + ",".join(map(str, range(1, 32))) + "\nOxford,w,,w" + "," * 28 + "\n",
        "wear_days: oxford 2025-03-03",
    ),
    "short days and a year in the title": (
        "Trageliste 2025\nTag,Schuh\n1.3.,Oxford\n15.3.,Derby\n",
        "wear_days: derby 2025-03-15",
    ),
    "headings of customers": (
        "Shoe,Sole,Resoled\nANN EXAMPLE,,\nOxford,leather,2022\nBOB EXAMPLE,,\nBoot,lug,2021\n",
        "pairs: Boot wearer_id=bob-example",
    ),
    "a legend below": (
        "Février 2024\nChaussures," + ",".join(map(str, range(1, 30))) + ",Total\nDerby,x"
        "" + "," * 28 + ",1\nTotal,1" + "," * 28 + ",1\n\nx = porté\n",
        "wear_days: derby 2024-02-01",
    ),
    "a form's questions": (
        "Timestamp,Which shoes?,How many hours?,Was it wet?\n2024-03-02 20:01:00,Derby,6,Yes\n",
        "wear_days: derby 2024-03-02 hours=6 wet=true",
    ),
    "several pairs in a cell": (
        'Day,Wore\n2024-01-02,Oxford\n2024-01-03,"Oxford, Derby"\n2024-01-06,Derby\n',
        "wear_days: derby 2024-01-03",
    ),
    "counts by year": (
        "Shoe,2021,2022,2023\nOxford,40,35,50\n",
        "pairs: oxford wears_per_week=0.8",
    ),
    "year, month and day apart": (
        "Year,Month,Day,Pair\n2024,3,1,Oxford\n2024,3,2,Derby\n",
        "wear_days: derby 2024-03-02",
    ),
    "days down, left and right of each pair across": (
        "Date,Oxford L,Oxford R,Derby L,Derby R\n2024-01-15,5.0,4.9,4.8,4.7\n",
        "checks: derby right value_mm=4.7",
    ),
    "a list with dashes": (
        "Schuhe 2024\n- 3.3. braune Derbys getragen\n- 20.3. braune Derbys gemessen: links 4,5\n",
        "checks: braune-derbys left value_mm=4.5",
    ),
    "one line for each pair": (
        "Oxford black: bought 2019-05-04, resoled 2022-03-01\nDerby: bought 2020-06-07\n",
        "soles: oxford-black fitted_on=2022-03-01",
    ),
    "a table of a text page": (
        "| Pair | Bought | Sole |\n|---|---|---|\n| Oxford | 2020-01-02 | leather |\n",
        "pairs: oxford acquired_on=2020-01-02",
    ),
    "a column that says whether it was worn": (
        "Date,Pair,Worn?\n2024-01-02,Oxford,yes\n2024-01-02,Derby,no\n",
        "wear_days: oxford 2024-01-02",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_an_odd_sheet_comes_in(name):
    text, expected = ODD[name]

    found = translate(read_sheets("a.csv", text.encode()), {}, KnownNames(), TODAY)

    table, _, wanted = expected.partition(": ")
    told = dict(part.partition("=")[::2] for part in wanted.split() if "=" in part)
    cells = {part for part in wanted.split() if "=" not in part}
    rows = found.tables[table].to_dict("records")
    assert any(cells <= set(row.values()) and {**row, **told} == row for row in rows), rows
    assert not [fate for fate in found.fates if fate.fate == "refused"]
    assert len(found.fates) == len({fate.place for fate in found.fates})
