"""Page routes of previews: how does a mail look, inside a frame that can run and send nothing?"""

from __future__ import annotations

from fastapi import APIRouter, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import NotFound
from solespan.api.routes.http.framed_mail import MAIL_POLICY
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Words
from solespan.api.routes.http.requests import Context
from solespan.api.services.notices.deciding import preview, sample
from solespan.api.services.notices.pictures import shown_html
from solespan.api.services.notices.reading import payload_of

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)


@router.get("/notices/send/mail")
def read_sample_mail(ctx: Context, customer: Words = "") -> Response:
    """Show the mail that a customer would get now."""
    drafted = sample(ctx, preview(ctx), customer)
    if drafted is None:
        raise NotFound("No notice is due to this customer.", where="customer")
    with ctx.database.reading() as session:
        return _framed(shown_html(session, drafted))


@router.get("/notices/{notice_id}/mail")
def read_sent_mail(ctx: Context, notice_id: str) -> Response:
    """Show the mail of a notice, as it was written."""
    with ctx.database.reading() as session:
        return _framed(shown_html(session, payload_of(session, notice_id)))


def _framed(html: str) -> Response:
    return HTMLResponse(html, headers={"content-security-policy": MAIL_POLICY})


PAGE = PageEntry(router, under="/notices")
