"""Cookies of accounts: what does a browser keep that was let in, and what does it tell?"""

from __future__ import annotations

from fastapi import Request, Response

from solespan.api.routes.http.pages import over_tls
from solespan.api.services.accounts.attempts import DEVICE_KEPT
from solespan.api.services.accounts.sessions import (
    device_cookie_name,
    device_in_words,
    session_cookie_name,
    step_cookie_name,
)
from solespan.api.services.accounts.sign_in import CODE_WITHIN, Browser
from solespan.api.services.context import AppContext

__all__ = ["browser_of", "keep_device", "keep_step", "let_in"]


def browser_of(ctx: AppContext, request: Request) -> Browser:
    """Return what is known of the browser that sends this request."""
    return Browser(
        address=request.client.host if request.client else "",
        device=request.cookies.get(device_cookie_name(ctx.settings), "")[:100],
        words=device_in_words(request.headers.get("user-agent", "")[:500]),
    )


def let_in(ctx: AppContext, request: Request, answer: Response, secret: str) -> Response:
    """Give a browser its session."""
    days = ctx.settings.session_days
    _keep(request, answer, session_cookie_name(ctx.settings), secret, days)
    return answer


def keep_device(ctx: AppContext, request: Request, answer: Response, secret: str) -> None:
    """Let a browser be known at the next sign-in."""
    _keep(request, answer, device_cookie_name(ctx.settings), secret, DEVICE_KEPT.days)


def keep_step(ctx: AppContext, request: Request, answer: Response, secret: str) -> Response:
    """Let a browser send the code that follows its password."""
    days = CODE_WITHIN.total_seconds() / 86400
    _keep(request, answer, step_cookie_name(ctx.settings), secret, days)
    return answer


def _keep(request: Request, answer: Response, name: str, secret: str, days: float) -> None:
    answer.set_cookie(
        name,
        secret,
        max_age=round(days * 86400),
        path="/",
        secure=over_tls(request),
        httponly=True,
        samesite="lax",
    )
