"""Sheet files: how does a test write rows as CSV, XLSX or ODS, without a spreadsheet program?"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date
from xml.sax.saxutils import escape, quoteattr

Cell = str | float | date | bool | None
Rows = Sequence[Sequence[Cell]]
Merged = Sequence[tuple[int, int, int, int]]  # top, left, bottom, right, from 0

ZERO = date(1899, 12, 30)


def as_csv(
    rows: Rows,
    separator: str = ",",
    encoding: str = "utf-8",
    day: str = "%Y-%m-%d",
    decimal: str = ".",
) -> bytes:
    """Write one page as text, dates and decimals as asked."""

    def text(cell: Cell) -> str:
        if cell is None:
            return ""
        if isinstance(cell, bool):
            return "yes" if cell else "no"
        if isinstance(cell, float):
            return f"{cell:g}".replace(".", decimal)
        return cell.strftime(day) if isinstance(cell, date) else str(cell)

    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows([[text(c) for c in row] for row in rows])
    return out.getvalue().encode(encoding)


def _letters(at: int) -> str:
    out, at = "", at + 1
    while at:
        at, rest = divmod(at - 1, 26)
        out = chr(65 + rest) + out
    return out


def _zip(parts: Mapping[str, str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return out.getvalue()


def as_xlsx(pages: Mapping[str, Rows], merged: Mapping[str, Merged] | None = None) -> bytes:
    """Write a workbook of the kind XLSX; days are numbers with a date format."""
    head = '<?xml version="1.0" encoding="UTF-8"?>'
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    rel = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": f'{head}<Types xmlns="{package}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
        'relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{kind}.styles+xml"/>'
        + "".join(
            f'<Override PartName="/xl/worksheets/s{n}.xml" ContentType="{kind}.worksheet+xml"/>'
            for n in range(len(pages))
        )
        + "</Types>",
        "_rels/.rels": f'{head}<Relationships xmlns="{package}/relationships"><Relationship '
        f'Id="r" Type="{rel}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{head}<workbook xmlns="{main}" xmlns:r="{rel}"><sheets>'
        + "".join(
            f'<sheet name={quoteattr(name)} sheetId="{n + 1}" r:id="r{n}"/>'
            for n, name in enumerate(pages)
        )
        + "</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": f'{head}<Relationships xmlns="{package}/relationships">'
        + "".join(
            f'<Relationship Id="r{n}" Type="{rel}/worksheet" Target="worksheets/s{n}.xml"/>'
            for n in range(len(pages))
        )
        + f'<Relationship Id="st" Type="{rel}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": f'{head}<styleSheet xmlns="{main}"><fonts count="1"><font/></fonts>'
        '<fills count="1"><fill/></fills><borders count="1"><border/></borders>'
        '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf numFmtId="0"/>'
        '<xf numFmtId="14" applyNumberFormat="1"/></cellXfs></styleSheet>',
    }
    for n, (name, rows) in enumerate(pages.items()):
        lines = []
        for r, row in enumerate(rows, start=1):
            cells = "".join(_xlsx_cell(f"{_letters(c)}{r}", v) for c, v in enumerate(row))
            lines.append(f'<row r="{r}">{cells}</row>')
        spans = (merged or {}).get(name, ())
        joined = "".join(
            f'<mergeCell ref="{_letters(left)}{top + 1}:{_letters(right)}{bottom + 1}"/>'
            for top, left, bottom, right in spans
        )
        joined = f"<mergeCells>{joined}</mergeCells>" if joined else ""
        parts[f"xl/worksheets/s{n}.xml"] = (
            f'{head}<worksheet xmlns="{main}"><sheetData>{"".join(lines)}</sheetData>{joined}'
            "</worksheet>"
        )
    return _zip(parts)


def _xlsx_cell(place: str, value: Cell) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return f'<c r="{place}" t="b"><v>{int(value)}</v></c>'
    if isinstance(value, date):
        return f'<c r="{place}" s="1"><v>{(value - ZERO).days}</v></c>'
    if isinstance(value, int | float):
        return f'<c r="{place}"><v>{value!r}</v></c>'
    text = escape(value)
    return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'


def as_ods(pages: Mapping[str, Rows]) -> bytes:
    """Write a workbook of the kind ODS, with the empty tail that programs add."""
    office = "urn:oasis:names:tc:opendocument:xmlns"
    head = '<?xml version="1.0" encoding="UTF-8"?>'
    tables = []
    for name, rows in pages.items():
        lines = "".join(
            "<table:table-row>" + "".join(_ods_cell(cell) for cell in row) + "</table:table-row>"
            for row in rows
        )
        tail = (
            '<table:table-row table:number-rows-repeated="1048000">'
            '<table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
        )
        tables.append(f"<table:table table:name={quoteattr(name)}>{lines}{tail}</table:table>")
    content = (
        f'{head}<office:document-content xmlns:office="{office}:office:1.0" '
        f'xmlns:table="{office}:table:1.0" xmlns:text="{office}:text:1.0" office:version="1.3">'
        f"<office:body><office:spreadsheet>{''.join(tables)}</office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    mime = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        f'{head}<manifest:manifest xmlns:manifest="{office}:manifest:1.0" manifest:version="1.3">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{mime}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
        "</manifest:manifest>"
    )
    return _zip({"mimetype": mime, "content.xml": content, "META-INF/manifest.xml": manifest})


def _ods_cell(value: Cell) -> str:
    if value is None or value == "":
        return "<table:table-cell/>"
    if isinstance(value, bool):
        told = str(value).lower()
        return f'<table:table-cell office:value-type="boolean" office:boolean-value="{told}"/>'
    if isinstance(value, date):
        return f'<table:table-cell office:value-type="date" office:date-value="{value}"/>'
    if isinstance(value, int | float):
        return f'<table:table-cell office:value-type="float" office:value="{value!r}"/>'
    return (
        '<table:table-cell office:value-type="string">'
        f"<text:p>{escape(value)}</text:p></table:table-cell>"
    )
