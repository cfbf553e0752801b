"""Are damaged, odd and hostile archives refused in clear words, with bounded memory?"""

from __future__ import annotations

import io
import random
import tracemalloc
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest

from solespan.api.errors import BadUpload, SolespanError, TooLarge
from solespan.api.services.importing.uploads import MAX_ZIP_ENTRIES, lay_out
from tests.api.importing.workbooks import xlsx, zipped

LIMIT_BYTES = 200_000
TABLE = b"Shoe,Bought\nBrown derby,2024-01-10\n"
BOOK = xlsx({"Shoes": [["Shoe", "Bought"], ["Brown derby", "2024-01-10"]]})


def laid_out(folder: Path, *uploads: tuple[str, bytes], limit_bytes: int = LIMIT_BYTES):
    streams = [(name, io.BytesIO(data)) for name, data in uploads]
    return lay_out(streams, folder, limit_bytes=limit_bytes)


def with_name(name: bytes) -> bytes:
    """Pack one file whose name says that it is UTF-8, and is not."""
    packed = bytearray(zipped({"\u00e4" * len(name): TABLE}))
    right = "\u00e4".encode() * len(name)
    return bytes(packed.replace(right, (name * 2)[: len(right)]))


def many_entries(count: int) -> bytes:
    """Write an archive whose list of contents is long, and which holds nothing."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for number in range(count):
            archive.writestr(zipfile.ZipInfo(f"{number}.csv"), b"")
    return packed.getvalue()


def test_a_zip_is_unpacked_and_a_workbook_is_not(tmp_path):
    packed = zipped(
        {"a/log.csv": TABLE, "a/.DS_Store": b"", "__MACOSX/log.csv": b"", "b.xlsx": BOOK}
    )
    given = laid_out(tmp_path, ("all.zip", packed))
    assert [one.name for one in given] == ["log.csv", "b.xlsx"]
    assert [one.path.read_bytes() for one in given] == [TABLE, BOOK]
    (tmp_path / "alone").mkdir()
    (alone,) = laid_out(tmp_path / "alone", ("b.xlsx", BOOK))
    assert alone.path.read_bytes() == BOOK


def test_two_years_may_have_a_log_each(tmp_path):
    given = laid_out(tmp_path, ("all.zip", zipped({"2024/log.csv": TABLE, "2025/log.csv": TABLE})))
    assert [one.name for one in given] == ["log.csv", "2025/log.csv"]


@pytest.mark.parametrize(
    ("archive", "words"),
    [
        (zipped({"log.csv": TABLE}, zipfile.ZIP_LZMA), "unusual way"),
        (zipped({"log.csv": TABLE}, zipfile.ZIP_BZIP2), "unusual way"),
        (with_name(b"\xff\xfe\xfd"), "cannot be read"),
        (zipped({"inner.zip": zipped({"log.csv": TABLE})}), "another archive"),
        (zipped({"inner.gz": b"\x1f\x8b\x08 and more"}), "gzip"),
        (zipped({"log.csv": TABLE})[:-30], "its end is missing"),
        (zipped({"log.csv": TABLE})[:60], "its end is missing"),
        (zipped({"folder/": b""}), "holds no file"),
        (many_entries(MAX_ZIP_ENTRIES + 1), "more than"),
        (b"\x1f\x8b\x08\x00", "gzip"),
        (b"Rar!\x1a\x07\x00", "RAR"),
        (b"7z\xbc\xaf\x27\x1c\x00", "7z"),
        (zipped({}), "empty ZIP"),
    ],
    ids=[
        "lzma",
        "bzip2",
        "name",
        "zip",
        "gzip inside",
        "cut",
        "short",
        "empty folder",
        "many",
        "gzip",
        "rar",
        "7z",
        "empty",
    ],
)
def test_an_archive_that_cannot_be_read_is_refused_in_words(tmp_path, archive, words):
    with pytest.raises(BadUpload) as caught:
        laid_out(tmp_path, ("all.zip", archive))
    assert words in caught.value.what
    assert caught.value.accepted
    assert caught.value.remedy


def test_a_list_of_contents_that_would_fill_the_memory_is_not_read(tmp_path):
    archive = many_entries(30_000)
    tracemalloc.start()
    try:
        with pytest.raises(BadUpload, match="more than"):
            laid_out(tmp_path, ("all.zip", archive))
        assert tracemalloc.get_traced_memory()[1] < 2_000_000
    finally:
        tracemalloc.stop()


def test_what_unpacks_to_too_much_is_refused_while_it_unpacks(tmp_path):
    bomb = zipped({"log.csv": TABLE + b"\n" * 20_000_000})
    with pytest.raises(TooLarge):
        laid_out(tmp_path, ("all.zip", bomb))
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= LIMIT_BYTES


@pytest.mark.slow
def test_whatever_is_done_to_an_archive_it_is_read_or_refused(tmp_path):
    rng = random.Random(7)
    good = [zipped({"log.csv": TABLE, "book.xlsx": BOOK}), BOOK]
    for number in range(600):
        mangled = bytearray(rng.choice(good))
        for _ in range(rng.randint(1, 6)):
            kind, at = rng.randrange(3), rng.randrange(len(mangled) - 1)
            if kind == 0:
                mangled[at] = rng.randrange(256)
            elif kind == 1:
                del mangled[at : at + rng.randint(1, 20)]
            else:
                mangled[at:at] = rng.randbytes(rng.randint(1, 20))
        folder = tmp_path / str(number)
        folder.mkdir()
        with suppress(SolespanError):
            laid_out(folder, ("some.zip", bytes(mangled)))
        assert sum(path.stat().st_size for path in folder.iterdir()) <= LIMIT_BYTES
