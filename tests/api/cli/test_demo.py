"""Does the demo's shop look like a shop at work, and does a second one change nothing?"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from solespan.api.cli.demo import AS_OF, DATABASE, run_demo
from solespan.api.cli.demo_shop import set_up_shop
from solespan.api.clock import Clock
from solespan.api.services.bench.orders import open_orders
from solespan.api.services.bench.stock import list_items
from solespan.api.services.bench.year_report import year_report
from solespan.api.services.notices.deciding import preview
from solespan.api.settings import Settings
from solespan.api.storage.bench.workload import newest_plan
from solespan.api.wiring import build_services


@pytest.mark.slow
def test_the_demos_shop_is_at_work_and_is_set_up_once(tmp_path, capsys):
    run_demo(tmp_path)
    assert "The example shop has a bench" in capsys.readouterr().out
    clock = Clock(lambda: datetime(AS_OF.year, AS_OF.month, AS_OF.day, 9, tzinfo=UTC))
    settings = Settings(database_url=f"sqlite:///{tmp_path / DATABASE}")
    services = build_services(settings, clock)
    with services.database.reading() as session:
        orders, items = open_orders(session, limit=50), list_items(session)
        assert newest_plan(session) is not None
    stages = {order["stage"] for order in orders}
    assert stages == {"booked", "in_post", "received", "on_bench", "checked"}
    assert all(item["quantity"] > 0 for item in items)
    total = {row["measure"]: row for row in year_report(services.database, AS_OF).body["total"]}
    assert 0.55 < total["bench_hours"]["mean"] / total["open_hours"]["mean"] < 0.80
    waiting = (preview(services).decisions["verdict"] != "no").sum()
    assert 3 <= waiting <= 30
    assert not set_up_shop(services.database, AS_OF, ["C-01"], ["C-01"])
    with services.database.reading() as session:
        assert open_orders(session, limit=50) == orders
    services.database.close()
