"""Two shops on one server: which requests does an honest one send, and which a hostile one?

The hostile shop does at once all that it may: a webhook and a mail server that never answer,
wordings that multiply, archives that unpack to much, honest imports, and fits without an end.
"""

from __future__ import annotations

import http.client
import itertools
import json
import socket
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta

import pandas as pd

from solespan.api.author import Author
from solespan.api.clock import Clock
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.services.accounts import people, tokens
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.notices.choices import change_rules, shipped_template
from solespan.api.services.notices.consents import give
from solespan.api.settings import Settings
from solespan.api.storage.accounts import accounts
from solespan.api.storage.schema import prepare
from solespan.api.wiring import build_services
from tests.api.importing.workbooks import zipped
from tests.api.notices.people import RULES, SECRET, add_customers
from tests.benchmarks.bench_service import PAIRS, fill_rack

SCOPES = ("read", "write", "notices", "manage")
IMPORTED_DAYS = 600  # of each pair, all after its sole was put on
LOOP = "{% for a in cautions|join %}"
Ask = Callable[..., int]


def fill(address: str, hook: str) -> tuple[str, str]:
    """Give both shops their records, and return a key of each: the honest one's first."""
    services = build_services(Settings(database_url=address, secret_key=SECRET), Clock())
    prepare(services.database)
    with services.database.writing() as session:
        theirs = people.new_tenant(session, tenant_id="two", name="Two", kind="shop")
        keys = tuple(_key(session, tenant_pk) for tenant_pk in (1, theirs))
    hostile = services.for_tenant(theirs, Author("bench", "fill", {}))
    for shop in (services, hostile):
        fill_rack(shop)
    add_customers(hostile.database, as_of=pd.Timestamp(services.clock.today()))
    rules = RULES.model_copy(update={"channels": ["webhook", "mail"], "webhook_url": hook})
    with hostile.database.writing() as session:
        change_rules(session, rules, None)
        for wearer_id in ("ada", "bo", "cy"):
            for channel in ("mail", "webhook"):
                consent = {"wearer_id": wearer_id, "channel": channel, "how": "paper", "by": "Mo"}
                give(session, ConsentGiven(**consent), services.clock)
    services.database.close()
    return keys


def _key(session, tenant_pk: int) -> str:
    email = f"owner-{tenant_pk}@example.org"
    user_pk = accounts.add_person(session, email=email, password_hash="")
    accounts.join(session, user_pk=user_pk, tenant_pk=tenant_pk, role="owner")
    who = Identity(tenant_pk, email, frozenset(SCOPES), user_pk=user_pk)
    now = datetime.now(UTC)
    return tokens.make_token(session, who, name="bench", scopes=SCOPES, now=now)[1]


@contextmanager
def silent_server() -> Iterator[int]:
    """Listen on a free port, take every connection, and never answer; give the port."""
    kept: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0), backlog=128) as server:

        def take() -> None:
            with suppress(OSError):
                while True:
                    kept.append(server.accept()[0])

        threading.Thread(target=take, daemon=True).start()
        yield int(server.getsockname()[1])
        server.shutdown(socket.SHUT_RDWR)
    for one in kept:
        one.close()


def pages(number: int) -> str:
    """Return the address of an honest shop's next page."""
    return ("/", f"/pairs/p{number % PAIRS}", "/log", f"/pairs/p{(number + 7) % PAIRS}")[number % 4]


def ask_pages(port: int, key: str, seconds: float) -> list[float]:
    """Ask for pages over one connection for some seconds; return what each took, in seconds."""
    ask, took = _asker(port, key), []
    until = time.perf_counter() + seconds
    for number in itertools.count():
        begun = time.perf_counter()
        if begun >= until:
            break
        status = ask("GET", pages(number), headers={"accept": "text/html"})
        if status != 200:
            raise RuntimeError(f"{pages(number)}: {status}")
        took.append(time.perf_counter() - begun)
    return took


def _asker(port: int, key: str) -> Ask:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)

    def ask(method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None):
        given = {"authorization": f"Bearer {key}", "if-match": "*", **(headers or {})}
        try:
            connection.request(method, path, body, given)
            answer = connection.getresponse()
            answer.read()
        except ConnectionError:  # a refusal that comes before the whole body was sent
            connection.close()
            return 0
        return answer.status

    return ask


def _json(body: object) -> tuple[bytes, dict[str, str]]:
    return json.dumps(body).encode(), {
        "content-type": "application/json",
        "idempotency-key": f'"{uuid.uuid4()}"',
    }


def _files(data: bytes) -> tuple[bytes, dict[str, str]]:
    edge = uuid.uuid4().hex
    head = f'--{edge}\r\ncontent-disposition: form-data; name="files"; filename="a.zip"\r\n\r\n'
    kind = {"content-type": f"multipart/form-data; boundary={edge}"}
    return head.encode() + data + f"\r\n--{edge}--\r\n".encode(), kind


def _hook(ask: Ask) -> None:
    ask("POST", "/v1/notices/runs", *_json({}))


def _wording(ask: Ask) -> None:
    shipped = shipped_template().model_dump()
    for words in (LOOP * 2 + "{% endfor %}" * 2, "{{ " + "not " * 4000 + "1 }}", "<a " * 6000):
        ask("PUT", "/v1/notices/template", *_json(shipped | {"html": words}))


def _import(ask: Ask) -> None:
    first = datetime.now(UTC).date() - timedelta(days=IMPORTED_DAYS)
    rows = "".join(
        f"p{pair},{first + timedelta(days=day)},6,pavement,false\n"
        for pair in range(4)
        for day in range(IMPORTED_DAYS)
    )
    honest = zipped(
        {
            "pairs.csv": b"pair_id,wearer_id,construction\n",
            "soles.csv": b"sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n",
            "wear_days.csv": f"pair_id,worn_on,hours,surface,wet\n{rows}".encode(),
        }
    )
    for data in (zipped({"wear_days.csv": b"\0" * 40_000_000}), honest):
        ask("POST", "/v1/imports", *_files(data))


def _fit(ask: Ask) -> None:
    ask("POST", "/v1/fit", *_json(None))
    time.sleep(0.5)


ATTACKS = {"hook and mail": _hook, "wording": _wording, "import": _import, "fit": _fit}


@contextmanager
def attacked(port: int, key: str, done: dict[str, int]) -> Iterator[None]:
    """Let the hostile shop do everything at once, again and again; count each in `done`."""
    stop = threading.Event()

    def repeat(name: str) -> None:
        ask = _asker(port, key)
        while not stop.wait(0.02):
            ATTACKS[name](ask)
            done[name] = done.get(name, 0) + 1

    threads = [threading.Thread(target=repeat, args=(name,), daemon=True) for name in ATTACKS]
    for one in threads:
        one.start()
    try:
        yield
    finally:
        stop.set()
        for one in threads:
            one.join()
