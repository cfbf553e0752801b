"""A file that is no sheet is refused in words, in little time and memory."""

from __future__ import annotations

import io
import random
import zipfile

import pytest

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.importing.sheets.translate import read_sheets, translate
from solespan.api.services.importing.sheets.translation import KnownNames
from tests.api.importing.sheets.habits import TODAY
from tests.api.importing.sheets.sheet_files import as_ods, as_xlsx


def _workbook_with(part: str, text: bytes) -> bytes:
    whole = as_xlsx({"a": [["Pair", "Date"], ["x", "y"]]})
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(whole)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for entry in old.namelist():
            new.writestr(entry, text if entry == part else old.read(entry))
    return out.getvalue()


def _open_document_with(row: str) -> bytes:
    whole = as_ods({"a": [["x"]]})
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.namelist():
            text = old.read(entry).decode()
            cell = (
                '<table:table-row><table:table-cell office:value-type="string"><text:p>x</text:p>'
            )
            new.writestr(entry, text.replace(cell, row))
    return out.getvalue()


SHEET = "xl/worksheets/s0.xml"
MAIN = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
FAR_CELL = MAIN + (
    b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    b"</sheetData></worksheet>"
)
REPEATED = (
    '<table:table-row table:number-rows-repeated="1000000"><table:table-cell '
    'office:value-type="string" table:number-columns-repeated="900"><text:p>x</text:p>'
)

FILES = {
    "many names": ",".join(f"name{n}" for n in range(400_000)).encode(),
    "many names with semicolons": ";".join(f"n{n}" for n in range(400_000)).encode(),
    "noise": random.Random(1).randbytes(200_000),
    "zeros": bytes(100_000),
    "an enormous cell": b"Pair,Date\n" + b"a" * 3_000_000 + b",2024-01-01\n",
    "an enormous quoted cell": b'Pair,Date\n"' + b"a\n" * 2_000_000,
    "a document": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj <<>> endobj\n" * 300,
    "a picture": b"\x89PNG\r\n\x1a\n" + random.Random(2).randbytes(50_000),
    "a broken workbook": as_xlsx({"a": [["x"]]})[:-200],
    "an archive of other things": _workbook_with("xl/workbook.xml", b"no workbook"),
    "a far cell": _workbook_with(SHEET, FAR_CELL),
    "a repeated cell": _open_document_with(REPEATED),
    "a bomb": _workbook_with(SHEET, MAIN + b"<!--" + b"0" * 200_000_000),
    "nothing": b"  \n ",
    "an old workbook that is cut": b"\xd0\xcf\x11\xe0" + bytes(5000),
}


@pytest.mark.parametrize("kind", FILES)
def test_the_file_is_refused_in_words(kind):
    with pytest.raises((BadUpload, TooLarge)) as refusal:
        read_sheets("sheet.csv", FILES[kind])

    assert refusal.value.what.endswith(".")
    assert refusal.value.accepted
    assert refusal.value.remedy


def test_names_in_no_encoding_do_not_stop_the_rest():
    data = b"Pair,Date\nOxf\x81\x8d\x9drd,2024-03-01\nDerby,2024-03-02\n"

    found = translate(read_sheets("a.csv", data), {}, KnownNames(), TODAY)

    assert len(found.tables["wear_days"]) == 2


def test_a_sheet_of_unknown_names_says_that_nothing_was_understood():
    rows = "\n".join(",".join(f"v{n}x{m}" for n in range(60)) for m in range(30))

    found = translate(read_sheets("a.csv", rows.encode()), {}, KnownNames(), TODAY)

    assert len(found.fates) == 30
    assert len(found.questions) <= 10
