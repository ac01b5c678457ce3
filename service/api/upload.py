"""A still out of a request: a form's file, or the body itself."""

from __future__ import annotations

import re
from typing import Any

from fastapi import Request
from starlette.datastructures import UploadFile

from service.desk.arriving import Upload, clean_name

from .problems import ApiError

_KEY = re.compile(r"[\x21-\x7e]{1,200}")
RAW_MEDIA_TYPES = (
    "image/jpeg",
    "image/png",
    "image/heic",
    "image/heif",
    "image/webp",
    "application/octet-stream",
)
_FILE = {"type": "string", "format": "binary"}
BODY_DOCUMENT: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "The still, at most 20 MB: as the file of a form, or as the body itself.",
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {"still": _FILE, "settled": {"type": "boolean"}},
                    "required": ["still"],
                }
            },
            **{media_type: {"schema": _FILE} for media_type in RAW_MEDIA_TYPES},
        },
    }
}


async def read_upload(request: Request, *, name: str, key: str | None, settled: bool) -> Upload:
    """The still that ``request`` carries.

    Raises:
        ApiError: it carries none, or a header or field of it is refused.
    """
    if key is not None and not _KEY.fullmatch(key):
        raise ApiError(
            f"Idempotency-Key: got {key[:40]!r}; allowed: 1 to 200 visible ASCII characters. "
            "A random UUID for each still serves well.",
            code="bad-idempotency-key",
        )
    media_type = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if media_type == "multipart/form-data":
        data, sent_name, said = await _file_of_form(request)
        return Upload(
            data=data,
            name=clean_name(name or sent_name),
            key=key,
            settled=settled and _is_settled(said),
        )
    if media_type not in RAW_MEDIA_TYPES:
        raise ApiError(
            f"Content-Type: got {media_type!r}; allowed: multipart/form-data, "
            f"{', '.join(RAW_MEDIA_TYPES)}. Send the still as one of those.",
            code="unsupported-media",
        )
    return Upload(data=await request.body(), name=clean_name(name), key=key, settled=settled)


async def _file_of_form(request: Request) -> tuple[bytes, str, object]:
    async with request.form(max_files=1, max_fields=4) as form:
        file = form.get("still")
        if not isinstance(file, UploadFile):
            raise ApiError(
                "still: missing; allowed: one file in the form's field 'still'. Add it.",
                code="invalid-request",
            )
        return await file.read(), file.filename or "", form.get("settled")


def _is_settled(said: object) -> bool:
    """The form's word on whether the balls lie still; nothing said is yes."""
    if said in (None, "true"):
        return True
    if said == "false":
        return False
    raise ApiError(
        f"settled: got {said!r}; allowed: true or false. Correct the form's field.",
        code="invalid-request",
    )
