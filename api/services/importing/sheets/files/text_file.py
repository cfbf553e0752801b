"""Text file reader: in which encoding, and with which separator, is a table written?

The file's own bytes decide: marks at its start, then UTF-8, then the encoding whose letters suit
the languages of our users. The separator is the one that gives most rows the same width.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter

from charset_normalizer import from_bytes

from solespan.api.services.importing.sheets.sheet import Sheet, bad_file, make_sheet

__all__ = ["read_text_file"]

MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
SINGLE_BYTE = ("cp1252", "mac_roman", "cp850", "cp1250")
USUAL = frozenset(
    "äöüÄÖÜßéèêëàâçîïôûùœæñáíóúÁÉÍÓÚìòåøØÅÆ€£°½¼¾…·«»²³µ§¿¡ąćęłńśźżčďěňřšťůýž"
    "\u00d7\u2013\u2014\u2018\u2019\u201c\u201d\u201e"
)
DOCUMENT = re.compile(r"\s*(%PDF|\{\\rtf|<!doctype|<html|<\?xml)", re.IGNORECASE)
SEPARATORS = (",", ";", "\t", "|")
SIGN_WEIGHT = 0.7  # letters are more frequent than signs
SAMPLE_LINES = 300
SAMPLE_BYTES = 200_000
MOST_BREAKS = 30  # line breaks in one cell beyond which a quote was left open


def read_text_file(file: str, data: bytes) -> Sheet:
    """Read a CSV of any usual kind. Raises `BadUpload`, `TooLarge`."""
    text = _decode(file, data)
    declared = re.match(r"sep=(.)\r?\n", text)
    if declared:
        text = "\n" + text[declared.end() :]  # the line counts, its content does not
    separator = declared[1] if declared else _separator(text)
    try:
        rows, lines = _rows(text, separator, csv.QUOTE_MINIMAL)
        if any(cell.count("\n") > MOST_BREAKS for row in rows for cell in row):
            rows, lines = _rows(text, separator, csv.QUOTE_NONE)
    except csv.Error as cause:
        raise bad_file(
            file,
            f"A row cannot be read: {cause}.",
            "Look whether a quote is left open or a cell is very long, and save the file again.",
        ) from None
    return make_sheet(file, "", [[c if c.strip() else None for c in row] for row in rows], lines)


def _decode(file: str, data: bytes) -> str:
    encoding = next((name for mark, name in MARKS if data.startswith(mark)), "")
    try:
        text = data.decode(encoding or _wide(data) or "utf-8")
    except UnicodeDecodeError:
        text = "" if encoding else _legacy(data)
    if DOCUMENT.match(text[:200]):
        raise bad_file(file, "The file is a document or a web page, and no table.")
    control = sum(ord(c) < 32 and c not in "\t\n\r\f\v" for c in text[:SAMPLE_BYTES])
    if (not text and data) or "\0" in text or control > len(text[:SAMPLE_BYTES]) // 200:
        raise bad_file(file, "The file holds no text and is no workbook.")
    return text


def _wide(data: bytes) -> str:
    """Tell UTF-16 without a mark by the zero bytes of its ASCII letters."""
    sample = data[:2000]
    if len(data) % 2 or sample.count(0) < len(sample) // 4:
        return ""
    return "utf-16-le" if sample[1::2].count(0) > sample[0::2].count(0) else "utf-16-be"


def _legacy(data: bytes) -> str:
    """Choose the older encoding in which most letters beyond ASCII are usual ones."""
    sample = bytes(b for b in data if b > 127)[:SAMPLE_BYTES]
    share = {}
    for name in SINGLE_BYTE:
        signs = sample.decode(name, errors="replace")
        usual = [1.0 if c.isalpha() else SIGN_WEIGHT for c in signs if c in USUAL]
        share[name] = sum(usual) / max(1, len(signs))
    best = max(share, key=lambda name: share[name])
    if share[best] < 0.6:
        guess = from_bytes(data[:SAMPLE_BYTES]).best()
        if guess is not None:
            best = guess.encoding
    return data.decode(best, errors="replace")


def _rows(text: str, separator: str, quoting: int) -> tuple[list[list[str]], list[int]]:
    reader = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=separator,
        quoting=quoting,  # type: ignore[arg-type]
        skipinitialspace=f'{separator} "' in text,
    )
    rows, lines, begin = [], [], 1
    for row in reader:
        rows.append(row)
        lines.append(begin)
        begin = reader.line_num + 1
    return rows, lines


def _separator(text: str) -> str:
    sample = "\n".join(text[:SAMPLE_BYTES].splitlines()[:SAMPLE_LINES])
    best, best_score = ",", 0.0
    for sign in SEPARATORS:
        try:
            rows = [row for row in _rows(sample, sign, csv.QUOTE_MINIMAL)[0] if any(row)]
        except csv.Error:
            continue
        widths = Counter(len(row) for row in rows if len(row) > 1)
        if not widths:
            continue
        width, often = max(widths.items(), key=lambda item: (item[1], item[0]))
        score = often / len(rows) + 0.02 * min(width, 20)
        if score > best_score:
            best, best_score = sign, score
    return best
