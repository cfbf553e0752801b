"""Form of a photograph: what does an upload of one picture hold?"""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from solespan.api.errors import Refused
from solespan.api.routes.http.pages import MOST_CHARACTERS, refuse_foreign_form
from solespan.api.services.rack.pictures.photo_metadata import MAX_PHOTO_BYTES

__all__ = ["PictureForm", "chosen_picture", "read_picture"]


async def read_picture(request: Request, most_fields: int = 5) -> tuple[dict[str, str], bytes]:
    """Read its fields, and one byte more of the picture than may be kept."""
    async with request.form(max_files=1, max_fields=most_fields) as form:
        typed = {n: v[:MOST_CHARACTERS] for n, v in form.items() if isinstance(v, str)}
        file = form.get("file")
        content = await file.read(MAX_PHOTO_BYTES + 1) if isinstance(file, UploadFile) else b""
    refuse_foreign_form(request, typed)
    return typed, content


async def _picture(request: Request) -> tuple[dict[str, str], bytes]:
    return await read_picture(request)


PictureForm = Annotated[tuple[dict[str, str], bytes], Depends(_picture)]


def chosen_picture(content: bytes) -> bytes:
    """Return a picture that was chosen. Raises `Refused` where none was."""
    if not content:
        raise Refused("No picture was chosen.", where="file", remedy="Choose one first.")
    return content
