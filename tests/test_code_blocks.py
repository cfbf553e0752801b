"""Code blocks of the documents: does each one run, or at least parse?

The Python blocks of a document run one after another, as doctests, from the root. Shell blocks hold
`solespan` commands and run in a folder where the example collector is imported. A block that needs
more says so in a comment above it, such as `<!-- needs: server -->`; its commands are then only
parsed.
"""

from __future__ import annotations

import doctest
import re
import shlex
import shutil
from pathlib import Path
from typing import NamedTuple

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from tests.test_documents import DOCUMENTS, ROOT

NEEDS = {"network", "server", "postgresql", "an answer", "a checkout"}
FENCE = re.compile(
    r"(?:<!-- needs: (?P<needs>[^>]*?) -->\n)?```(?P<kind>\w*)\n(?P<text>.*?)```", re.DOTALL
)


class Block(NamedTuple):
    """One fenced block of a document."""

    document: Path
    kind: str
    needs: str | None
    text: str


BLOCKS = [
    Block(path, found["kind"], found["needs"], found["text"])
    for path in DOCUMENTS
    for found in FENCE.finditer(path.read_text("utf-8"))
]


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _commands(block: Block) -> list[list[str]]:
    """Return the words of every `solespan` command, without what stands before it."""
    lines = block.text.replace("\\\n", " ").splitlines()
    parts = [part for line in lines for part in line.split("&&")]
    words = [shlex.split(part, comments=True) for part in parts]
    found = []
    for one in words:
        at = next((i for i, word in enumerate(one) if Path(word).name == "solespan"), None)
        if at is not None:
            assert all("=" in word for word in one[:at]), f"before solespan: {one[:at]}"
            found.append(one[at + 1 :])
    return found


def test_every_block_says_what_it_is():
    assert {block.kind for block in BLOCKS} <= {"sh", "python", "text"}
    assert {block.needs for block in BLOCKS} - {None} <= NEEDS
    fences = sum(path.read_text("utf-8").count("```") for path in DOCUMENTS)
    assert fences == 2 * len(BLOCKS)


@pytest.mark.parametrize(
    "document",
    sorted({b.document for b in BLOCKS if b.kind == "python" and not b.needs}),
    ids=_name,
)
def test_the_python_blocks_of_a_document_show_what_they_print(document, monkeypatch):
    """As in a notebook, a block knows the names of those before it."""
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    for block in BLOCKS:
        if block.document == document and block.kind == "python" and not block.needs:
            parsed = doctest.DocTestParser().get_doctest(
                block.text, names, document.name, str(document), 0
            )
            assert parsed.examples
            said: list[str] = []
            result = doctest.DocTestRunner().run(parsed, out=said.append, clear_globs=False)
            assert result.failed == 0, "".join(said)
            names = parsed.globs


@pytest.mark.parametrize(
    "block", [b for b in BLOCKS if b.kind == "sh"], ids=lambda b: _name(b.document)
)
def test_the_commands_of_a_shell_block_exist_with_their_options(block):
    for given in _commands(block):
        words = list(given)
        command, names = get_command(build_app()), ["solespan"]
        while hasattr(command, "commands"):
            names.append(words.pop(0))
            command = command.commands[names[-1]]
        command.make_context(" ".join(names), words)  # refuses an unknown option


@pytest.fixture(scope="module")
def example(tmp_path_factory) -> Path:
    """Make a folder with the examples beside a database that holds one of them."""
    folder = tmp_path_factory.mktemp("example")
    with pytest.MonkeyPatch.context() as patched:
        patched.chdir(folder)
        (folder / "synthetic_data").symlink_to(ROOT / "synthetic_data")
        done = CliRunner().invoke(build_app(), ["import", "synthetic_data/examples/one_collector"])
        assert done.exit_code == 0, done.output
    return folder


@pytest.mark.parametrize(
    "document",
    [
        # The demo takes several seconds.
        pytest.param(path, marks=pytest.mark.slow if path.name == "start.md" else [])
        for path in sorted({b.document for b in BLOCKS if b.kind == "sh" and b.needs is None})
    ],
    ids=_name,
)
def test_the_shell_blocks_of_a_document_run_one_after_another(
    document, example, tmp_path, monkeypatch
):
    shutil.copytree(example, tmp_path, symlinks=True, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    for block in BLOCKS:
        if block.document == document and block.kind == "sh" and block.needs is None:
            lines = [line for line in block.text.splitlines() if line.strip()]
            commands = _commands(block)
            assert len(commands) == len(lines), "mark the block, or give each command a line"
            for words in commands:
                done = CliRunner().invoke(build_app(), words, catch_exceptions=False)
                assert done.exit_code == 0, (words, done.output)
