"""Files of commands: how does a command read or write a file, where `-` is the terminal's pipe?

Every command reads and writes by these two functions, so `-` means the same everywhere.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from solespan.api.errors import Conflict, Refused

__all__ = ["PIPE", "read_file", "write_file"]

PIPE = Path("-")


def read_file(path: Path, where: str = "FILE") -> bytes:
    """Read a file; `-` is standard input. Raises `Refused`."""
    if path == PIPE:
        return sys.stdin.buffer.read()
    try:
        return path.read_bytes()
    except OSError as cause:
        raise Refused(
            f"{path} cannot be read: {cause.strerror or cause}.",
            where=where,
            accepted="a file that you may read; - = standard input",
            remedy="Name another file.",
        ) from cause


def write_file(
    path: Path, content: str | bytes, where: str = "--out", *, private: bool = False
) -> None:
    """Write a file in one step, or to standard output where `path` is `-`.

    A `private` file is readable by this account only and must not be there yet. Raises `Refused`,
    `Conflict`.
    """
    if path == PIPE:
        if isinstance(content, str):
            sys.stdout.write(content)
        else:
            sys.stdout.buffer.write(content)
        sys.stdout.flush()
        return
    raw = content.encode() if isinstance(content, str) else content
    part = path if private else path.with_name(f".{path.name}.{os.getpid()}")
    flags = os.O_WRONLY | os.O_CREAT | (os.O_EXCL if private else os.O_TRUNC)
    try:
        with os.fdopen(os.open(part, flags, 0o600 if private else 0o666), "wb") as stream:
            stream.write(raw)
        part.replace(path)
    except FileExistsError:
        raise Conflict(
            f"{path} is there already.", where=where, remedy="Name a file that is not there."
        ) from None
    except OSError as cause:
        if part != path:
            part.unlink(missing_ok=True)
        raise Refused(
            f"{path} cannot be written: {cause.strerror or cause}.",
            where=where,
            accepted="a file in a folder that is there; - = standard output",
            remedy="Name another file.",
        ) from cause
