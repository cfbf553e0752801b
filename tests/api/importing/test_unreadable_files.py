"""A file that cannot be read as a whole gives one clear error and changes nothing."""

from __future__ import annotations

import io

import pytest

from solespan.api.errors import BadUpload, TooLarge
from solespan.api.services.interchange.reading import MAX_LINE_BYTES, read_table
from solespan.forecast.frames import TABLES

pytestmark = pytest.mark.any_database


def _error(folder, kind=BadUpload):
    before = folder.stored()
    with pytest.raises(kind) as caught:
        folder.take(keep_good_rows=True)
    assert folder.stored() == before
    assert caught.value.remedy
    assert caught.value.where
    return caught.value


def test_a_missing_file_is_named(folder):
    del folder.texts["soles"]
    assert "soles.csv is missing" in _error(folder).what


def test_a_file_of_another_name_is_named(folder):
    folder.texts["boots"] = "a,b\n"
    assert "boots.csv is not a file" in _error(folder).what


def test_an_empty_file_needs_its_header(folder):
    folder.texts["checks"] = b""
    assert "the file is empty" in _error(folder).what


def test_an_unknown_column_names_the_nearest_known_one(folder):
    folder.texts["pairs"] = folder.texts["pairs"].replace("label", "lable")
    error = _error(folder)
    assert "unknown column 'lable', the nearest known one is 'label'" in error.what
    assert error.where == "pairs.csv, line 1"


def test_every_problem_of_a_header_is_told_at_once(folder):
    folder.texts["wear_days"] = "pair_id,hours,hours,stepps\noxford,8,8,1\n"
    what = _error(folder).what
    assert "'hours' stands 2 times" in what
    assert "'steps'" in what
    assert "'worn_on' is missing" in what


def test_a_thickness_column_may_be_in_irons_but_not_absent(folder):
    folder.texts["soles"] = "sole_id,pair_id,fitted_on,material\ns1,oxford,2024-01-10,rubber\n"
    assert "'nominal_thickness_mm' (or 'nominal_thickness_iron') is missing" in _error(folder).what


@pytest.mark.parametrize("sign", [";", "\t", "|"])
def test_another_separator_than_a_comma_is_recognised(folder, sign):
    folder.texts["pairs"] = folder.texts["pairs"].replace(",", sign)
    assert "another sign than a comma" in _error(folder).what


@pytest.mark.parametrize(("encoding", "guess"), [("latin-1", "Windows-1252"), ("utf-16", "UTF-16")])
def test_another_encoding_is_recognised_and_its_place_named(folder, encoding, guess):
    folder.texts["wearers"] = "wearer_id,name\nann,Zoë\n".encode(encoding)
    error = _error(folder)
    assert guess in error.what
    assert error.where.startswith("wearers.csv, line")


@pytest.mark.parametrize(
    "row",
    ['ann,"Ann\n', 'ann,"An"n\n', '"ann,Ann\n' * 3, 'ann,"' + "x\n" * 70_000],
)
def test_quotes_that_do_not_match_are_malformed(folder, row):
    folder.texts["wearers"] = "wearer_id,name\nbob,Bob\n" + row
    error = _error(folder)
    assert "not CSV" in error.what
    assert error.where == "wearers.csv, line 3"


class EndlessLine(io.RawIOBase):
    """Two thousand megabytes without a line break; counts what is read of them."""

    def __init__(self, begin: bytes) -> None:
        self.begin = io.BytesIO(begin)
        self.served_bytes = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer) -> int:
        assert self.served_bytes < 2_000_000_000, "the whole line was read"
        text = self.begin.read(len(buffer)) or b"x" * len(buffer)
        buffer[: len(text)] = text
        self.served_bytes += len(text)
        return len(text)


def test_a_two_gigabyte_line_is_given_up_after_its_first_part():
    endless = EndlessLine(b"pair_id,wearer_id,construction\n")
    with pytest.raises(BadUpload, match="longer than 64 KiB") as caught:
        read_table(io.BufferedReader(endless), TABLES["pairs"], limit_bytes=10**12)
    assert caught.value.where == "pairs.csv, line 2"
    assert endless.served_bytes < 4 * MAX_LINE_BYTES


def test_a_file_over_the_limit_is_given_up_on_the_way(folder):
    folder.texts["wear_days"] += "oxford,2024-02-05,8\n" * 1000
    before = folder.stored()
    with pytest.raises(TooLarge) as caught:
        folder.take(limit_bytes=5000)
    assert "UPLOAD_LIMIT" in caught.value.remedy
    assert folder.stored() == before


def test_a_binary_file_is_no_csv(folder):
    folder.texts["pairs"] = bytes(range(256)) * 10
    _error(folder)


def test_a_byte_order_mark_and_any_order_of_columns_are_fine(folder):
    folder.texts["pairs"] = (
        b"\xef\xbb\xbfconstruction, label ,pair_id,wearer_id\r\n"
        b'blake,"a, b",oxford,ann\r\n\r\n,,,\r\n'
    )
    assert folder.take().written
    [pair] = folder.stored()["pairs"]
    assert (pair["construction"], pair["label"]) == ("blake", "a, b")


def test_progress_reaches_the_size_of_each_file(folder):
    seen = {}
    folder.take(progress=seen.__setitem__)
    assert seen == {file: len(s.getvalue()) for file, s in folder.streams().items()}
