"""Command messages.

How is what was typed at a command read as a message of the schemas, or refused in words?
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from solespan.api.errors import Refused
from solespan.api.schemas.forms import FormProblem

__all__ = ["read_message", "typed_options"]

M = TypeVar("M", bound=BaseModel)


def read_message(make: Callable[[], M]) -> M:
    """Read a message; a mistake names the field and what it accepts. Raises `Refused`."""
    try:
        return make()
    except ValidationError as cause:
        first = cause.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the message"
        raise Refused(
            f"{where}: {first['msg'].removeprefix('Value error, ')}.",
            where=where,
            remedy="Correct it and try again; nothing was changed.",
        ) from None


@contextmanager
def typed_options(options: Mapping[str, str], *, replace: str = "") -> Iterator[None]:
    """Refuse what a form of the pages would refuse; `options` name its fields at the terminal.

    `replace` is the option that takes the place of a record that is there. Raises `Refused`.
    """
    try:
        yield
    except FormProblem as problem:
        if problem.question:
            raise Refused(
                problem.question,
                where=", ".join(options.get(f, f) for f in problem.errors),
                remedy="Look again, or add --sure if it is right.",
            ) from problem
        named = {options.get(f, f"--{f.replace('_', '-')}"): w for f, w in problem.errors.items()}
        raise Refused(
            " ".join(f"{option}: {why}." if option else why for option, why in named.items()),
            where=", ".join(filter(None, named)),
            remedy=f"To replace it, add {replace}."
            if problem.replaceable and replace
            else "Correct it and try again; nothing was changed.",
        ) from problem
