"""Sealed file.

How is a stream kept in a file, so that damage, a missing end and a wrong passphrase are noticed?

The file is a line of magic, a line of JSON (the header), and frames of up to 64 KiB. Each frame is
its length, its content and a tag of 16 bytes. With a passphrase the frames are AES-256-GCM under a
key by scrypt, both of the `cryptography` library. Without one the tag is a SHA-256, cut short. The
nonce of a frame holds its number and whether it is the last (the STREAM construction of Hoang and
others, 2015). So frames cannot be moved, repeated, or left out at the end.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import struct
from collections.abc import Callable
from typing import IO, Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from solespan.api.errors import Refused

__all__ = ["SealedReader", "SealedWriter", "damaged", "read_header"]

MAGIC = b"solespan backup 1\n"
FRAME_BYTES = 64 * 1024
TAG_BYTES = 16
SALT_BYTES = 16
HEADER_BYTES = 4096  # longer than any header that we write
# 128 MiB and about half a second: what OWASP advises for scrypt (from memory).
SCRYPT = {"n": 2**17, "r": 8, "p": 1}
MOST_SCRYPT = {"n": 2**18, "r": 8, "p": 1}  # a header that asks for more is not believed
_LENGTH = struct.Struct(">I")

Seal = Callable[[bytes, bytes], bytes]


def damaged(why: str) -> Refused:
    """Return the refusal of a file that is not whole."""
    return Refused(
        f"The backup is damaged: {why}.",
        where="FILE",
        accepted="a whole file that solespan backup wrote",
        remedy="Nothing was changed. Use another copy of this backup, or an older backup.",
    )


class _Digest:
    """Tags without a key: they show damage, and hide nothing."""

    def __init__(self, head: bytes) -> None:
        self._head = head

    def _tag(self, nonce: bytes, content: bytes) -> bytes:
        return hashlib.sha256(self._head + nonce + content).digest()[:TAG_BYTES]

    def seal(self, nonce: bytes, content: bytes) -> bytes:
        return content + self._tag(nonce, content)

    def open(self, nonce: bytes, sealed: bytes) -> bytes:
        content, tag = sealed[:-TAG_BYTES], sealed[-TAG_BYTES:]
        if tag != self._tag(nonce, content):
            raise InvalidTag
        return content


class _Cipher:
    """Frames that only the passphrase opens; the header is authenticated along."""

    def __init__(self, head: bytes, header: dict[str, Any], passphrase: str) -> None:
        cost = {name: header["scrypt"][name] for name in MOST_SCRYPT}
        try:
            scrypt = Scrypt(salt=base64.b64decode(header["salt"]), length=32, **cost)
        except ValueError:
            raise damaged("its header cannot be read") from None
        key = scrypt.derive(passphrase.encode())
        self._key, self._head = AESGCM(key), head

    def seal(self, nonce: bytes, content: bytes) -> bytes:
        return self._key.encrypt(nonce, content, self._head)

    def open(self, nonce: bytes, sealed: bytes) -> bytes:
        return self._key.decrypt(nonce, sealed, self._head)


def _nonce(number: int, *, last: bool) -> bytes:
    # The key is new for each file, by its salt, so the count alone never repeats under one key.
    return number.to_bytes(11, "big") + bytes([last])


class SealedWriter(io.RawIOBase):
    """Writes a stream into `out` as frames; `close` writes the last one and leaves `out` open."""

    def __init__(self, out: IO[bytes], passphrase: str | None) -> None:
        header: dict[str, Any] = {"sealed": "sha256"}
        if passphrase is not None:
            salt = base64.b64encode(os.urandom(SALT_BYTES)).decode()
            header = {"sealed": "aes-256-gcm", "scrypt": SCRYPT, "salt": salt}
        head = MAGIC + json.dumps(header).encode() + b"\n"
        self._tags = _Digest(head) if passphrase is None else _Cipher(head, header, passphrase)
        self._out, self._kept, self._number = out, bytearray(), 0
        out.write(head)

    def writable(self) -> bool:
        """Say that this is a stream to write to."""
        return True

    def write(self, content: Any) -> int:
        """Take content, and write every frame that is full."""
        self._kept += content
        while len(self._kept) > FRAME_BYTES:  # the last frame is never empty but in an empty file
            self._frame(bytes(self._kept[:FRAME_BYTES]), last=False)
            del self._kept[:FRAME_BYTES]
        return len(content)

    def _frame(self, content: bytes, *, last: bool) -> None:
        sealed = self._tags.seal(_nonce(self._number, last=last), content)
        self._out.write(_LENGTH.pack(len(sealed)) + sealed)
        self._number += 1

    def close(self) -> None:
        """Write the last frame."""
        if not self.closed:
            self._frame(bytes(self._kept), last=True)
        super().close()


def read_header(source: IO[bytes]) -> tuple[bytes, dict[str, Any]]:
    """Read the start of a backup, as bytes and as its meaning. Raises `Refused`."""
    magic = source.readline(len(MAGIC))
    if magic != MAGIC:
        newer = magic.startswith(b"solespan backup ")
        raise Refused(
            "A newer program wrote this backup." if newer else "This file is no backup.",
            where="FILE",
            accepted="a file that solespan backup wrote",
            remedy="Install that newer version of solespan." if newer else "Name another file.",
        )
    line = source.readline(HEADER_BYTES)
    try:
        header = json.loads(line)
        encrypted = header["sealed"] == "aes-256-gcm"
        known = encrypted or header["sealed"] == "sha256"
        if encrypted:
            known = len(base64.b64decode(header["salt"])) == SALT_BYTES and all(
                isinstance(header["scrypt"][name], int) and 0 < header["scrypt"][name] <= most
                for name, most in MOST_SCRYPT.items()
            )
    except (ValueError, KeyError, TypeError):
        known = False
    if not known:
        raise damaged("its header cannot be read")
    return magic + line, header


class SealedReader(io.RawIOBase):
    """Reads the stream back, frame by frame. Raises `Refused` at the first that is not whole."""

    def __init__(self, source: IO[bytes], passphrase: str | None) -> None:
        head, header = read_header(source)
        self._encrypted = header["sealed"] != "sha256"
        if self._encrypted and passphrase is None:
            raise Refused(
                "The backup is encrypted.",
                where="environment variable SOLESPAN_BACKUP_PASSPHRASE",
                accepted="the passphrase that it was made with",
                remedy="Set this variable, or run the command in a terminal and type it.",
            )
        self._tags = (
            _Cipher(head, header, passphrase)
            if self._encrypted and passphrase is not None
            else _Digest(head)
        )
        self._source, self._number, self._left, self._ended = source, 0, b"", False

    def readable(self) -> bool:
        """Say that this is a stream to read from."""
        return True

    def readinto(self, into: Any) -> int:
        """Fill `into` from the frame at hand, or the next one."""
        while not self._left and not self._ended:
            self._next()
        part = self._left[: len(into)]
        into[: len(part)] = part
        self._left = self._left[len(part) :]
        return len(part)

    def _next(self) -> None:
        length = self._source.read(_LENGTH.size)
        if len(length) < _LENGTH.size:
            raise damaged("its end is missing")
        (size,) = _LENGTH.unpack(length)
        if not TAG_BYTES <= size <= FRAME_BYTES + TAG_BYTES:
            raise damaged(f"frame {self._number + 1} has an impossible length")
        sealed = self._source.read(size)
        if len(sealed) < size:
            raise damaged("its end is missing")
        self._left = self._opened(sealed)
        self._number += 1
        if self._ended and self._source.read(1):
            raise damaged("something stands behind its end")

    def _opened(self, sealed: bytes) -> bytes:
        for last in (False, True):
            try:
                content = self._tags.open(_nonce(self._number, last=last), sealed)
            except InvalidTag:
                continue
            self._ended = last
            return content
        if self._encrypted and not self._number:
            raise Refused(
                "The passphrase is wrong, or the start of the backup is damaged.",
                where="environment variable SOLESPAN_BACKUP_PASSPHRASE",
                accepted="the passphrase that it was made with",
                remedy="Nothing was changed. Give the right passphrase.",
            )
        raise damaged(f"frame {self._number + 1} is not as it was written")
