"""Register of words: which headers and cells name which target, in several languages?

The words stand in the files of the folder `register`. Comparison is by letters and digits alone:
no case, no accents, no signs. A word that is not there is compared with its nearest neighbours.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources

from rapidfuzz import fuzz, process

__all__ = ["TARGETS", "Target", "header_scores", "is_blank", "plain", "say", "values_of", "word_of"]

EXACT, NEARLY, CONTAINED, NEAR = 1.0, 0.97, 0.8, 0.7
NEAR_ENOUGH = 86
LONGEST_HEADER, LONGEST_PHRASE = 80, 5
_FOLD = str.maketrans(
    {
        "ß": "ss",
        "ø": "o",
        "æ": "ae",
        "œ": "oe",
        "ł": "l",
        "✓": "x",
        "✔": "x",
        "☑": "x",
        "✅": "x",
        "√": "x",
        "●": "x",
        "•": "x",
        "■": "x",
    }
)


@dataclass(frozen=True)
class Target:
    """What a column can be read as: `table.column`, its name for a person, its kind of cell."""

    name: str
    title: str
    kind: str
    words: tuple[str, ...]

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
    path = resources.files("solespan.api.services.importing.sheets.cells") / "register" / name
    return tomllib.loads(path.read_text("utf-8"))


def _targets() -> dict[str, Target]:
    out = {}
    for file in ("wearers.toml", "pairs.toml", "soles.toml", "events.toml"):
        for name, entry in _load(file).items():
            words = tuple(dict.fromkeys(plain(word) for word in entry["words"]))
            out[name] = Target(name, str(entry["title"]), str(entry["kind"]), words)
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


@lru_cache(maxsize=50_000)
def word_of(
    column: str, text: str, *, near: bool = True, misspelt: bool = True
) -> tuple[str, bool]:
    """Return the word that a cell means, and whether it says so plainly; empty = unknown.

    `near` also finds a word within other words, and `misspelt` also one of nearly the same letters.
    """
    known = _values()[column]
    wanted = plain(text)
    if wanted in known:
        return known[wanted], True
    if not near or not wanted or len(wanted) > LONGEST_HEADER:
        return "", False
    tokens = wanted.split()
    for size in range(min(len(tokens), LONGEST_PHRASE), 0, -1):
        phrases = [" ".join(tokens[n : n + size]) for n in range(len(tokens) - size + 1)]
        inside = [phrase for phrase in phrases if len(phrase) > 2 and phrase in known]
        if inside:
            return known[max(inside, key=len)], True
    if not misspelt:
        return "", False
    found = process.extractOne(wanted, known.keys(), scorer=fuzz.ratio, score_cutoff=80)
    return (known[found[0]], False) if found and len(wanted) > 3 else ("", False)


@lru_cache(maxsize=50_000)
def is_blank(text: str) -> bool:
    """Whether a cell says that nothing is known."""
    return (not plain(text) and not re.search(r"[^\s\W]|[^\x00-\x7f\u2013\u2014]", text)) or (
        plain(text) in _values()["blank"]
    )


@cache
def values_of(column: str) -> tuple[str, ...]:
    """Return all spellings that a column knows, in plain letters."""
    return tuple(_values()[column])


def say(name: str) -> str:
    """Write a word of the tables as a person writes it."""
    return name.replace("_", " ")


@cache
def _index() -> dict[str, tuple[str, ...]]:
    """Map each word of a header to the targets that it names."""
    out: dict[str, list[str]] = {}
    for target in TARGETS.values():
        for word in target.words:
            out.setdefault(word, []).append(target.name)
            joined = word.replace(" ", "")
            if joined != word:
                out.setdefault(joined, []).append(target.name)
    return {word: tuple(names) for word, names in out.items()}


@lru_cache(maxsize=20_000)
def header_scores(header: str, *, misspelt: bool = True) -> dict[str, float]:
    """Score how well a header names each target, 0 to 1; targets that it does not name lack.

    `misspelt` also finds words of nearly the same letters.
    """
    wanted = plain(header)[:LONGEST_HEADER]
    if not wanted:
        return {}
    index = _index()
    bare = plain(re.sub(r"\([^)]*\)|\[[^]]*\]|[€$£]", " ", header))[:LONGEST_HEADER]
    core = " ".join(token for token in bare.split() if token not in _values()["filler_header"])
    scores: dict[str, float] = {}

    def name(word: str, score: float) -> None:
        for target in index.get(word, ()):
            if target == "ignore" and score < NEARLY:
                continue
            scores[target] = max(scores.get(target, 0.0), score)

    for word in (wanted, bare, wanted.replace(" ", "")):
        name(word, EXACT)
    for word in (core, core.replace(" ", "")):
        name(word, NEARLY)
    for phrase, share in _phrases(wanted, max(1, len(core.split()))):
        name(phrase, CONTAINED * (0.6 + 0.4 * share) * (1.0 if len(phrase) > 3 else 0.8))
    if misspelt and len(bare) > 4 and max(scores.values(), default=0.0) < NEAR:
        for word, ratio, _ in process.extract(
            bare, index.keys(), scorer=fuzz.ratio, score_cutoff=NEAR_ENOUGH, limit=5
        ):
            name(word, NEAR * ratio / 100)
    return scores


def _phrases(text: str, size: int) -> Iterator[tuple[str, float]]:
    """Give the phrases within a text, each with its share of the text's `size` words."""
    tokens = text.split()
    for begin in range(len(tokens)):
        for end in range(begin + 1, min(len(tokens), begin + LONGEST_PHRASE) + 1):
            phrase = " ".join(tokens[begin:end])
            if len(phrase) > 2:
                yield phrase, min(1.0, (end - begin) / size)
