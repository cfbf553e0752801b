"""Files that a command reads or writes: what cannot be done is told in words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from solespan.api.errors import Refused

__all__ = ["read_json", "writing_to"]


def read_json(path: Path) -> str:
    """Read a file of JSON as text. Raises `Refused`."""
    try:
        return path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as cause:
        raise Refused(
            f"{path} cannot be read as text.", where="FILE", remedy="Name a JSON file."
        ) from cause


@contextmanager
def writing_to(path: Path, where: str) -> Iterator[None]:
    """Turn a file that cannot be written into `Refused`."""
    try:
        yield
    except OSError as cause:
        raise Refused(
            f"{path} cannot be written: {cause.strerror or cause}.",
            where=where,
            accepted="a file in a folder that is there",
            remedy="Name another file.",
        ) from cause
