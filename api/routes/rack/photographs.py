"""HTTP routes of photographs: how does a program add, read and take away a pair's pictures?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Form, Path, Query, Request, Response, UploadFile
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound
from solespan.api.routes.http.requests import (
    FILE,
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    answer_of,
    json_answer,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.rack.photographs import PairPhotograph, PairPhotographs
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.rack.pictures.pair_photos import (
    keep_photo,
    photo_content,
    photos_seen,
    remove_photo,
)
from solespan.api.services.rack.pictures.photo_metadata import MAX_PHOTO_BYTES

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["rack"], responses=PROBLEM_ANSWERS)
PATH = "/pair-photographs"
PhotoId = Annotated[KnownId, Path(description="the photograph. Unit: none (identifier)")]
_BYTES = "application/octet-stream"
_IMAGE = {
    "content": {name: {"schema": FILE} for name in ("image/jpeg", _BYTES)},
    "description": "The photograph; as plain bytes where only those are accepted",
}


@router.get(PATH, response_model=None, responses={200: {"model": PairPhotographs}})
def list_pair_photographs(
    ctx: Context,
    pair_id: Annotated[KnownId, Query(description="the pair. Unit: none (identifier)")],
) -> Response:
    """List the photographs of a pair, the newest first."""
    with ctx.database.reading() as session:
        _, photos = photos_seen(session, pair_id)
    return json_answer({"items": [{"photo_id": one, "pair_id": pair_id} for one in photos]})


@router.post(PATH, response_model=None, status_code=201, responses={201: {"model": PairPhotograph}})
def add_pair_photograph(
    ctx: Context,
    file: Annotated[
        UploadFile,
        File(description="a JPEG or PNG of up to 8 MiB, encoded again. Unit: none (file)"),
    ],
    pair_id: Annotated[KnownId, Form(description="the pair. Unit: none (identifier)")],
    key: IdempotencyKey,
) -> Response:
    """Keep a photograph of a pair; nothing of place, time and device stays in it."""
    content = file.file.read(MAX_PHOTO_BYTES + 1)

    def work(session: Session) -> Answered:
        kept = keep_photo(session, pair_id, content)
        return Answered(201, kept, {"location": f"/v1{PATH}/{kept['photo_id']}"})

    fingerprint = fingerprint_of(PATH.encode(), pair_id.encode(), content)
    return answer_of(ctx.idempotency.once(f"POST /v1{PATH}", key, fingerprint, work))


@router.get(PATH + "/{photo_id}", response_class=Response, responses={200: _IMAGE})
def read_pair_photograph(
    ctx: Context,
    request: Request,
    photo_id: PhotoId,
    small: Annotated[bool, Query(description="the small copy of a list. Unit: none")] = False,
) -> Response:
    """Read a photograph of a pair."""
    with ctx.database.reading() as session:
        found = photo_content(session, photo_id, small=small)
    if found is None:
        raise NotFound("There is no such photograph.", where="photo_id")
    kind = _BYTES if request.headers.get("accept") == _BYTES else found[0]
    return Response(found[1], media_type=kind)


@router.delete(PATH + "/{photo_id}", status_code=204, response_class=Response)
def remove_pair_photograph(ctx: Context, photo_id: PhotoId) -> Response:
    """Take a photograph of a pair away; it can be taken back for 30 days."""
    with ctx.database.writing() as session:
        remove_photo(session, photo_id)
    return Response(status_code=204)
