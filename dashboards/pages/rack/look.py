"""Look of a pair: which form, leather and ground does its drawn picture have?

Form and leather come from the pair's own fields, else from words of its name. The ground's tint,
the side of the toe and the letter follow the pair's identifier, so a pair keeps them for life.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from zlib import crc32

__all__ = ["FORMS", "LEATHERS", "TINTS", "Look", "guess_look", "tell_apart"]

# Common practice, no source: words of a name -> form. The first that is found holds.
FORMS: dict[str, tuple[str, ...]] = {
    "chelsea": ("chelsea", "jodhpur", "elastic"),
    "boot": ("boot", "balmoral boot", "chukka", "stiefel"),
    "loafer": ("loafer", "penny", "tassel", "slipper", "moccasin"),
    "monk": ("monk", "buckle", "strap"),
    "wholecut": ("wholecut", "whole cut"),
    "derby": ("derby", "blucher", "gibson", "country", "semi-brogue", "norwegian"),
    "oxford": ("oxford", "balmoral", "brogue", "cap toe", "captoe", "plain"),
}
# leather -> its colour on the picture
LEATHERS: dict[str, str] = {
    "black": "#23262a",
    "dark brown": "#46291b",
    "oxblood": "#5a1820",
    "burgundy": "#6b1d38",
    "chestnut": "#7c3f1d",
    "walnut": "#6f472a",
    "cognac": "#a2551f",
    "tan": "#bb7e41",
    "navy": "#24365c",
    "green": "#3d5238",
    "grey": "#6b7075",
    "white": "#ebe6db",
    "sand": "#c9ab80",
    "brown": "#64391f",
}
_LEATHER_WORDS: dict[str, tuple[str, ...]] = {
    "black": ("black", "schwarz"),
    "dark brown": ("dark brown", "espresso", "coffee", "chocolate", "mocha"),
    "oxblood": ("oxblood", "ox blood", "cordovan"),
    "burgundy": ("burgundy", "wine", "bordeaux", "plum"),
    "chestnut": ("chestnut", "mahogany", "conker", "rust"),
    "walnut": ("walnut", "hazel", "acorn"),
    "cognac": ("cognac", "whisky", "amber", "orange"),
    "tan": ("tan", "london", "honey", "caramel", "natural"),
    "navy": ("navy", "blue", "indigo"),
    "green": ("green", "olive", "loden"),
    "grey": ("grey", "gray", "slate", "anthracite"),
    "white": ("white", "cream", "ivory"),
    "sand": ("sand", "beige", "stone", "snuff", "camel"),
    "brown": ("brown", "braun"),
}
TINTS = ("#cfc6e4", "#dbe4e1", "#f2dcb4", "#b9d2e8", "#ebc8bf", "#c8d8a6")
_TINT_STEP = 5  # neighbours take grounds that are far apart
_OF_UNKNOWN = ("oxford", "brown")


@dataclass(frozen=True)
class Look:
    """What a drawn picture is drawn from.

    `sole` is `welted`, `thick` or `plain`. `toe_left` says to which side the toe points. `letter`
    stands on the picture; empty = none.
    """

    form: str
    leather: str
    sole: str = "welted"
    cap: bool = False
    broguing: bool = False
    suede: bool = False
    tint: int = 0
    toe_left: bool = False
    letter: str = ""


def guess_look(pair: Mapping[str, Any]) -> Look:
    """Take the look from `form`, `colour`, `label`, `construction` and `pair_id`."""
    form, colour = _text(pair.get("form")), _text(pair.get("colour"))
    words = f"{colour} {_text(pair.get('label'))}"
    construction = _text(pair.get("construction"))
    thick = construction in ("norwegian", "stitchdown", "blake_rapid")
    number = _number(str(pair["pair_id"]))
    return Look(
        form=form if form in FORMS else _named(FORMS, words, _OF_UNKNOWN[0]),
        leather=_named(_LEATHER_WORDS, colour, "") or _named(_LEATHER_WORDS, words, _OF_UNKNOWN[1]),
        sole="thick" if thick else "plain" if construction in ("blake", "cemented") else "welted",
        cap=any(word in words for word in ("cap", "brogue", "tip")),
        broguing="brogue" in words,
        suede=any(word in words for word in ("suede", "nubuck", "reverse")),
        tint=(number * _TINT_STEP) % len(TINTS),
        toe_left=bool((number // len(TINTS)) % 2),
        letter=_letter(number // (2 * len(TINTS))),
    )


def tell_apart(looks: Sequence[Look]) -> list[Look]:
    """Keep the letters of those pairs only that would look much like another of these."""
    often = Counter(_outline(look) for look in looks)
    seen: Counter[tuple[Any, ...]] = Counter()
    out = []
    for look in looks:
        key = (*_outline(look), look.letter)
        again = str(seen[key] + 1) if seen[key] else ""
        seen[key] += 1
        letter = look.letter + again if often[_outline(look)] > 1 else ""
        out.append(replace(look, letter=letter))
    return out


def _outline(look: Look) -> tuple[Any, ...]:
    """What most of the picture's area shows: forms of one leather on one ground are too alike."""
    return look.leather, look.tint, look.toe_left


def _number(pair_id: str) -> int:
    """Return the number that an identifier ends in, else one made of all its letters."""
    found = re.search(r"(?<![0-9])[0-9]{1,6}$", pair_id)
    return int(found[0]) if found else crc32(pair_id.encode())


def _letter(place: int) -> str:
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[place % 26]


def _named(words: Mapping[str, Sequence[str]], text: str, otherwise: str) -> str:
    spaced = f" {text} "
    for name, its_words in words.items():
        if any(f" {word}" in spaced for word in its_words):
            return name
    return otherwise


def _text(value: object) -> str:
    return value.casefold().replace(",", " ") if isinstance(value, str) else ""
