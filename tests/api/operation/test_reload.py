"""SIGHUP begins a new process on the same socket, and every request is answered."""

from __future__ import annotations

import os
import signal
import socket

import httpx2
import pytest

from solespan.api.cli.operation.reload import inherited, words_with_socket
from solespan.api.errors import BadSetting
from tests.api.service.processes import port_of, started


def test_the_words_name_the_newest_socket():
    first = words_with_socket(["python", "solespan", "serve", "--port", "0"], 7)
    assert first == ["python", "solespan", "serve", "--port", "0", "--fd", "7"]
    assert words_with_socket(first, 9)[-2:] == ["--fd", "9"]
    assert words_with_socket(["solespan", "serve", "--fd", "3", "--port", "0"], 4) == [
        *("solespan", "serve", "--port", "0", "--fd", "4")
    ]


def test_what_is_no_listening_socket_is_refused(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as server:
        again = inherited(os.dup(server.fileno()))
        assert again.getsockname() == server.getsockname()
        again.close()
    with (tmp_path / "file").open("w") as file, pytest.raises(BadSetting):
        inherited(file.fileno())
    with pytest.raises(BadSetting):
        inherited(987)


@pytest.mark.slow
@pytest.mark.load
def test_no_request_is_dropped_while_a_new_process_takes_over(new_address):
    process = started(
        "serve", "--port", "0", env={**os.environ, "SOLESPAN_DATABASE_URL": new_address}
    )
    try:
        port = port_of(process)
        alive = f"http://127.0.0.1:{port}/v1/health/live"
        assert httpx2.get(alive, timeout=300).status_code == 200
        process.send_signal(signal.SIGHUP)
        for _ in range(30):  # each by a connection of its own
            assert httpx2.get(alive, timeout=300).status_code == 200
        while "serves" not in (line := process.stderr.readline()):
            assert line, "the new process did not start"
        process.send_signal(signal.SIGTERM)
        assert process.wait(300) in (0, -signal.SIGTERM)
    finally:
        process.kill()
        process.wait()
        process.stderr.close()
