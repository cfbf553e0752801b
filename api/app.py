"""Application assembly.

What is mounted where: which routes, pages, checks and error answers make up the service?
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager
from importlib.metadata import version
from urllib.parse import urlsplit

from fastapi import FastAPI
from fastapi.routing import APIRoute
from starlette.middleware.gzip import GZipMiddleware

from solespan.api.clock import Clock
from solespan.api.routes import health
from solespan.api.routes.accounts import accounts, customer_record, factors, shop_settings
from solespan.api.routes.bench import (
    customer_search,
    materials,
    orders,
    purchases,
    quotes,
    receptions,
    workload,
)
from solespan.api.routes.edge import metrics
from solespan.api.routes.edge.access import Access
from solespan.api.routes.edge.description import describe, operation_id
from solespan.api.routes.edge.gate import Gate
from solespan.api.routes.edge.head import HeadAsGet
from solespan.api.routes.edge.headers import SecurityHeaders
from solespan.api.routes.edge.record import RequestRecord
from solespan.api.routes.edge.route_template import RouteTemplates
from solespan.api.routes.edge.traces import Traces
from solespan.api.routes.edge.turns import Turns
from solespan.api.routes.forecasts import calibrations, fit, forecasts, look_back
from solespan.api.routes.http import problems
from solespan.api.routes.http.pace import Pace
from solespan.api.routes.http.page_entry import navigation_of
from solespan.api.routes.importing import imports
from solespan.api.routes.notices import consents, hook_endpoints, hooks, notices
from solespan.api.routes.page_register import PAGES
from solespan.api.routes.planning import calendar_feed, care, plans, resole_options
from solespan.api.routes.rack import photographs, revisions
from solespan.api.routes.rack.batches import batch_routers
from solespan.api.routes.rack.corrections import correction_routers
from solespan.api.routes.rack.records import record_routers
from solespan.api.services.accounts.home_devices import HomeNetwork
from solespan.api.services.notices.worker import NoticeWorker
from solespan.api.services.operation.backup_schedule import BackupSchedule
from solespan.api.services.operation.metrics import Metrics
from solespan.api.services.operation.tracing import end_tracing, make_tracing
from solespan.api.services.periodic_loop import end_loops
from solespan.api.services.planning.asked_plans import PlanWorker
from solespan.api.settings import Settings
from solespan.api.storage.schema import prepare, refuse_unbound_role
from solespan.api.wiring import Services, build_services

__all__ = ["LOOPBACK_HOSTS", "create_app"]

LOOPBACK_HOSTS = ("127.0.0.1", "localhost", "::1")
MAX_BODY_BYTES = 64 * 1024
FORM_OVERHEAD_BYTES = 64 * 1024
LINK_LOOKS_PER_MINUTE = 30  # of one customer's link; scanners of mail open it a few times


def create_app(
    settings: Settings,
    *,
    clock: Clock | None = None,
    allowed_hosts: Collection[str] = LOOPBACK_HOSTS,
    background: bool = True,
    home: HomeNetwork | None = None,
) -> FastAPI:
    """Build the service.

    Parameters
    ----------
    settings
        See `api.settings`; the database is opened when the first request needs it, and its schema
        made or checked at start-up.
    clock
        Tells the time; tests give their own.
    allowed_hosts
        Host names (without port) that requests may be addressed to.
    background
        Whether the upkeep thread runs while the service does; without it nothing is fitted.
    home
        How devices of a household reach the service; None = only this machine, or who signs in.
    """
    tracing = make_tracing(settings.telemetry_address) if settings.telemetry_address else None

    @asynccontextmanager
    async def lifespan(running: FastAPI) -> AsyncIterator[None]:
        services: Services = running.state.services
        prepare(services.database)
        if settings.accounts:
            refuse_unbound_role(services.database)
        sender, backups = NoticeWorker(services), BackupSchedule(services)
        planner = PlanWorker(services)
        if background:
            services.refitter.start()
            sender.start()
            backups.start()
            planner.start()
        yield
        end_loops(sender, services.refitter, backups, planner)
        services.database.close()
        if tracing is not None:
            end_tracing(tracing)

    app = FastAPI(
        title="solespan",
        version=version("solespan"),
        description="When does each pair of leather-soled shoes need a new sole?",
        openapi_url="/v1/openapi.json",
        docs_url=None,  # those pages load scripts from elsewhere
        redoc_url=None,
        redirect_slashes=False,
        generate_unique_id_function=operation_id,
        lifespan=lifespan,
    )
    app.state.services = build_services(settings, clock)
    app.state.navigation = navigation_of(PAGES)
    app.state.home = home
    app.state.link_pace = Pace(LINK_LOOKS_PER_MINUTE)
    app.state.metrics = Metrics()
    app.state.route_templates = RouteTemplates(app.router.routes)
    # Their routes stand side by side, not in nested routers: each of those looks for changes below
    # it at every request. Forecasts first: they are read most, and routes are asked in turn.
    for router in (
        forecasts.router,
        look_back.router,
        *record_routers(),
        *correction_routers(),
        *batch_routers(),
        imports.router,
        photographs.router,
        calibrations.router,
        revisions.router,
        fit.router,
        health.router,
        plans.router,
        resole_options.router,
        care.router,
        calendar_feed.router,
        workload.router,
        orders.router,
        receptions.router,
        customer_search.router,
        quotes.router,
        materials.router,
        purchases.router,
        accounts.router,
        shop_settings.router,
        factors.router,
        customer_record.router,
        notices.router,
        consents.router,
        hook_endpoints.router,
    ):
        app.router.routes.extend(router.routes)
    for route in (*app.router.routes, *hooks.router.routes):
        if isinstance(route, APIRoute):
            route.unique_id = operation_id(route)
    app.include_router(problems.router)
    app.include_router(metrics.router)
    app.include_router(calendar_feed.feed)
    for page in PAGES:
        app.include_router(page.router, include_in_schema=False)
    problems.add_problem_handlers(app)
    app.webhooks.routes.extend(hooks.router.routes)
    describe(app, settings)
    # Added last = outermost: every answer is recorded and has its headers, refusals too.
    app.add_middleware(
        Gate,
        allowed_hosts={*allowed_hosts, *_public_host(settings)},
        max_body_bytes=MAX_BODY_BYTES,
        upload_path=(
            "/v1/imports",
            orders.PHOTO_PATH,
            *(path for page in PAGES for path in page.uploads),
        ),
        max_upload_bytes=settings.upload_limit_bytes + FORM_OVERHEAD_BYTES,
    )
    app.add_middleware(Turns)
    app.add_middleware(Access, writes_per_minute=settings.writes_per_minute)
    app.add_middleware(GZipMiddleware, compresslevel=5)
    plain_home = home is not None and not home.over_tls
    app.add_middleware(SecurityHeaders, over_tls=settings.over_tls, plain_home=plain_home)
    app.add_middleware(HeadAsGet)
    if tracing is not None:
        app.add_middleware(Traces, tracer=tracing.get_tracer("solespan"))
    app.add_middleware(RequestRecord)
    return app


def _public_host(settings: Settings) -> set[str]:
    """Give the name that customers reach this service by, if it has one."""
    host = urlsplit(settings.public_address or "").hostname
    return {host} if host else set()
