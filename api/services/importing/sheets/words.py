"""Register of words: which headers and cells name which target, in several languages?

The words stand in the files of the folder `register`. Comparison is by letters and digits alone:
no case, no accents, no signs. A word that is not there is compared with its nearest neighbours.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources

from rapidfuzz import fuzz, process

__all__ = ["TARGETS", "Target", "header_scores", "is_blank", "plain", "say", "values_of", "word_of"]

EXACT, NEARLY, CONTAINED, NEAR = 1.0, 0.97, 0.8, 0.7
NEAR_ENOUGH = 86
LONGEST_HEADER = 80
FILLERS = frozenset("am on le il el op the of in der die das du de la del vom im a".split())
_FOLD = str.maketrans({"ß": "ss", "ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "✓": "x", "✔": "x", "☑": "x", "✅": "x", "√": "x", "●": "x", "•": "x", "■": "x"})


@dataclass(frozen=True)
class Target:
    """What a column can be read as: `table.column`, its name for a person, its kind of cell."""

    name: str
    title: str
    kind: str
    words: tuple[str, ...]
    spellings: frozenset[str]

    @property
    def table(self) -> str:
        """The table it belongs to, or `any`."""
        return self.name.partition(".")[0]


@lru_cache(maxsize=20_000)
def plain(text: str) -> str:
    """Reduce a text to its letters and digits: `Größe (EU)` becomes `grosse eu`."""
    folded = unicodedata.normalize("NFKD", text.lower().translate(_FOLD))
    letters = "".join(c for c in folded if not unicodedata.combining(c))
    return " ".join(re.findall(r"[^\W_]+", letters))


def _load(name: str) -> dict[str, dict[str, list[str]]]:
    path = resources.files("solespan.api.services.importing.sheets") / "register" / name
    return tomllib.loads(path.read_text("utf-8"))


def _targets() -> dict[str, Target]:
    out = {}
    for file in ("wearers.toml", "pairs.toml", "soles.toml", "events.toml"):
        for name, entry in _load(file).items():
            words = tuple(dict.fromkeys(plain(word) for word in entry["words"]))
            spellings = frozenset(w for word in words for w in (word, word.replace(" ", "")))
            out[name] = Target(name, str(entry["title"]), str(entry["kind"]), words, spellings)
    return out


TARGETS: dict[str, Target] = _targets()


@cache
def _values() -> dict[str, dict[str, str]]:
    """Map for each column the plain text of a cell to its word; the first entry holds."""
    out: dict[str, dict[str, str]] = {}
    for column, words in _load("values.toml").items():
        known = out.setdefault(column, {})
        for word, spellings in words.items():
            for text in (word, *spellings):
                known.setdefault(plain(text), word)
    return out


def word_of(column: str, text: str, *, near: bool = True) -> tuple[str, bool]:
    """Return the word that a cell means, and whether it says so plainly; empty = unknown."""
    known = _values()[column]
    wanted = plain(text)
    if wanted in known:
        return known[wanted], True
    if not near or not wanted or len(wanted) > LONGEST_HEADER:
        return "", False
    tokens = set(wanted.split())
    inside = [t for t in known if len(t) > 2 and set(t.split()) <= tokens]
    if inside:
        return known[max(inside, key=lambda t: (len(t.split()), len(t)))], True
    found = process.extractOne(wanted, known.keys(), scorer=fuzz.ratio, score_cutoff=80)
    return (known[found[0]], False) if found and len(wanted) > 3 else ("", False)


def is_blank(text: str) -> bool:
    """Whether a cell says that nothing is known."""
    return not plain(text) and not re.search(r"[^\s\W]|[^\x00-\x7f–—]", text) or (
        plain(text) in _values()["blank"]
    )


def values_of(column: str) -> tuple[str, ...]:
    """Return all spellings that a column knows, in plain letters."""
    return tuple(_values()[column])


def say(name: str) -> str:
    """Write a word of the tables as a person writes it."""
    return name.replace("_", " ")


@lru_cache(maxsize=5000)
def header_scores(header: str) -> dict[str, float]:
    """Score how well a header names each target, 0 to 1; targets that it does not name lack."""
    wanted = plain(header)[:LONGEST_HEADER]
    if not wanted:
        return {}
    bare = plain(re.sub(r"\([^)]*\)|\[[^]]*\]|[€$£]", " ", header))[:LONGEST_HEADER]
    core = " ".join(token for token in bare.split() if token not in FILLERS)
    exact = {wanted, bare, wanted.replace(" ", "")}
    nearly = {core, core.replace(" ", "")}
    tokens = max(1, len(core.split()))
    scores: dict[str, float] = {}
    for target in TARGETS.values():
        best = EXACT if exact & target.spellings else 0.0
        best = best or (NEARLY if nearly & target.spellings else 0.0)
        for word in () if best else target.words:
            if len(word) > 3 and f" {word} " in f" {wanted} ":
                share = min(1.0, len(word.split()) / tokens)
                best = max(best, CONTAINED * (0.5 + 0.5 * share))
        if best < NEAR and len(bare) > 4:
            near = process.extractOne(
                bare, target.words, scorer=fuzz.ratio, score_cutoff=NEAR_ENOUGH
            )
            if near:
                best = max(best, NEAR * near[1] / 100)
        if best:
            scores[target.name] = best
    return scores
