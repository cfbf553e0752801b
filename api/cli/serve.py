"""Serve command: how is the service started on this machine?"""

from __future__ import annotations

import ipaddress
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

import typer

from solespan.api.cli.output import note
from solespan.api.errors import BadSetting

if TYPE_CHECKING:
    import uvicorn
    from fastapi import FastAPI

    from solespan.api.settings import Settings

__all__ = ["register"]

GRACE_S = 4  # for requests that run when the service is asked to end
# A thread that waits for the interpreter after each statement of the database waits less.
SWITCH_S = 0.0005

Host = Annotated[
    str | None, typer.Option(help="Address to listen on; only loopback. Default 127.0.0.1.")
]
Port = Annotated[
    int | None,
    typer.Option(min=0, max=65535, help="Port to listen on; 0 = any free one. Default 8000."),
]
Fd = Annotated[
    int | None,
    typer.Option(min=0, help="Number of an open socket to serve, as a socket unit gives: 3."),
]
Phone = Annotated[
    bool,
    typer.Option(
        "--phone", help="Let phones of the household in: listen to the home network, show a code."
    ),
]
Address = Annotated[
    str | None,
    typer.Option(
        help="How phones reach this machine: a name, or the https:// address of a proxy. Default: "
        "its address in the home network."
    ),
]
Certificate = Annotated[
    Path | None, typer.Option(help="File of a certificate, so that the service handles TLS itself.")
]
Key = Annotated[Path | None, typer.Option(help="File of the certificate's private key.")]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("serve")
    def serve(
        host: Host = None,
        port: Port = None,
        fd: Fd = None,
        phone: Phone = False,
        address: Address = None,
        certificate: Certificate = None,
        key: Key = None,
    ) -> None:
        """Start the service and its pages for this machine; Ctrl-C ends it, SIGHUP renews it."""
        from solespan.api.cli.home_network import read_certificate

        files = read_certificate(certificate, key)
        run(host, port, fd, phone=phone, address=address, files=files)


def run(
    host: str | None,
    port: int | None,
    fd: int | None = None,
    *,
    phone: bool = False,
    address: str | None = None,
    files: tuple[Path, Path] | None = None,
) -> None:
    """Check the address and the database, then serve until interrupted."""
    from solespan.api.app import LOOPBACK_HOSTS, create_app
    from solespan.api.cli.home_network import home_network, show_code
    from solespan.api.cli.operation.reload import inherited, serve_until_stopped
    from solespan.api.logs import configure_logs
    from solespan.api.settings import load_settings
    from solespan.api.storage.schema import prepare, refuse_unbound_role
    from solespan.api.storage.session import open_database

    settings = load_settings()
    listening = None if fd is None else inherited(fd)
    host = listening.getsockname()[0] if listening else host or ("0.0.0.0" if phone else None)  # noqa: S104
    host = host or settings.host
    if phone:
        refuse_accounts(settings)
    elif address is not None:
        raise BadSetting(
            "--address belongs to --phone.", where="--address", remedy="Add --phone, or leave it."
        )
    else:
        refuse_open_door(host, settings)
    database = open_database(settings.database_url, wait_s=settings.database_wait_s)
    try:
        prepare(database)
        if settings.accounts:
            refuse_unbound_role(database)
    finally:
        database.close()
    listening = listening or listen(host, settings.port if port is None else port)
    bound = listening.getsockname()[1]
    configure_logs(settings.log_level)
    if settings.over_tls:
        address = address or settings.public_address
    home = home_network(address, host, bound, files) if phone else None
    if home is not None:
        settings = settings.model_copy(update={"public_address": home.address})
    names = {"" if phone else host, urlsplit(settings.public_address or "").hostname}
    names |= {urlsplit(home.address).hostname} if home else set()
    app = create_app(settings, allowed_hosts={*LOOPBACK_HOSTS, *filter(None, names)}, home=home)
    name = "127.0.0.1" if phone else f"[{host}]" if ":" in host else host
    scheme = "https" if files else "http"
    note(f"solespan serves {scheme}://{name}:{bound}/ (end with Ctrl-C)")
    if home is not None:
        show_code(app.state.services, home)
    sys.setswitchinterval(SWITCH_S)
    serve_until_stopped(server_config(app, settings, files), listening)


def server_config(
    app: FastAPI, settings: Settings, files: tuple[Path, Path] | None = None
) -> uvicorn.Config:
    """Return how the server runs the service: whom it believes, and what it does not say.

    Behind a proxy the sender is the last hop of X-Forwarded-For that is not itself trusted.
    """
    import uvicorn

    from solespan.api.cli.http_protocol import BoundedProtocol

    return uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=bool(settings.trusted_proxies),
        forwarded_allow_ips=settings.trusted_proxies,
        timeout_graceful_shutdown=GRACE_S,
        http=BoundedProtocol,
        ssl_certfile=files[0] if files else None,
        ssl_keyfile=files[1] if files else None,
    )


def refuse_open_door(host: str, settings: Settings) -> None:
    """Raise `BadSetting` where others could reach the service without a sign-in, or without TLS."""
    public = urlsplit(settings.public_address or "").hostname
    if not settings.accounts:
        refuse_other_machines(host)
        if public is not None and not _this_machine(public):
            raise BadSetting(
                f"Others reach the service at {public}, but sign-in is off: anyone could read and "
                "change everything.",
                where="environment variable SOLESPAN_ACCOUNTS",
                accepted="true, wherever SOLESPAN_PUBLIC_ADDRESS is not this machine's",
                remedy="Set SOLESPAN_ACCOUNTS=true, or unset SOLESPAN_PUBLIC_ADDRESS.",
            )
    elif public is None and not _this_machine(host):
        raise BadSetting(
            f"The service may not listen on {host} without an address that begins with https: "
            "passwords would travel in the open.",
            where="environment variable SOLESPAN_PUBLIC_ADDRESS",
            accepted="https://name, of a reverse proxy that handles TLS",
            remedy="Set it, and run the service behind such a proxy.",
        )


def refuse_accounts(settings: Settings) -> None:
    """Raise `BadSetting` where people sign in: a phone signs in as well then."""
    if settings.accounts:
        raise BadSetting(
            "People sign in here, so a phone needs no code.",
            where="--phone",
            accepted="a service without accounts",
            remedy="Open the address on the phone and sign in, or unset SOLESPAN_ACCOUNTS.",
        )


def _this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def refuse_other_machines(host: str) -> None:
    """Raise `BadSetting` unless only this machine can reach `host`."""
    if not _this_machine(host):
        raise BadSetting(
            f"The service may not listen on {host}: sign-in is off, so anyone who reaches it "
            "could read and change everything.",
            where="--host, or environment variable SOLESPAN_HOST",
            accepted="127.0.0.1, ::1 or localhost",
            remedy="Use 127.0.0.1, or let people sign in: SOLESPAN_ACCOUNTS=true.",
        )


def listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens there. Raises `BadSetting` when the port is taken."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen()  # from here on a client that connects waits, and is not refused
    except OSError as cause:
        listening.close()
        raise BadSetting(
            f"The service cannot listen on {host}, port {port}: {cause.strerror}.",
            where="--port, or environment variable SOLESPAN_PORT",
            accepted="a free port of this machine",
            remedy="Stop what uses the port, or choose another: solespan serve --port 8001",
        ) from cause
    return listening
