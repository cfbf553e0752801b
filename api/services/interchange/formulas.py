"""Formulas service: how does text pass through a spreadsheet without being run as a formula?

A text that begins with one of the signs that spreadsheets take for a formula gets an apostrophe in
front; reading undoes it. Text that already looks guarded is guarded once more, so that the round
trip is exact. Practice: OWASP ASVS 5.0, 1.2.10; full-width signs and leading spaces are stricter
than asked there.
"""

from __future__ import annotations

import re

__all__ = ["guard", "unguard"]

_DANGEROUS = re.compile(r"[ ']*[=+\-@\t\r\n\0\uff1d\uff0b\uff0d\uff20]")


def guard(text: str) -> str:
    """Put an apostrophe in front of a text that a spreadsheet could run."""
    return f"'{text}" if _DANGEROUS.match(text) else text


def unguard(text: str) -> str:
    """Take away the apostrophe that `guard` put there, and no other."""
    return text[1:] if text.startswith("'") and _DANGEROUS.match(text, 1) else text
