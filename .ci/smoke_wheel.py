"""Wheel smoke test: does the wheel work in an empty environment, on every Python of this machine?

It builds the wheel, checks its contents, installs it outside the checkout, runs the demo, and asks
a served page.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
CONSTRAINTS = ROOT / ".ci" / "constraints.txt"
OLDEST_MINOR, NEWEST_MINOR = 11, 15
START_S = 120
STOP_S = 30


def pythons() -> list[str]:
    """Return the Pythons that the wheel supports and that run here, one of each version."""
    found = []
    for name in (f"python3.{minor}" for minor in range(OLDEST_MINOR, NEWEST_MINOR + 1)):
        managed = sorted(Path.home().glob(f".pyenv/versions/*/bin/{name}"))
        for path in (shutil.which(name), *managed):
            if path and _runs(str(path)):
                found.append(str(path))
                break
    return found


def _runs(python: str) -> bool:
    return subprocess.run([python, "-c", ""], check=False, capture_output=True).returncode == 0


def build(folder: Path) -> Path:
    """Build the wheel and check its contents by the rules of `pyproject.toml`."""
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder), str(ROOT)],
        check=True,
    )
    (wheel,) = folder.glob("*.whl")
    checker = Path(sys.executable).parent / "check-wheel-contents"
    subprocess.run([str(checker), str(wheel)], check=True, cwd=ROOT)
    return wheel


def smoke(python: str, wheel: Path, folder: Path) -> None:
    """Install the wheel for one Python, run the demo and ask a page."""
    subprocess.run([python, "-m", "venv", str(folder / "env")], check=True)
    own = folder / "env" / "bin"
    subprocess.run(
        [own / "pip", "install", "-q", "-c", str(CONSTRAINTS), str(wheel)], check=True, cwd=folder
    )
    subprocess.run([own / "pip", "check"], check=True, cwd=folder, stdout=subprocess.DEVNULL)
    for command in (["--version"], ["demo"]):
        subprocess.run(
            [own / "solespan", *command], check=True, cwd=folder, stdout=subprocess.DEVNULL
        )
    _ask_page(own / "solespan", folder)


def _ask_page(solespan: Path, folder: Path) -> None:
    """Serve an empty rack and ask for its first page."""
    address = f"sqlite:///{folder / 'served.sqlite3'}"
    own = os.environ | {"SOLESPAN_DATABASE_URL": address}
    said = folder / "said.txt"
    with said.open("w") as out:
        server = subprocess.Popen(
            [solespan, "serve", "--port", "0"], cwd=folder, env=own, stdout=out, stderr=out
        )
    try:
        until = time.monotonic() + START_S
        while "http://" not in said.read_text():
            if server.poll() is not None or time.monotonic() > until:
                raise SystemExit(f"The server did not start: {said.read_text()}")
            time.sleep(0.2)
        place = "http://" + said.read_text().split("http://")[1].split()[0].rstrip(".,/")
        for path in ("/v1/health/ready", "/", "/help"):
            with urllib.request.urlopen(place + path, timeout=START_S) as page:
                if page.status != 200:
                    raise SystemExit(f"{path} answers {page.status}.")
    except urllib.error.HTTPError as cause:
        raise SystemExit(f"{cause.url} answers {cause.code}.") from cause
    finally:
        server.terminate()
        server.wait(STOP_S)


def main() -> None:
    """Build once; install and run for each Python."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        wheel = build(folder)
        for python in pythons():
            own = folder / Path(python).name
            own.mkdir()
            smoke(python, wheel, own)
            print(f"{wheel.name} works on {Path(python).name}.")


if __name__ == "__main__":
    main()
