"""A copy of the program to which a test adds something, as the guide says, and then runs it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
FOLDERS = ("solespan", "forecast", "api", "dashboards", "synthetic_data")


@dataclass(frozen=True)
class Checkout:
    """The folder of the copy, and how many files of it were written by hand so far."""

    root: Path
    by_hand: set[str]

    def write(self, path: str, text: str) -> None:
        """Add a file."""
        target = self.root / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, "utf-8")
        self.by_hand.add(path)

    def put_before(self, path: str, place: str, text: str) -> None:
        """Write some lines into a file, before the only line that begins with `place`."""
        lines = (self.root / path).read_text("utf-8").splitlines(keepends=True)
        (at,) = [i for i, line in enumerate(lines) if line.startswith(place)]
        self.write(path, "".join([*lines[:at], text, *lines[at:]]))

    def replace(self, path: str, old: str, new: str) -> None:
        """Replace some words that stand in a file once."""
        text = (self.root / path).read_text("utf-8")
        assert text.count(old) == 1, f"{path}: {old}"
        self.write(path, text.replace(old, new))

    def run(self, script: str) -> str:
        """Run a script of this folder in the copy; return what it printed."""
        done = subprocess.run(
            [sys.executable, "-W", "error", Path(__file__).parent / script],
            cwd=self.root,
            env={**os.environ, "PYTHONPATH": f"{self.root}{os.pathsep}{ROOT}"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout


@pytest.fixture
def checkout(tmp_path: Path) -> Checkout:
    for folder in FOLDERS:
        ignored = shutil.ignore_patterns("examples", "__pycache__")
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=ignored)
    return Checkout(tmp_path, set())
