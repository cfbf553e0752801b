"""How does a test start the service as a process of its own, and know that it is there?"""

from __future__ import annotations

import re
import subprocess
import sys
from threading import Timer

COMMAND = (sys.executable, "-c", "from solespan.api.cli.main import main; main()")
PATIENCE_S = 300  # ends a test that hangs


def started(*words: str, env: dict[str, str]) -> subprocess.Popen[str]:
    """Run a command of ours; what it says on stderr is kept."""
    return subprocess.Popen([*COMMAND, *words], env=env, stderr=subprocess.PIPE, text=True)


def first_line(process: subprocess.Popen[str]) -> str:
    """Wait until it says that it works."""
    hangs = Timer(PATIENCE_S, process.kill)
    hangs.start()
    line = process.stderr.readline()
    hangs.cancel()
    assert "end with Ctrl-C" in line, line + process.stderr.read()
    return line


def port_of(process: subprocess.Popen[str]) -> int:
    """Wait until `serve` listens; what is sent from then on is answered when it is ready."""
    return int(re.search(r"http://127\.0\.0\.1:(\d+)/", first_line(process))[1])
