"""Prose of the code: which sentences stand in docstrings and comments, for people who read code?

Entries of parameters, results, attributes and errors are no sentences. Nor are lines
`name : what it is`, formulas, tables and examples. What stands in backticks counts as one word.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from tests.language import FOLDERS, GAP, ROOT, Sentence, sentences_of, tree_of

DOCUMENTED = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
SECTION = re.compile(r"^\w[\w ]*\n-{3,}$", re.MULTILINE)
BETWEEN = re.compile(r"\n\s*\n|\n(?=\s*[-*] |[\w*, ]+ : )")  # paragraphs, items, fields
FIELD = re.compile(r"[\w*, ]+ : ")
LAID_OUT = re.compile(r"^\s{4}|^>>>|\S {2,}\S|\|", re.MULTILINE)  # entries, code, formulas, tables
CODE = re.compile(r"``.+?``|`[^`]*`", re.DOTALL)
COMMENT = re.compile(r"(?:^\s*|\s{2})(#:? .*)$")
DIRECTIVE = re.compile(r"# (noqa|type:|pragma|fmt:|ruff:|mypy:)")


def docstrings(tree: ast.Module, place: str) -> Iterator[Sentence]:
    """Sentences in the docstrings of a module, its classes and functions."""
    for node in (node for node in ast.walk(tree) if isinstance(node, DOCUMENTED)):
        first, *sections = SECTION.split(CODE.sub(GAP, ast.get_docstring(node) or ""))
        blocks = BETWEEN.split(first)
        blocks += [
            block for body in sections for block in BETWEEN.split(body) if block.endswith(".")
        ]
        for block in blocks:
            if not (FIELD.match(block) or LAID_OUT.search(block)):
                yield from sentences_of(block, f"{place}:{getattr(node, 'lineno', 1)}")


def comments(code: str, place: str) -> Iterator[Sentence]:
    """Sentences in the comments of a module; whole lines at one column are one comment."""
    blocks: list[list[str]] = []
    starts: list[int] = []
    last = (-1, -1)
    for number, line in enumerate(code.splitlines(), 1):
        found = COMMENT.search(line) if "#" in line else None
        if not found or DIRECTIVE.match(found[1]):
            continue
        here = (number, found.start(1))
        if here != (last[0] + 1, last[1]) or line.lstrip() != found[1]:
            blocks.append([])
            starts.append(number)
        blocks[-1].append(found[1].lstrip("#: "))
        last = here
    for number, block in zip(starts, blocks, strict=True):
        yield from sentences_of(CODE.sub(GAP, "\n".join(block)), f"{place}:{number}")


def prose_of_code() -> dict[str, list[Sentence]]:
    """Gather all sentences of docstrings and comments, by kind."""
    found: dict[str, list[Sentence]] = {"docstrings": [], "comments": []}
    for path in (path for folder in FOLDERS for path in sorted((ROOT / folder).rglob("*.py"))):
        place = str(path.relative_to(ROOT))
        found["docstrings"] += docstrings(tree_of(path), place)
        found["comments"] += comments(path.read_text("utf-8"), place)
    return found
