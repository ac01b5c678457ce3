"""The page where a device is paired by a code: a plain form, so that it needs no script."""

from __future__ import annotations

from http import HTTPStatus

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from calibration.errors import RestmarkError
from service.door import Door, DoorError, Entry
from service.door.carried import give_cookie, source_of

from ..frame import Site

NAME_LIMIT = 100
_STATUS = {
    "bad-code": HTTPStatus.FORBIDDEN,
    "too-many-tries": HTTPStatus.TOO_MANY_REQUESTS,
}


def install(site: Site) -> None:
    """Add the page to the site."""
    entry: Entry = site.app.state.entry
    door: Door = site.app.state.door

    def page(
        request: Request, *, code: str = "", name: str = "", refusal: str = "", status: int = 200
    ) -> Response:
        context = {"entry": entry, "code": code, "name": name, "refusal": refusal}
        response = site.alone("door/pair.html", request, context)
        response.status_code = status
        return response

    @site.app.get("/pair", include_in_schema=False)
    def show_pair(request: Request) -> Response:
        return page(request)

    @site.app.post("/pair", include_in_schema=False)
    async def pair(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=4) as form:
            code, name = (str(form.get(key, "")).strip() for key in ("code", "name"))
        shown = "".join(char for char in name if char.isprintable()).strip()[:NAME_LIMIT]
        try:
            token, _device = await run_in_threadpool(
                lambda: door.pair(code, shown or "A device", source=source_of(request.scope))
            )
        except DoorError as refused:
            said = refused.detail[0].upper() + refused.detail[1:]
            answer = page(
                request, code=code[:40], name=shown, refusal=said, status=_STATUS[refused.code]
            )
            if "wait_s" in refused.fields:
                answer.headers["Retry-After"] = str(refused.fields["wait_s"])
            return answer
        except RestmarkError as refused:  # the store cannot be written
            return page(
                request, code=code[:40], name=shown, refusal=refused.detail,
                status=HTTPStatus.SERVICE_UNAVAILABLE,
            )  # fmt: skip
        response = RedirectResponse("/", HTTPStatus.SEE_OTHER)
        give_cookie(entry, response, token)
        return response
