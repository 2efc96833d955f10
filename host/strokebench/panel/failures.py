"""What becomes of a request that fails: a page of our own with a sentence, not the framework's words."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from strokebench.errors import StrokebenchError
from strokebench.panel.pages.sorry import sorry_page


def sorry(error: StrokebenchError, status: int = 404) -> Response:
    """Return the page of an error that a user can meet."""
    return HTMLResponse(sorry_page(status, f"{error} {error.hint}"), status)


def add_error_pages(app: FastAPI) -> None:
    """Have every failure of ``app`` answered by such a page."""

    @app.exception_handler(StrokebenchError)
    async def _known(_request: Request, error: StrokebenchError) -> Response:
        return sorry(error)

    @app.exception_handler(HTTPException)
    async def _refused(_request: Request, error: HTTPException) -> Response:
        return HTMLResponse(sorry_page(error.status_code), error.status_code, headers=error.headers)

    @app.exception_handler(RequestValidationError)
    async def _malformed(_request: Request, _error: RequestValidationError) -> Response:
        return HTMLResponse(sorry_page(404), 404)

    @app.exception_handler(Exception)
    async def _mistake(_request: Request, _error: Exception) -> Response:
        return HTMLResponse(sorry_page(500), 500)
