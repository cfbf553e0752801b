"""Generated client in use: does it import, forecast, and take a signed hook of a real service?

`check_clients.py` runs it beside the generated package: ADDRESS EXAMPLES_FOLDER KEY.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import queue
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, HTTPServer
from io import BytesIO
from pathlib import Path

from solespan_client import Client, models
from solespan_client.api.forecasts import list_forecasts, read_fit, read_forecast, start_fit
from solespan_client.api.importing import import_files
from solespan_client.api.notices import (
    amend_notice_rules,
    create_notice_run,
    give_consent,
    read_notice_rules,
)
from solespan_client.api.rack import list_wearers
from solespan_client.types import File

WAIT_S = 180


class Receiver(BaseHTTPRequestHandler):
    """A shop's own software: it keeps what is posted to it."""

    taken: queue.Queue[tuple[dict[str, str], bytes]] = queue.Queue()

    def do_POST(self) -> None:
        """Take one hook."""
        body = self.rfile.read(int(self.headers["content-length"]))
        self.taken.put(({k.lower(): v for k, v in self.headers.items()}, body))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_args: object) -> None:
        """Say nothing."""


def import_folder(client: Client, folder: Path) -> None:
    """Import the example files."""
    files = [
        File(BytesIO(path.read_bytes()), path.name, "text/csv") for path in folder.glob("*.csv")
    ]
    taken = import_files.sync(client=client, body=models.ImportFilesForm(files=files))
    assert isinstance(taken, models.ImportTaken), taken
    assert taken.report.written


def forecast_rack(client: Client) -> None:
    """Fit, and read the pair that is due first."""
    started = start_fit.sync(client=client)
    assert isinstance(started, models.FitState), started
    ends = time.monotonic() + WAIT_S
    while time.monotonic() < ends:
        state = read_fit.sync(client=client)
        assert isinstance(state, models.FitState), state
        if state.state.value == "fitted" and state.pending_wearers == 0:
            break
        time.sleep(0.2)
    else:
        raise SystemExit(f"The fit did not end: {state}")
    page = list_forecasts.sync(client=client)
    assert isinstance(page, models.ForecastPage), page
    first = page.items[0]
    pair = read_forecast.sync(first.pair_id, client=client)
    assert isinstance(pair, models.PairForecast), pair
    assert len(pair.sentences) > 0


def take_hook(client: Client, wearer_id: str, key: str) -> models.NoticeHook:
    """Let the service write to a customer by hook, and take it."""
    receiver = HTTPServer(("127.0.0.1", 0), Receiver)
    threading.Thread(target=receiver.serve_forever, daemon=True).start()
    stored = read_notice_rules.sync(client=client)
    assert isinstance(stored, models.NoticeRulesStored), stored
    patch = {
        "shop_name": "At the Last",
        "shop_contact": "on the corner",
        "channels": ["webhook"],
        "webhook_url": f"http://127.0.0.1:{receiver.server_port}/hook",
        "quiet_from": "00:00",
        "quiet_to": "00:00",
        "bands": [],
        "chance_at_least": 0.0001,
    }
    changed = amend_notice_rules.sync(
        client=client,
        body=models.NoticeRulesPatch.from_dict(patch),
        if_match=f'"{stored.version}"',
    )
    assert isinstance(changed, models.NoticeRulesStored), changed
    consent = models.ConsentGiven(
        wearer_id=wearer_id,
        channel=models.ConsentGivenChannel.WEBHOOK,
        how="at the counter",
        by="Mo",
    )
    assert isinstance(give_consent.sync(client=client, body=consent), models.ConsentState)
    run = create_notice_run.sync(client=client)
    assert isinstance(run, models.NoticeRun), run  # or the service decided a moment before
    headers, body = Receiver.taken.get(timeout=WAIT_S)
    told = (headers["webhook-id"], headers["webhook-timestamp"], body.decode())
    secret = base64.b64decode(key.removeprefix("whsec_"))
    digest = hmac.digest(secret, ".".join(told).encode(), hashlib.sha256)
    assert headers["webhook-signature"] == f"v1,{base64.b64encode(digest).decode()}"
    receiver.shutdown()
    return models.NoticeHook.from_dict(json.loads(body))


def main(address: str, folder: str, key: str) -> None:
    """Import, forecast, take a hook."""
    client = Client(base_url=address)
    import_folder(client, Path(folder))
    forecast_rack(client)
    wearers = list_wearers.sync(client=client)
    assert isinstance(wearers, models.WearerPage), wearers
    wearer_id = wearers.items[0].wearer_id
    hook = take_hook(client, wearer_id, key)
    assert hook.wearer_id == wearer_id
    assert len(hook.pairs) > 0
    print(f"Imported, forecast, and took a signed notice about {len(hook.pairs)} pairs.")


main(*sys.argv[1:])
