"""Two servers and a worker on one PostgreSQL database see and keep the same rows."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta

import pytest

from tests.api.service.processes import PATIENCE_S, first_line, port_of, started

DAYS = 40


def send(port: int, method: str, path: str, body: object = None, **headers: str):
    """Send one request; return status and JSON."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}/v1/{path}",
        data=None if body is None else json.dumps(body).encode(),
        headers={"content-type": "application/json", **headers},
        method=method,
    )
    try:
        with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as refusal:
        return refusal.code, json.load(refusal)


@pytest.fixture(scope="module")
def servers(postgres_databases) -> Iterator[tuple[int, int]]:
    """Two `solespan serve` and one `solespan work` on one database; their ports."""
    env = {name: value for name, value in os.environ.items() if not name.startswith("SOLESPAN_")}
    address = postgres_databases.copy()
    env |= {"SOLESPAN_DATABASE_URL": address, "SOLESPAN_LOG_LEVEL": "error"}
    serve = ("serve", "--port", "0")
    processes = [started(*words, env=env) for words in (serve, serve, ("work",))]
    try:
        one, other = (port_of(process) for process in processes[:2])
        first_line(processes[2])
        for port in (one, other):
            assert send(port, "GET", "health/ready")[0] == 200
        yield one, other
    finally:
        for process in processes:
            process.send_signal(signal.SIGINT)
        ends = []
        for process in processes:
            try:
                ends.append((process.communicate(timeout=PATIENCE_S)[1], process.returncode))
            except subprocess.TimeoutExpired:
                process.kill()
                ends.append((process.communicate()[1], "killed"))
    postgres_databases.drop(address)
    stopped = (0, 128 + signal.SIGINT)
    assert all(code in stopped and '"error"' not in told for told, code in ends), ends


@pytest.mark.load
@pytest.mark.slow
def test_what_is_logged_through_both_at_once_is_there_once_for_both(servers):
    for path, body in (
        ("wearers", {"wearer_id": "ann"}),
        ("pairs", {"pair_id": "oxford", "wearer_id": "ann", "construction": "blake"}),
    ):
        assert send(servers[0], "POST", path, body)[0] == 201
    sole = {"sole_id": "s", "pair_id": "oxford", "fitted_on": "2026-01-01", "material": "rubber"}
    assert send(servers[1], "POST", "soles", sole | {"nominal_thickness_mm": 5.0})[0] == 201
    days = [(date(2026, 1, 2) + timedelta(days=day)).isoformat() for day in range(DAYS)]

    def log_day(told: tuple[int, str]) -> int:
        """Log a day through one server, with the key that the other one gets as well."""
        port, day = told
        key = {"idempotency-key": f'"{day}"'}
        return send(port, "POST", "wear-days", {"pair_id": "oxford", "worn_on": day}, **key)[0]

    with ThreadPoolExecutor(4) as clients:
        codes = list(clients.map(log_day, [(port, day) for day in days for port in servers]))
    assert set(codes) <= {200, 201}, "the second of each two is told what the first was"
    seen = [send(port, "GET", "wear-days?pair_id=oxford&limit=200")[1] for port in servers]
    assert seen[0] == seen[1]
    assert [row["worn_on"] for row in seen[0]["items"]] == days


@pytest.mark.load
@pytest.mark.slow
def test_of_two_who_change_the_same_version_one_is_told(servers):
    assert send(servers[0], "POST", "wearers", {"wearer_id": "bob"})[0] == 201

    def rename(port: int) -> int:
        return send(port, "PUT", "wearers/bob", {"name": str(port)}, **{"if-match": '"1"'})[0]

    with ThreadPoolExecutor(2) as clients:
        codes = sorted(clients.map(rename, servers))
    assert codes[0] == 200
    assert codes[1] in (409, 412)
    assert len({str(send(port, "GET", "wearers/bob")) for port in servers}) == 1
