"""Client check: can others make clients of the API's description, and do these work?

It makes a Python client with a generator, in an environment of its own, as the generator needs an
older typer than the service. Warnings fail. The client then imports, forecasts and takes a hook of
a served application. Where npm is there, a linter and a TypeScript generator read the document too.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
DOCUMENT = ROOT / "tests" / "api" / "service" / "openapi.json"
EXAMPLES = ROOT / "synthetic_data" / "examples" / "one_collector"
SECRET = "only-for-this-check-" * 2
_KEY = hmac.digest(SECRET.encode(), b"solespan webhook 1", hashlib.sha256)
KEY = "whsec_" + base64.b64encode(_KEY).decode()
NODE = ("@redocly/cli@2.77.0", "openapi-typescript@7.13.0", "typescript@5")
START_S, STOP_S = 120, 30


def run(*command: str | Path, cwd: Path, more: dict[str, str] | None = None) -> str:
    """Run a command and return what it said; stop with that where it fails."""
    done = subprocess.run(
        command, cwd=cwd, env=os.environ | (more or {}), check=False, capture_output=True, text=True
    )
    if done.returncode:
        raise SystemExit(f"{command[0]}: {done.stdout}{done.stderr}")
    return done.stdout


def make_python_client(folder: Path) -> Path:
    """Make the client; return the Python that has what it needs."""
    subprocess.run([sys.executable, "-m", "venv", str(folder / "env")], check=True)
    own = folder / "env" / "bin"
    run(own / "pip", "install", "-q", "-r", str(ROOT / ".ci" / "generator.txt"), cwd=folder)
    run(own / "python", "-m", "openapi_spec_validator", str(DOCUMENT), cwd=folder)
    run(
        own / "openapi-python-client",
        "generate",
        "--fail-on-warning",
        *("--path", str(DOCUMENT), "--output-path", str(folder / "client")),
        cwd=folder,
        more={"PATH": f"{own}{os.pathsep}{os.environ['PATH']}"},
    )
    modules = list((folder / "client" / "solespan_client" / "api").glob("*/*.py"))
    made = {module.stem for module in modules if module.stem != "__init__"}
    paths = json.loads(DOCUMENT.read_text("utf-8"))["paths"]
    names = {operation["operationId"] for one in paths.values() for operation in one.values()}
    if made != names:
        raise SystemExit(f"The client lacks: {sorted(names - made)}")
    print(f"A Python client with {len(made)} operations was made without a warning.")
    return own / "python"


def use_python_client(python: Path, folder: Path) -> None:
    """Serve an empty rack, and let the client work on it."""
    settings = {
        "SOLESPAN_DATABASE_URL": f"sqlite:///{folder / 'served.sqlite3'}",
        "SOLESPAN_SECRET_KEY": SECRET,
        "SOLESPAN_PUBLIC_ADDRESS": "http://127.0.0.1",
        "SOLESPAN_WEBHOOK_PRIVATE_ADDRESSES": "true",
    }
    said = folder / "said.txt"
    code = "from solespan.api.cli.main import main; main()"
    command = [sys.executable, "-c", code, "serve", "--port", "0"]
    with said.open("w") as out:
        server = subprocess.Popen(
            command, cwd=ROOT, env=os.environ | settings, stdout=out, stderr=out
        )
    try:
        until = time.monotonic() + START_S
        while "serves http://" not in said.read_text():
            if server.poll() is not None or time.monotonic() > until:
                raise SystemExit(f"The server did not start: {said.read_text()}")
            time.sleep(0.2)
        place = "http://" + said.read_text().split("serves http://")[1].split()[0].rstrip("/")
        script = ROOT / ".ci" / "use_client.py"
        more = {"PYTHONPATH": str(folder / "client")}
        run(python, script, place, str(EXAMPLES), KEY, cwd=folder, more=more)
    finally:
        server.terminate()
        server.wait(STOP_S)
    print("It imported a folder, read the forecasts, and took a signed hook.")


def check_with_node(folder: Path) -> None:
    """Lint the document, and make TypeScript of it."""
    npm = shutil.which("npm")
    if npm is None:
        print("npm is not there: nothing was linted, and no TypeScript made.")
        return
    own = folder / "node_modules" / ".bin"
    got = subprocess.run((npm, "install", "--silent", "--no-save", *NODE), cwd=folder, check=False)
    if got.returncode:
        print("npm cannot get its packages: nothing was linted, and no TypeScript made.")
        return
    told = json.loads(run(own / "redocly", "lint", str(DOCUMENT), "--format=json", cwd=folder))
    if told["totals"]["errors"] or told["totals"]["warnings"]:
        raise SystemExit(json.dumps(told["problems"], indent=1))
    run(own / "openapi-typescript", str(DOCUMENT), "-o", "api.d.ts", cwd=folder)
    run(own / "tsc", "--strict", "--noEmit", "api.d.ts", cwd=folder)
    print("The linter found nothing; the TypeScript is strict.")


def main() -> None:
    """Make, use, lint."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        python = make_python_client(folder)
        use_python_client(python, folder)
        check_with_node(folder)


if __name__ == "__main__":
    main()
