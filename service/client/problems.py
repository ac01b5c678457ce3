"""What the service refuses, as errors of this project."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import httpx2

from calibration.errors import RestmarkError


class ServiceError(RestmarkError):
    """The service refused, or could not be asked.

    ``code`` and ``fields`` are the service's own; ``service-unreachable`` and ``bad-answer`` are
    said here. ``status`` is that of the answer, None where there was none; ``request_id`` names the
    request in the service's log.
    """

    code = "service-unreachable"

    def __init__(
        self,
        detail: str,
        *,
        code: str | None = None,
        fields: Mapping[str, Any] | None = None,
        status: int | None = None,
        request_id: str | None = None,
    ) -> None:
        super().__init__(detail, code=code, fields=fields)
        self.status = status
        self.request_id = request_id


def refusal_in(answer: httpx2.Response) -> ServiceError:
    """The refusal that an answer with a status of 400 or more carries."""
    try:
        problem = answer.json()
        code, detail = problem["code"], problem["detail"]
        assert isinstance(code, str)
        assert isinstance(detail, str)
    except (ValueError, KeyError, TypeError, AssertionError):
        return bad_answer(answer, f"status {answer.status_code} without a problem's details")
    fields = problem.get("fields")
    return ServiceError(
        detail,
        code=code,
        fields=fields if isinstance(fields, dict) else None,
        status=answer.status_code,
        request_id=answer.headers.get("X-Request-ID"),
    )


def bad_answer(answer: httpx2.Response, got: str) -> ServiceError:
    """What is said of an answer that no Restmark gives."""
    return ServiceError(
        f"{answer.request.url}: got {got}; allowed: the answers of a Restmark service. Check the "
        "address and whether something else answers there.",
        code="bad-answer",
        status=answer.status_code,
    )


def unreachable(address: str, wrong: Exception) -> ServiceError:
    """What is said where nobody answers."""
    return ServiceError(
        f"{address}: no answer ({wrong or type(wrong).__name__}); allowed: the address that "
        "`restmark serve` printed, while it runs. Start the service, or correct the address."
    )
