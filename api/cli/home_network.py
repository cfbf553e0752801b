"""Home network: how do phones reach this machine, and which code lets the first one in?"""

from __future__ import annotations

import re
import socket
import ssl
from pathlib import Path
from urllib.parse import urlsplit

import segno
import typer

from solespan.api.cli.output import note
from solespan.api.errors import BadSetting
from solespan.api.services.accounts.home_devices import (
    CODE_MINUTES,
    WITHOUT_CERTIFICATE,
    HomeNetwork,
    make_code,
)
from solespan.api.services.context import AppContext

__all__ = ["home_network", "read_certificate", "show_code"]

ANYWHERE = ("0.0.0.0", "::")  # noqa: S104 - compared with, not listened on
NAME = re.compile(r"[A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\]")
PROXY = re.compile(r"https://[^\s/?#@]+")
# No packet is sent there (RFC 5737): a system only says from which address it would send one.
FAR_AWAY = ("192.0.2.1", 9)


def home_network(
    address: str | None, host: str, port: int, files: tuple[Path, Path] | None
) -> HomeNetwork:
    """Return how devices reach the service. Raises `BadSetting`.

    Parameters
    ----------
    address
        A name of this machine, or a proxy's address; None = this machine's own.
    host, port
        Where the service listens.
    files
        Certificate and key, where the service handles TLS itself.
    """
    scheme = "https" if files else "http"
    if address and PROXY.fullmatch(address):
        mine = urlsplit(address)
        return HomeNetwork(address, behind_proxy=files is None or (mine.port or 443) != port)
    name = (
        address
        if address is not None
        else (own_address() if host in ANYWHERE else f"[{host}]" if ":" in host else host)
    )
    if not NAME.fullmatch(name):
        raise BadSetting(
            f"{name!r} is no name of a machine.",
            where="--address",
            accepted="a name such as shoes.local, an address such as 192.168.1.5, or https://name",
            remedy="Leave the port out: the service adds its own.",
        )
    return HomeNetwork(f"{scheme}://{name.lower()}:{port}")


def own_address() -> str:
    """Return this machine's address in the home network. Raises `BadSetting` without one."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
            asked.connect(FAR_AWAY)
            return str(asked.getsockname()[0])
    except OSError:
        raise BadSetting(
            "This machine is in no network, so no phone can reach it.",
            where="--phone",
            accepted="a machine in the network that the phone is in",
            remedy="Connect it, or name it: --address NAME.",
        ) from None


def read_certificate(certificate: Path | None, key: Path | None) -> tuple[Path, Path] | None:
    """Return the two files, None without any. Raises `BadSetting` where they do not belong."""
    if certificate is None and key is None:
        return None
    if certificate is None or key is None:
        raise BadSetting(
            "A certificate and its key come together.",
            where="--certificate and --key",
            accepted="both files, or none",
            remedy="Name the file that is missing.",
        )
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as cause:
        raise BadSetting(
            f"The certificate cannot be used: {cause.strerror or cause}.",
            where="--certificate and --key",
            accepted="a certificate and its own private key, both in PEM",
            remedy="Check both files, and who may read them.",
        ) from None
    return certificate, key


def show_code(ctx: AppContext, home: HomeNetwork) -> None:
    """Print a code that lets one phone in, as squares and as a link."""
    with ctx.database.writing() as session:
        link = f"{home.address}/connect/{make_code(session, ctx.clock.now())}"
    note(f"Phones: scan this within {CODE_MINUTES} minutes. It lets one device in.")
    segno.make(link, error="l", micro=False).terminal(typer.get_text_stream("stderr"), compact=True)
    note(f"Or open this link there: {link}")
    note("More codes, and who is connected: page Devices.")
    if not home.over_tls:
        note(WITHOUT_CERTIFICATE)
