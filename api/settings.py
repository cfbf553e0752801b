"""Settings.

Which settings does the program have, what do they mean, and what are they when not set?

Each field is one environment variable with the prefix `SOLESPAN_`. Nothing else reads the
environment.
"""

from __future__ import annotations

from ipaddress import ip_network
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, SecretStr, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from solespan.api.errors import BadSetting

__all__ = ["Settings", "load_settings"]

PREFIX = "SOLESPAN_"
SECRETS = ("secret_key", "smtp_password", "backup_passphrase", "metrics_token")


def _networks(listed: str) -> str:
    """Return the list as it is, unless one of it is no address."""
    for part in filter(None, (part.strip() for part in listed.split(","))):
        try:
            ip_network(part)
        except ValueError:
            raise ValueError(
                f"{part!r} is no address nor network, such as 127.0.0.1 or 10.0.0.0/8"
            ) from None
    return listed


class Settings(BaseSettings):
    """Every setting once: name, default, sentence of help."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, extra="ignore", frozen=True)

    database_url: Annotated[
        str,
        Field(
            description="Where the data are: a SQLite file (`sqlite:///path`) or a PostgreSQL "
            "database (`postgresql://user@host/name`, needs the extra `postgres`)."
        ),
    ] = "sqlite:///solespan.sqlite3"
    migration_database_url: Annotated[
        str | None,
        Field(
            description="The same PostgreSQL database by the role that owns its tables: "
            "`solespan migrate` and `restore` use it. Unset = the role that serves."
        ),
    ] = None
    database_wait_s: Annotated[
        float,
        Field(
            gt=0,
            le=600,
            description="Seconds to wait for another writer, or for a connection, at most.",
        ),
    ] = 10.0
    host: Annotated[str, Field(description="Address that `solespan serve` listens on.")] = (
        "127.0.0.1"
    )
    port: Annotated[int, Field(ge=0, le=65535, description="Port that it listens on.")] = 8000
    risk: Annotated[
        float,
        Field(gt=0, lt=1, description="Chance of being past the limit that a send-by date allows."),
    ] = 0.10
    bench_wait_days: Annotated[
        int, Field(ge=0, le=730, description="Days one waits for a free place on the bench.")
    ] = 14
    horizon_days: Annotated[
        int, Field(ge=1, le=3653, description="How many days ahead forecasts look.")
    ] = 1826
    dask_address: Annotated[
        str | None,
        Field(
            description="Dask scheduler that fits, forecasts and looks back where many wearers "
            "are due; needs the extra `dask`. Unset = this process does it."
        ),
    ] = None
    upload_limit_bytes: Annotated[
        int,
        Field(ge=1024, description="Largest size of one imported file, in bytes."),
    ] = 256 * 1024 * 1024
    log_level: Annotated[
        str,
        Field(pattern="^(debug|info|warning|error)$", description="Least severe event logged."),
    ] = "info"
    accounts: Annotated[
        bool,
        Field(
            description="Whether people sign in: needed as soon as another machine can reach the "
            "service."
        ),
    ] = False
    trusted_proxies: Annotated[
        str,
        Field(
            description="Addresses or networks, with commas between, of proxies in front of the "
            "service: from these alone X-Forwarded-For and X-Forwarded-Proto are believed."
        ),
        AfterValidator(_networks),
    ] = ""
    tenant: Annotated[
        str, Field(description="Id of the tenant that commands of the terminal work in.")
    ] = "own"
    session_idle_hours: Annotated[
        float, Field(gt=0, le=8760, description="Hours after which an unused session ends.")
    ] = 72
    session_days: Annotated[
        float, Field(gt=0, le=400, description="Days after which every session ends.")
    ] = 30
    writes_per_minute: Annotated[
        int, Field(ge=1, description="Changes that one sender may make in a minute.")
    ] = 600
    keep_audit_days: Annotated[
        int, Field(ge=1, le=36_500, description="Days that the log of who changed what is kept.")
    ] = 730
    keep_sent_notices_days: Annotated[
        int,
        Field(
            ge=1,
            le=36_500,
            description="Days that the words of a notice are kept after it was sent; that it was "
            "sent stays known.",
        ),
    ] = 365
    keep_import_reports_days: Annotated[
        int,
        Field(ge=1, le=36_500, description="Days that an import's findings are kept; counts stay."),
    ] = 90
    keep_plans_days: Annotated[
        int,
        Field(ge=1, le=36_500, description="Days that plans are kept; the newest ones stay."),
    ] = 180
    keep_withdrawn_consents_days: Annotated[
        int,
        Field(ge=1, le=36_500, description="Days that a consent is kept after its withdrawal."),
    ] = 1095
    backup_folder: Annotated[
        str | None,
        Field(description="Folder for backups that the service makes by itself; unset = none."),
    ] = None
    backup_every_hours: Annotated[
        float, Field(gt=0, le=8760, description="Hours between two of them.")
    ] = 24
    backup_keep_days: Annotated[
        int, Field(ge=1, le=3650, description="Days of which the newest backup is kept.")
    ] = 7
    backup_keep_weeks: Annotated[
        int, Field(ge=0, le=520, description="Weeks of which the newest backup is kept.")
    ] = 8
    backup_passphrase: Annotated[
        SecretStr | None,
        Field(
            min_length=12,
            description="Encrypts every backup, and opens it; at least 12 characters.",
        ),
    ] = None
    metrics_token: Annotated[
        SecretStr | None,
        Field(min_length=16, description="Opens `/metrics` to a program that sends it as bearer."),
    ] = None
    metrics_from: Annotated[
        str,
        Field(
            description="Addresses or networks, with commas between, that read `/metrics` without "
            "a token, such as 127.0.0.1. Requests through a proxy never do."
        ),
        AfterValidator(_networks),
    ] = ""
    telemetry_address: Annotated[
        str | None,
        Field(
            pattern=r"^https?://\S+$",
            description="Where traces of requests go by OTLP over HTTP, such as "
            "`http://127.0.0.1:4318/v1/traces`; needs the extra `telemetry`. Unset = nowhere.",
        ),
    ] = None
    public_address: Annotated[
        str | None,
        Field(
            pattern=r"^(https://[^\s/?#@]+|http://(localhost|127\.0\.0\.1|\[::1\])(:\d+)?)$",
            description="Where customers reach this service: the start of every link in a notice.",
        ),
    ] = None
    secret_key: Annotated[
        SecretStr | None,
        Field(min_length=32, description="Signs the links in notices; at least 32 characters."),
    ] = None
    smtp_host: Annotated[str | None, Field(description="Mail server that sends notices.")] = None
    smtp_port: Annotated[int, Field(ge=1, le=65535, description="Its port.")] = 587
    smtp_security: Annotated[
        Literal["starttls", "tls", "plain"],
        Field(description="How the connection to it is kept from others."),
    ] = "starttls"
    smtp_user: Annotated[str | None, Field(description="Account on the mail server.")] = None
    smtp_password: Annotated[SecretStr | None, Field(description="Its password.")] = None
    smtp_from: Annotated[
        str | None,
        Field(pattern=r"^[^@\s]+@[^@\s]+$", description="Address that notices come from."),
    ] = None
    webhook_private_addresses: Annotated[
        bool,
        Field(description="Whether a shop's webhook may lie inside the operator's network."),
    ] = False

    @property
    def over_tls(self) -> bool:
        """Whether others reach the service by an address that begins with https."""
        return (self.public_address or "").startswith("https://")


def load_settings() -> Settings:
    """Read the settings from the environment.

    Raises `BadSetting` naming the variable and what it accepts.
    """
    try:
        return Settings()
    except ValidationError as cause:
        first = cause.errors()[0]
        name = PREFIX + str(first["loc"][0]).upper()
        secret = first["loc"][0] in (
            "secret_key",
            "smtp_password",
            "backup_passphrase",
            "metrics_token",
        )
        shown = "its value is kept from the screen" if secret else repr(first["input"])
        raise BadSetting(
            f"The setting {name} cannot be used: {shown}.",
            where=f"environment variable {name}",
            accepted=first["msg"],
            remedy="Change or unset the variable and start again.",
        ) from None
