"""Photograph metadata.

Is this a photograph, is it small enough, and what is left of it without its metadata?

Where and when a picture was taken, and with what, stands in extra segments. They are APP1 to APP15
and comments in a JPEG, and text, time and eXIf chunks in a PNG. They are left out; the picture
itself is not decoded or changed. Formats by ISO/IEC 10918-1 (annex B) and ISO/IEC 15948 (clause 5).
"""

from __future__ import annotations

import struct

from solespan.api.errors import Refused, TooLarge

__all__ = ["MAX_PHOTO_BYTES", "without_metadata"]

MAX_PHOTO_BYTES = 8 * 1024 * 1024
_PNG = b"\x89PNG\r\n\x1a\n"
# What draws the picture; everything else may say who, where or when.
_PNG_KEPT = {
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"pHYs",
}  # fmt: skip
_START, _END, _SCAN, _COMMENT = 0xD8, 0xD9, 0xDA, 0xFE
_APP1, _APP15, _ADOBE = 0xE1, 0xEF, 0xEE


def without_metadata(content: bytes) -> tuple[str, bytes]:
    """Return the media type and the picture without metadata.

    Raises `TooLarge`, and `Refused` for what is no JPEG or PNG.
    """
    if len(content) > MAX_PHOTO_BYTES:
        raise TooLarge(
            "The photograph is too large.",
            where="file",
            accepted=f"up to {MAX_PHOTO_BYTES} bytes",
            remedy="Send a smaller picture.",
        )
    try:
        if content.startswith(_PNG):
            return "image/png", _png(content)
        if content.startswith(b"\xff\xd8\xff"):
            return "image/jpeg", _jpeg(content)
    except (IndexError, ValueError, struct.error):
        raise _no_picture() from None
    raise _no_picture()


def _no_picture() -> Refused:
    return Refused(
        "The file is no photograph that can be kept.",
        where="file",
        accepted="a whole JPEG or PNG",
        remedy="Save the picture as JPEG and send it again.",
    )


def _png(content: bytes) -> bytes:
    out, at = [_PNG], len(_PNG)
    while True:
        (length,) = struct.unpack_from(">I", content, at)
        kind, end = content[at + 4 : at + 8], at + 12 + length
        if end > len(content):
            raise ValueError("a chunk is cut off")
        if kind in _PNG_KEPT:
            out.append(content[at:end])
        if kind == b"IEND":
            return b"".join(out)
        at = end


def _jpeg(content: bytes) -> bytes:
    out, at = [content[:2]], 2
    while True:
        if content[at] != 0xFF:
            raise ValueError("a marker is missing")
        while content[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = content[at + 1]
        if marker == _END:
            out.append(b"\xff\xd9")
            return b"".join(out)
        (length,) = struct.unpack_from(">H", content, at + 2)
        end = at + 2 + length
        if marker == _SCAN:
            end = _scan_end(content, end)
        if end > len(content):
            raise ValueError("a segment is cut off")
        dropped = marker == _COMMENT or (_APP1 <= marker <= _APP15 and marker != _ADOBE)
        if not dropped:
            out.append(content[at:end])
        at = end


def _scan_end(content: bytes, at: int) -> int:
    """Find the next marker that is no stuffed byte and no restart."""
    while True:
        at = content.index(b"\xff", at)
        following = content[at + 1]
        if following != 0 and not 0xD0 <= following <= 0xD7 and following != 0xFF:
            return at
        at += 1 if following == 0xFF else 2
