"""HTTP routes of workload.

How are the work to come, the bench's plan and its settings reached over HTTP?
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Response

from solespan.api.errors import NothingForecast, Refused
from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    etag_of,
    json_answer,
    needs_json,
    needs_patch,
    plain,
    versions_in,
)
from solespan.api.schemas.bench.asking import AskedFilters, AskedPairs
from solespan.api.schemas.bench.shop import BenchSettings, BenchSettingsPatch, BenchSettingsStored
from solespan.api.schemas.bench.workload import (
    BenchPlanAsked,
    DueOutcomeGiven,
    Plan,
    Workload,
    WorkloadFilters,
)
from solespan.api.schemas.merge_patch import patched
from solespan.api.services.bench import bench_settings
from solespan.api.services.bench.asking import asked_body
from solespan.api.services.bench.bench_plan import make_plan, newest_plan
from solespan.api.services.bench.outcomes import keep_outcome
from solespan.api.services.bench.year_report import year_report
from solespan.api.services.idempotency import Answered, fingerprint_of

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["bench"], responses=PROBLEM_ANSWERS)
Versions = Annotated[frozenset[int] | None, Depends(versions_in)]
_AS_JSON = [Depends(needs_json)]


@router.get("/workload", response_model=None, responses={200: {"model": Workload}})
def read_workload(ctx: Context, chosen: Annotated[WorkloadFilters, Query()]) -> Response:
    """Read jobs, hours, revenue and materials to come; compare with another number of benches."""
    report = year_report(
        ctx.database,
        ctx.clock.today(),
        months=chosen.months,
        by=chosen.by,
        benches=chosen.benches,
    )
    return json_answer(report.body)


@router.post(
    "/bench-plans",
    response_model=None,
    status_code=201,
    responses={201: {"model": Plan}},
    dependencies=_AS_JSON,
)
def create_bench_plan(ctx: Context, body: BenchPlanAsked, key: IdempotencyKey) -> Response:
    """Simulate the bench's year with and without levelling, and store the plan."""

    def work() -> Answered:
        tried = None
        with ctx.database.reading() as session:
            hours = bench_settings.read_bench_settings(session)[0].bench_hours()
        changed = (body.benches, body.hours_by_weekday) != (None, None)
        if changed or body.price_factor != 1.0 or body.demand_factor != 1.0:
            tried = replace(
                hours,
                benches=body.benches or hours.benches,
                hours_by_weekday=body.hours_by_weekday or hours.hours_by_weekday,
            )
        plan = make_plan(
            ctx.database,
            ctx.clock.today(),
            months=body.months,
            tried=tried,
            price_factor=body.price_factor,
            demand_factor=body.demand_factor,
        )
        return Answered(201, plan, {"location": "/v1/bench-plans/newest"})

    fingerprint = fingerprint_of(b"bench-plans", body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once_beside("POST /v1/bench-plans", key, fingerprint, work))


@router.get("/bench-plans/newest", response_model=None, responses={200: {"model": Plan}})
def read_bench_plan(ctx: Context) -> Response:
    """Read the newest plan: lead times by week, and when to ask, book and expect each pair."""
    with ctx.database.reading() as session:
        plan = newest_plan(session)
    if plan is None:
        raise NothingForecast(
            "No plan of the bench has been made yet.",
            remedy="Make one: POST /v1/bench-plans, or run: solespan bench-plan",
        )
    return json_answer(plan["payload"])


@router.get("/asked-pairs", response_model=None, responses={200: {"model": AskedPairs}})
def list_asked_pairs(ctx: Context, chosen: Annotated[AskedFilters, Query()]) -> Response:
    """List whom the year's plan would ask, or whom it leaves out and why; nothing is sent."""
    return json_answer(asked_body(ctx.database, ctx.clock, chosen.why, chosen.limit))


@router.get("/bench-settings", response_model=None, responses={200: {"model": BenchSettingsStored}})
def read_bench_settings(ctx: Context) -> Response:
    """Read the bench's hours, prices and tolerances."""
    with ctx.database.reading() as session:
        settings, version = bench_settings.read_bench_settings(session)
    return _settings_answer(settings, version)


@router.put(
    "/bench-settings",
    response_model=None,
    responses={200: {"model": BenchSettingsStored}},
    dependencies=_AS_JSON,
)
def replace_bench_settings(
    ctx: Context,
    body: BenchSettings,
    versions: Versions,
) -> Response:
    """Replace them."""
    with ctx.database.writing() as session:
        version = bench_settings.change_bench_settings(session, body, versions)
    return _settings_answer(body, version)


@router.patch(
    "/bench-settings",
    response_model=None,
    responses={200: {"model": BenchSettingsStored}},
    dependencies=[Depends(needs_patch)],
)
def amend_bench_settings(
    ctx: Context,
    patch: BenchSettingsPatch,
    versions: Versions,
) -> Response:
    """Change some of them by a JSON merge patch (RFC 7396); null = the default."""
    with ctx.database.writing() as session:
        body = patched(bench_settings.read_bench_settings(session)[0], patch)
        version = bench_settings.change_bench_settings(session, body, versions)
    return _settings_answer(body, version)


def _settings_answer(body: BenchSettings, version: int) -> Response:
    answer = {"version": version, "settings": body.model_dump(mode="json")}
    return json_answer(answer, headers={"etag": etag_of(version)})


@router.post(
    "/due-outcomes",
    response_model=None,
    status_code=201,
    responses={201: {"model": DueOutcomeGiven}, 200: {"model": DueOutcomeGiven}},
    dependencies=_AS_JSON,
)
def create_due_outcome(ctx: Context, body: DueOutcomeGiven, key: IdempotencyKey) -> Response:
    """Report the outcome of a due pair; a second report replaces the first."""
    today = ctx.clock.today()
    if body.due_on > today or (body.came_on is not None and body.came_on > today):
        raise Refused(
            "An outcome lies in the past.",
            where="due_on, came_on",
            accepted=f"days up to {today}",
            remedy="Report it when it has happened.",
        )

    def work(session: Any) -> Answered:
        new = keep_outcome(session, body)
        return Answered(201 if new else 200, plain(body.model_dump()))

    fingerprint = fingerprint_of(b"due-outcomes", body.model_dump_json().encode())
    return answer_of(ctx.idempotency.once("POST /v1/due-outcomes", key, fingerprint, work))
