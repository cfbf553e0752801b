"""Is a command line answered before anything heavy is loaded?"""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("numpy", "pandas", "scipy", "statsmodels", "plotly", "fastapi", "sqlalchemy", "alembic")
PROGRAM = f"""
import sys
from solespan.api.cli.main import main
try:
    main()
finally:
    print(sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr)
"""


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--version",), 0),
        (("--help",), 0),
        (("wear", "--help"), 0),
        (("forecast", "--wearr", "ada"), 2),
        (("wears", "oxford"), 2),
        (("list", "pairs", "--format", "xml"), 2),
    ],
)
def test_nothing_heavy_is_loaded(words, code):
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM, *words], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stderr.splitlines()[-1]) == (code, "[]")
