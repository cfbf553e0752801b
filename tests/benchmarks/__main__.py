"""How fast is it, beside what else could be used?

`python -m tests.benchmarks [--quick] [--only NAME] [--json FILE]` runs `run(quick)` of every module
`bench_*` beside this file, each a list of rows {name, value, unit, note}, prints a table, and the
same rows as JSON (to FILE where one is given). `--minutes N` is for `memory`, `--pairs N` for
`scale`.
"""

from __future__ import annotations

import argparse
import importlib.util
import inspect
import json
import os
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

# As the program itself does: the fit has threads of its own.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

Rows = list[dict[str, object]]
FOLDER = Path(__file__).parent


def benchmarks() -> dict[str, Callable[..., Rows]]:
    """Load every module bench_NAME beside this file; by NAME."""
    found = {}
    for path in sorted(FOLDER.glob("bench_*.py")):
        spec = importlib.util.spec_from_file_location(path.stem, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[path.stem] = module
        spec.loader.exec_module(module)
        found[path.stem.removeprefix("bench_")] = module.run
    return found


def table(rows: Rows) -> str:
    """Lay rows out as text."""
    cells = [(r["name"], f"{r['value']:.4g}", r["unit"], r["note"]) for r in rows]
    widths = [max([len(str(c[i])) for c in cells] or [0]) for i in range(3)]
    return "\n".join(
        f"{name:<{widths[0]}}  {value:>{widths[1]}} {unit:<{widths[2]}}  {note}".rstrip()
        for name, value, unit, note in cells
    )


def main(arguments: list[str] | None = None) -> int:
    """Run what is asked for and print it."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes and few repetitions")
    parser.add_argument("--only", metavar="NAME", action="append", help="only this one; repeatable")
    parser.add_argument("--minutes", metavar="N", type=float, default=30.0, help="of `memory`")
    parser.add_argument("--json", metavar="FILE", type=Path, help="write the rows there")
    parser.add_argument("--pairs", metavar="N", type=int, action="append", help="size of `scale`")
    chosen = parser.parse_args(arguments)
    known = benchmarks()
    if chosen.pairs:
        known["scale"] = partial(known["scale"], pairs=chosen.pairs)
    unknown = set(chosen.only or ()) - set(known)
    if unknown:
        parser.error(f"{', '.join(sorted(unknown))}: not one of {', '.join(known)}")
    rows: Rows = []
    for name in chosen.only or known:
        begun = time.perf_counter()
        timed = "minutes" in inspect.signature(known[name]).parameters
        part = known[name](chosen.quick, **({"minutes": chosen.minutes} if timed else {}))
        rows += part
        sys.stdout.write(f"{name} ({time.perf_counter() - begun:.0f} s)\n{table(part)}\n\n")
        sys.stdout.flush()
    text = json.dumps(rows, indent=1)
    if chosen.json:
        chosen.json.write_text(text + "\n")
    else:
        sys.stdout.write(text + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
