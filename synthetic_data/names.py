"""Invented names: what are the invented people, pairs and identifiers called?"""

from __future__ import annotations

import numpy as np

from solespan.forecast.frames import DRESS_CODES
from solespan.synthetic_data.pairs import Ints

__all__ = ["pair_labels", "wearer_names"]

# fmt: off
FIRST = (
    "Ines",
    "Tomas",
    "Marta",
    "Jonas",
    "Aino",
    "Pavel",
    "Rosa",
    "Emil",
    "Nadia",
    "Otto",
    "Lena",
    "Hugo",
    "Vera",
    "Milo",
    "Clara",
    "Ivo",
    "Greta",
    "Anton",
    "Edda",
    "Luca",
    "Selma",
    "Bruno",
    "Wanda",
    "Felix",
    "Dora",
    "Kaspar",
    "Alma",
    "Rufus",
    "Tilda",
    "Oskar",
)
COLOURS = (
    "black",
    "brown",
    "tan",
    "burgundy",
    "oxblood",
    "chestnut",
    "cognac",
    "walnut",
    "navy",
    "russet",
)
# fmt: on
STYLES = {
    "formal": ("oxford", "plain oxford", "wholecut"),
    "business": ("derby", "brogue", "monk", "semi-brogue"),
    "casual": ("loafer", "suede derby", "chukka"),
    "outdoor": ("boot", "country boot", "work boot"),
}


def wearer_names(n: int, rng: np.random.Generator) -> list[str]:
    """First names with an initial; two wearers may share one, as in life."""
    first = rng.choice(FIRST, n)
    letters = rng.choice(list("ABCDEFGHIJKLMNOPRSTUVWZ"), n)
    return [f"{name} {letter}." for name, letter in zip(first, letters, strict=True)]


def pair_labels(dress_code: Ints, wearer: Ints, rng: np.random.Generator) -> list[str]:
    """A colour and a style, numbered where one wearer would have the same label twice."""
    seen: dict[tuple[int, str], int] = {}
    labels = []
    for code, owner in zip(dress_code, wearer, strict=True):
        label = f"{rng.choice(COLOURS)} {rng.choice(STYLES[DRESS_CODES[code]])}"
        seen[int(owner), label] = seen.get((int(owner), label), 0) + 1
        count = seen[int(owner), label]
        labels.append(label if count == 1 else f"{label} {count}")
    return labels
