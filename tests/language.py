"""Readable text of the product: which words can a person read, and where do they stand?

Sources are templates, messages in the code, help of commands, scripts, mails, help chapters and
documents. Each becomes plain sentences with the place they came from. `tests.prose` reads the
docstrings and comments.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from html import unescape
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parent.parent
FOLDERS = ("forecast", "api", "dashboards", "synthetic_data")
BLOCKS = (
    "p|h[1-6]|li|td|th|dt|dd|caption|button|label|legend|option|summary|div|section|title|tr|ul|ol"
    "|figcaption|span|a|form|details|table|thead|tbody|fieldset|select|text|nav|header|footer"
)
GAP = "…"  # stands for a value that is filled in
SHORT = 3  # words of a phrase that counts as a sentence


class Sentence(NamedTuple):
    """One sentence: its text, the file and the line it begins near."""

    text: str
    place: str

    @property
    def words(self) -> int:
        """How many words it has; a value that is filled in counts as one."""
        return len(re.findall(rf"[\w{GAP}][\w{GAP}'\u2019.,:/°@\-]*", self.text))


@cache
def tree_of(path: Path) -> ast.Module:
    """Return the syntax tree of a module."""
    return ast.parse(path.read_text("utf-8"))


def sentences_of(text: str, place: str) -> Iterator[Sentence]:
    """Cut a paragraph into sentences at full stops, question marks and line breaks."""
    plain = re.sub(r"\s+", " ", text).strip()
    for piece in re.split(r"(?<=[.!?])[\"')\]]*\s+(?=[A-Z\"'(`…\d])|(?<=:)\s+(?=[A-Z])", plain):
        if len(piece.split()) >= SHORT and re.search(r"[A-Za-z]{2}", piece):
            yield Sentence(piece.strip(), place)


def markdown(path: Path) -> Iterator[Sentence]:
    """Sentences of a Markdown file, without code blocks, tables' rules and link addresses."""
    text = re.sub(r"```.*?```|<!--.*?-->", "\n\n", path.read_text("utf-8"), flags=re.DOTALL)
    text = re.sub(r"!?\[([^\]]*)\]\([^)]*\)", r"\1", text)
    text = re.sub(r"`[^`]*`", "Code", text)
    place = str(path.relative_to(ROOT))
    for block in re.split(r"\n\s*\n|\n(?=\s*(?:[-*|#]|\d+\.))", text):
        cells = block.strip().strip("|").split("|") if block.lstrip().startswith("|") else [block]
        for cell in cells:
            yield from sentences_of(re.sub(r"^[\s#*\->]+|\*\*|^\d+\.\s", "", cell), place)


def template(path: Path) -> Iterator[Sentence]:
    """Sentences of an HTML or mail template: what is filled in counts as one word."""
    text = path.read_text("utf-8")
    place = str(path.relative_to(ROOT))
    text = re.sub(r"\{#.*?#\}", "", text, flags=re.DOTALL)
    text = re.sub(r"\[\[|\]\]", "\n\n", text)  # messages of the shipped wording
    for quoted in re.findall(r'"([A-Z][^"{}<>]* [^"{}<>]* [^"{}<>]*)"', text):
        yield from sentences_of(unescape(quoted), place)
    text = re.sub(r"^\{%-?\s*(?:elif|else|endif).*?%\}", "\n\n", text, flags=re.MULTILINE)
    text = re.sub(r"\{%-?\s*(?:if|elif|else|endif).*?%\}", "", text, flags=re.DOTALL)
    text = re.sub(r"\{%.*?%\}", "\n\n", text, flags=re.DOTALL)
    text = re.sub(r"\{\{.*?\}\}", GAP, text, flags=re.DOTALL)
    text = re.sub(rf"</?(?:{BLOCKS})\b[^>]*>|<br>", "\n\n", text)
    text = re.sub(r"<[^>]*>", "", text)
    for block in re.split(r"\n\s*\n", text):
        yield from sentences_of(unescape(block), place)


def _filled(node: ast.expr) -> str | None:
    """Return the text of a string expression, with a gap for each value; None if it is no text."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else None
    if isinstance(node, ast.JoinedStr):
        parts = (
            _filled(value) if isinstance(value, ast.Constant) else GAP for value in node.values
        )
        return "".join(part or "" for part in parts)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = _filled(node.left), _filled(node.right)
        return None if left is None and right is None else f"{left or GAP}{right or GAP}"
    return None


def _is_prose(text: str) -> bool:
    """Tell a sentence for people from names, patterns, SQL and CSS."""
    if len(text.split()) < SHORT or re.search(r"[{}<>\\|=]|\(\?|^\s*(SELECT|INSERT|DELETE)", text):
        return False
    return bool(re.search(r"[a-z]{2,} [a-z]{2,}", text))


def python_messages(path: Path) -> Iterator[Sentence]:
    """Sentences in the strings of a module, docstrings left out (but a command's help kept)."""
    tree = tree_of(path)
    place = path.relative_to(ROOT)
    skipped: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                if "cli" in place.parts and isinstance(node, ast.FunctionDef):
                    continue  # help of a command
                skipped.add(id(first.value))
    for node in ast.walk(tree):
        if isinstance(node, ast.expr) and id(node) not in skipped:
            text = _filled(node)
            if text is None:
                continue
            skipped.update(id(child) for child in ast.walk(node))
            for block in re.split(r"\n\s*\n", text):
                if _is_prose(block):
                    yield from sentences_of(block, f"{place}:{node.lineno}")


def script(path: Path) -> Iterator[Sentence]:
    """Sentences in the strings of a script."""
    code = path.read_text("utf-8")
    text = re.sub(r"/\*.*?\*/|^\s*//.*$", "", code, flags=re.DOTALL | re.MULTILINE)
    for quoted in re.findall(r'"([^"\n]*)"|`([^`]*)`', text):
        said = re.sub(r"\$\{[^}]*\}", GAP, "".join(quoted))
        if _is_prose(said):
            yield from sentences_of(said, str(path.relative_to(ROOT)))


def _modules() -> Iterator[Path]:
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).rglob("*.py")):
            if "migrations" not in path.parts:
                yield path


def first_lines() -> Iterator[tuple[str, str]]:
    """Give the first line of every module's docstring, with its place."""
    for path in _modules():
        head = ast.get_docstring(tree_of(path)) or ""
        yield str(path.relative_to(ROOT)), head.partition("\n")[0]


def everything() -> dict[str, list[Sentence]]:
    """Gather all sentences of pages, mails, messages and documents, by kind of source."""
    documents = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
    pages = sorted((ROOT / "dashboards" / "templates").rglob("*.html"))
    mails = sorted(p for p in (ROOT / "api" / "notices" / "templates").iterdir() if p.is_file())
    modules = list(_modules())
    return {
        "documents": [s for p in documents for s in markdown(p)],
        "help": [
            s for p in sorted((ROOT / "dashboards" / "help").rglob("*.md")) for s in markdown(p)
        ],
        "pages": [s for p in pages for s in template(p)],
        "mails": [s for p in mails if p.suffix != ".py" for s in template(p)],
        "messages": [s for p in modules for s in python_messages(p)],
        "scripts": [
            s for p in sorted((ROOT / "dashboards" / "static").glob("*.js")) for s in script(p)
        ],
    }
