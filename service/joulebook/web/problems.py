"""Every error as an RFC 9457 problem document, or as a page where a person asked.

A problem carries the four parts of the house's errors: what (``detail``), ``where``,
``expected`` and ``next``.
"""

import logging
from collections.abc import Mapping
from http import HTTPStatus
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from joulebook.errors import JoulebookError, UnavailableError, UsageError
from joulebook.web.backing import backing_in
from joulebook.web.words import texts

_log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"


class ProblemError(Exception):
    """A request that cannot be answered, with all that its problem document says.

    Parameters
    ----------
    status : int
        The HTTP status.
    kind : str
        A key of `texts.PROBLEMS`: gives the title and the ``type`` link.
    what, where, expected, next_step : str
        The four parts; ``link`` is where ``next_step`` leads on the page for people.
    headers : mapping
        Headers that the answer needs besides, such as ``Retry-After``.
    """

    def __init__(
        self,
        status: int,
        kind: str,
        what: str,
        *,
        where: str,
        expected: str,
        next_step: str,
        link: str = "/",
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(what)
        self.status = status
        self.kind = kind
        self.what = what
        self.where = where
        self.expected = expected
        self.next_step = next_step
        self.link = link
        self.headers = dict(headers or {})

    def document(self, instance: str) -> dict[str, object]:
        """Return the problem document for the request to the path ``instance``."""
        return {
            "type": f"/api/docs#problem-{self.kind}",
            "title": texts.PROBLEMS[self.kind],
            "status": self.status,
            "detail": self.what,
            "instance": instance,
            "where": self.where,
            "expected": self.expected,
            "next": self.next_step,
        }


def install_problem_handlers(app: FastAPI) -> None:
    """Make every error of the application a problem document or its page."""
    app.add_exception_handler(ProblemError, _on_problem)
    app.add_exception_handler(JoulebookError, _on_house_error)
    app.add_exception_handler(HTTPException, _on_http_error)
    app.add_exception_handler(RequestValidationError, _on_invalid_request)
    app.add_exception_handler(ClientDisconnect, _on_gone)
    app.add_exception_handler(Exception, _on_bug)


def wants_page(request: Request) -> bool:
    """Tell whether a person asked: a browser, and not for the API or a figure."""
    path = request.url.path
    if path.startswith(("/api/v1", "/healthz", "/readyz", "/metrics")) or "/figures/" in path:
        return False
    return "text/html" in request.headers.get("accept", "")


def answer(request: Request, problem: ProblemError) -> Response:
    """Return a problem as its document, or as its page."""
    headers = {"Cache-Control": "no-store", "Vary": "Accept", **problem.headers}
    document = problem.document(request.url.path)
    if not wants_page(request):
        return JSONResponse(document, problem.status, headers, media_type=MEDIA_TYPE)
    page = backing_in(request).render("problem.html", problem=document, link=problem.link)
    return Response(page, problem.status, headers, media_type="text/html")


async def _on_problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, ProblemError)
    return answer(request, error)


async def _on_house_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, JoulebookError)
    return answer(request, problem_of(error))


def problem_of(error: JoulebookError) -> ProblemError:
    """Return an error of the house as a problem, logged where it is ours to mend."""
    status, kind = 500, "data-refused"
    headers = {}
    if isinstance(error, UsageError):
        status, kind = 400, "invalid-request"
    elif isinstance(error, UnavailableError):
        status, kind = 503, "unavailable"
        headers = {"Retry-After": "5"}
    if status >= 500:
        _log.error("%s", error)
    return ProblemError(
        status,
        kind,
        error.what,
        # Where our files lie is for the log, and nobody else's business.
        where="this joulebook" if Path(error.where).is_absolute() else error.where,
        expected=error.expected,
        next_step=error.next_step,
        headers=headers,
    )


async def _on_http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code == HTTPStatus.NOT_FOUND:
        problem = _not_found(request.url.path)
    elif error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        problem = ProblemError(
            error.status_code,
            "method-not-allowed",
            f"{request.method} does not exist here",
            where=request.url.path,
            expected="GET or HEAD, and POST for readings of a site",
            next_step="read /api/docs",
            headers=error.headers,
        )
    else:
        problem = ProblemError(
            error.status_code,
            "invalid-request",
            str(error.detail),
            where=request.url.path,
            expected="a request as the list of operations describes it",
            next_step="read /api/docs",
            headers=error.headers,
        )
    return answer(request, problem)


async def _on_invalid_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    name = str(first["loc"][-1])
    problem = ProblemError(
        422,
        "invalid-request",
        f"{name!r} is missing or not of its form: {first['msg']}",
        where=f"{first['loc'][0]} parameter {name!r}",
        expected="a value as the list of operations describes it",
        next_step="read /api/docs",
    )
    return answer(request, problem)


async def _on_gone(_request: Request, _error: Exception) -> Response:
    # Whoever hung up in the midst of what he sent hears nothing of it; and it is no bug of ours.
    return Response(status_code=HTTPStatus.BAD_REQUEST)


async def _on_bug(request: Request, _error: Exception) -> Response:
    # Starlette raises the error again after this answer, so that the traceback is logged.
    problem = ProblemError(
        500,
        "internal-error",
        "the service made a mistake while answering",
        where=request.url.path,
        expected="an answer",
        next_step="look into the service's log for the traceback and report it",
    )
    told = answer(request, problem)
    # This answer is made outside of the middleware that adds them.
    told.headers.update(backing_in(request).security_headers)
    return told


def _not_found(path: str) -> ProblemError:
    return ProblemError(
        404,
        "not-found",
        "there is nothing at this address",
        where=path,
        expected="an address from a page of joulebook or from /api/docs",
        next_step="start from the list of sites",
    )
