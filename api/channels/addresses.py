"""Kinds of addresses: where is each kept, what can it be, and how is it written the one way?"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

__all__ = ["HOOK", "MAIL", "STREET", "TELEPHONE", "AddressKind", "usable_mail"]

# A dot-atom or its wider UTF-8 form (RFC 5322, 3.2.3; RFC 6531) and a domain of labels. Quoted
# local parts and address literals are of no use in a shop.
_LOCAL = re.compile(r"[^\s\x00-\x20\x7f()<>\[\]:;@\\,\"]+")
_LABEL = re.compile(r"[^\W_](?:[\w-]{0,61}[^\W_])?")
MOST_LOCAL, MOST_ADDRESS = 64, 254  # RFC 5321, 4.5.3.1
_NUMBER = re.compile(r"\+[1-9][0-9]{6,14}")  # ITU-T E.164: up to 15 digits with the country's code


@dataclass(frozen=True)
class AddressKind:
    """A kind of address.

    name : str
    word : str
        What a page calls it.
    kept : str
        `wearer`: the wearer's `email`; `consent`: with the consent; `shop`: in the shop's rules.
    accepted : str
        What can be one, for messages of errors.
    tidy : callable
        Writes one the one way, so that equal addresses are equal text.
    usable : callable
        Whether a tidy one can be written to.
    lines : int
        How many lines a form gives it.
    """

    name: str
    word: str
    kept: Literal["wearer", "consent", "shop"]
    accepted: str
    tidy: Callable[[str], str] = str.strip
    usable: Callable[[str], bool] = bool
    lines: int = 1


def usable_mail(address: str) -> bool:
    """Whether mail can be sent to it as it is."""
    local, _, domain = address.rpartition("@")
    if len(address) > MOST_ADDRESS or len(local.encode()) > MOST_LOCAL:
        return False
    if not _LOCAL.fullmatch(local) or ".." in f".{local}.":
        return False
    labels = domain.split(".")
    return all(_LABEL.fullmatch(label) and "__" not in label for label in labels)


def _tidy_number(text: str) -> str:
    """Drop what people put between digits; 00 before a country's code is a plus."""
    plain = re.sub(r"[\s()./-]", "", text)
    return f"+{plain[2:]}" if plain.startswith("00") else plain


MAIL = AddressKind(
    "mail", "E-mail address", "wearer", "a name, one @ and a domain", usable=usable_mail
)
TELEPHONE = AddressKind(
    "telephone",
    "Telephone number",
    "consent",
    "a number with its country's code, such as +43 1 2345678",
    tidy=_tidy_number,
    usable=lambda number: _NUMBER.fullmatch(number) is not None,
)
STREET = AddressKind(
    "street", "Postal address", "consent", "up to 500 characters, line by line", lines=4
)
HOOK = AddressKind("hook", "Address of your own software", "shop", "https://name/path")
