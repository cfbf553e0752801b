"""How does a test write a small workbook, a ZIP, or a sheet in another encoding?"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date
from xml.sax.saxutils import escape

TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships'
    '+xml"/><Default Extension="xml" ContentType="application/xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.sheet.main+xml"/></Types>'
)
RELATIONS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{}'
    "</Relationships>"
)
KIND = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
EPOCH = date(1899, 12, 30)


def xlsx(sheets: Mapping[str, Sequence[Sequence[object]]]) -> bytes:
    """Write sheets of texts, numbers and days as an XLSX file."""
    listed = "".join(
        f'<sheet name="{escape(name)}" sheetId="{n}" r:id="s{n}"/>'
        for n, name in enumerate(sheets, start=1)
    )
    related = "".join(
        f'<Relationship Id="s{n}" Type="{KIND}/worksheet" Target="worksheets/sheet{n}.xml"/>'
        for n in range(1, len(sheets) + 1)
    )
    related += f'<Relationship Id="styles" Type="{KIND}/styles" Target="styles.xml"/>'
    main = f'<Relationship Id="w" Type="{KIND}/officeDocument" Target="xl/workbook.xml"/>'
    parts = {
        "[Content_Types].xml": TYPES,
        "_rels/.rels": RELATIONS.format(main),
        "xl/workbook.xml": f'<workbook {MAIN} xmlns:r="{KIND}"><sheets>{listed}</sheets>'
        "</workbook>",
        "xl/_rels/workbook.xml.rels": RELATIONS.format(related),
        "xl/styles.xml": f'<styleSheet {MAIN}><cellXfs count="2"><xf numFmtId="0"/>'
        '<xf numFmtId="14" applyNumberFormat="1"/></cellXfs></styleSheet>',
    }
    for n, rows in enumerate(sheets.values(), start=1):
        lines = "".join(
            f'<row r="{r}">{"".join(map(_cell, row))}</row>' for r, row in enumerate(rows, start=1)
        )
        parts[f"xl/worksheets/sheet{n}.xml"] = (
            f"<worksheet {MAIN}><sheetData>{lines}</sheetData></worksheet>"
        )
    return zipped(parts)


def zipped(files: Mapping[str, str | bytes], compression: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Pack files into a ZIP."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", compression) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name), content, compression)  # of one day, always
    return packed.getvalue()


def text(rows: Sequence[Sequence[object]], separator: str = ",", encoding: str = "utf-8") -> bytes:
    """Write rows as a plain text table; days get dots where the separator is a semicolon."""

    def cell(value: object) -> str:
        if isinstance(value, date):
            return f"{value:%d.%m.%Y}" if separator == ";" else value.isoformat()
        if isinstance(value, float) and separator == ";":
            return str(value).replace(".", ",")
        return "" if value is None else str(value)

    lines = (separator.join(map(cell, row)) for row in rows)
    return "".join(f"{line}\r\n" for line in lines).encode(encoding)


def _cell(value: object) -> str:
    if value is None:
        return "<c/>"
    if isinstance(value, date):
        return f'<c s="1"><v>{(value - EPOCH).days}</v></c>'
    if isinstance(value, int | float):
        return f"<c><v>{value}</v></c>"
    return f'<c t="inlineStr"><is><t>{escape(str(value))}</t></is></c>'
