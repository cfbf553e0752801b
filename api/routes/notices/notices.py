"""HTTP routes of notices: how are notices previewed, sent, looked up and configured over HTTP?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    after_of,
    answer_of,
    cursor_of,
    etag_of,
    json_answer,
    needs_json,
    needs_patch,
    plain,
    rows_answer,
    versions_in,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.merge_patch import patched
from solespan.api.schemas.notices.notices import (
    DecisionFilters,
    DecisionPage,
    NoticeDetail,
    NoticeFilters,
    NoticePage,
    NoticeRules,
    NoticeRulesPatch,
    NoticeRulesStored,
    NoticeRun,
    NoticeTemplate,
    NoticeTemplatePatch,
    NoticeTemplateStored,
)
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.notices import choices
from solespan.api.services.notices.deciding import preview, run
from solespan.api.services.notices.reading import (
    decision_rows,
    describe_notice,
    list_notices,
    notice_row,
    reason_counts,
    retry,
)

__all__ = ["router"]

router = APIRouter(prefix="/v1/notices", tags=["notices"], responses=PROBLEM_ANSWERS)
_AS_JSON, _AS_PATCH = [Depends(needs_json)], [Depends(needs_patch)]
Versions = Annotated[frozenset[int] | None, Depends(versions_in)]
NoticeId = Annotated[KnownId, Path(description="the notice. Unit: none (identifier)")]


def _choices_answer(name: str, chosen: NoticeRules | NoticeTemplate, version: int) -> Response:
    body = {"version": version, name: chosen.model_dump(mode="json")}
    return json_answer(body, headers={"etag": etag_of(version)})


@router.get("/rules", response_model=None, responses={200: {"model": NoticeRulesStored}})
def read_notice_rules(ctx: Context) -> Response:
    """Read when the shop writes to a customer, and how."""
    with ctx.database.reading() as session:
        rules, version = choices.read_rules(session)
    return _choices_answer("rules", rules, version)


@router.put(
    "/rules",
    response_model=None,
    responses={200: {"model": NoticeRulesStored}},
    dependencies=_AS_JSON,
)
def replace_notice_rules(ctx: Context, body: NoticeRules, versions: Versions) -> Response:
    """Replace them."""
    with ctx.database.writing() as session:
        version = choices.change_rules(session, body, versions)
    return _choices_answer("rules", body, version)


@router.patch(
    "/rules",
    response_model=None,
    responses={200: {"model": NoticeRulesStored}},
    dependencies=_AS_PATCH,
)
def amend_notice_rules(
    ctx: Context,
    patch: NoticeRulesPatch,
    versions: Versions,
) -> Response:
    """Change some of them by a JSON merge patch (RFC 7396)."""
    with ctx.database.writing() as session:
        body = patched(choices.read_rules(session)[0], patch)
        version = choices.change_rules(session, body, versions)
    return _choices_answer("rules", body, version)


@router.get("/template", response_model=None, responses={200: {"model": NoticeTemplateStored}})
def read_notice_template(ctx: Context) -> Response:
    """Read the wording."""
    with ctx.database.reading() as session:
        template, version = choices.read_template(session)
    return _choices_answer("template", template, version)


@router.put(
    "/template",
    response_model=None,
    responses={200: {"model": NoticeTemplateStored}},
    dependencies=_AS_JSON,
)
def replace_notice_template(ctx: Context, body: NoticeTemplate, versions: Versions) -> Response:
    """Replace the wording; one that cannot be filled in is refused, with part, line and reason."""
    version = choices.change_template(ctx.database, body, versions)
    return _choices_answer("template", body, version)


@router.patch(
    "/template",
    response_model=None,
    responses={200: {"model": NoticeTemplateStored}},
    dependencies=_AS_PATCH,
)
def amend_notice_template(
    ctx: Context,
    patch: NoticeTemplatePatch,
    versions: Versions,
) -> Response:
    """Change a part of the wording by a JSON merge patch (RFC 7396)."""
    with ctx.database.reading() as session:
        stored, read = choices.read_template(session)
    body = patched(stored, patch)
    version = choices.change_template(ctx.database, body, versions or frozenset({read}))
    return _choices_answer("template", body, version)


@router.get("/preview", response_model=None, responses={200: {"model": DecisionPage}})
def preview_notices(ctx: Context, chosen: Annotated[DecisionFilters, Query()]) -> Response:
    """Decide about every pair as a run would now, and answer with the reasons; change nothing."""
    seen = preview(ctx)
    rows, total = decision_rows(seen, **chosen.model_dump())
    return json_answer({"counts": reason_counts(seen), "items": rows, "total": total})


@router.post(
    "/runs",
    response_model=None,
    status_code=201,
    responses={201: {"model": NoticeRun}},
)
def create_notice_run(ctx: Context, key: IdempotencyKey) -> Response:
    """Write the notices that are due to the outbox; a worker sends them."""

    def work() -> Answered:
        report = run(ctx)
        body = {
            "decided_at": report.decided_at,
            "notices": report.notices,
            "pairs": report.pairs,
            "overtaken": report.overtaken,
            "problems": list(report.problems),
        }
        return Answered(201, plain(body), {"location": "/v1/notices"})

    fingerprint = fingerprint_of(b"notice-runs")
    return answer_of(ctx.idempotency.once_beside("POST /v1/notices/runs", key, fingerprint, work))


@router.get("", response_model=None, responses={200: {"model": NoticePage}})
def list_all_notices(
    ctx: Context, request: Request, chosen: Annotated[NoticeFilters, Query()]
) -> Response:
    """List notices, newest first, with where each is."""
    after = after_of(chosen.after, [int])
    with ctx.database.reading() as session:
        rows = list_notices(
            session,
            state=chosen.state,
            wearer_id=chosen.wearer_id,
            below_id=after[0] if after else None,
            limit=chosen.limit + 1,
        )
    more = len(rows) > chosen.limit
    rows = rows[: chosen.limit]
    items = [plain(notice_row(row)) for row in rows]
    return rows_answer(request, items, cursor_of([rows[-1]["id"]]) if more else None)


@router.get("/{notice_id}", response_model=None, responses={200: {"model": NoticeDetail}})
def read_notice(ctx: Context, notice_id: NoticeId) -> Response:
    """Read one notice: its pairs, the answers, and what was written."""
    with ctx.database.reading() as session:
        return json_answer(plain(describe_notice(session, notice_id)))


@router.post("/{notice_id}/retry", response_model=None, responses={200: {"model": NoticeDetail}})
def retry_notice(ctx: Context, notice_id: NoticeId, key: IdempotencyKey) -> Response:
    """Let a notice that failed be tried again, with the same Message-ID."""

    def work(session: Session) -> Answered:
        retry(ctx, session, notice_id)
        return Answered(200, plain(describe_notice(session, notice_id)))

    fingerprint = fingerprint_of(b"notice-retry", notice_id.encode())
    # the stored column for a route is shorter than an id may be
    name = f"notice-retry {fingerprint}"
    return answer_of(ctx.idempotency.once(name, key, fingerprint, work))
