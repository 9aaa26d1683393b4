"""What the live page answers: to this machine's browser with the token, and to nobody else."""

import asyncio
import hashlib
import hmac
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from urllib.parse import parse_qsl

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from loambrief.case.problems import Problem
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.errors import CaseProblems
from loambrief.pipeline import write_files
from loambrief.preview import pages
from loambrief.preview.form import FormResult, fill, sections, with_typed
from loambrief.preview.live import Live
from loambrief.render.html import POLICY

OWN_POLICY = ("default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
              "frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
IN_FRAME = f"{POLICY}; frame-ancestors 'self'"
HEADERS = {"x-content-type-options": "nosniff", "cache-control": "no-store",
           "referrer-policy": "same-origin", "cross-origin-opener-policy": "same-origin",
           "cross-origin-resource-policy": "same-origin"}
MOST_POSTED = 1024 * 1024
MOST_BOXES = 20_000
LONGEST_WAIT = 20.0
"""Seconds that a question for news is kept open."""
KINDS = {".pdf": "application/pdf", ".json": "application/json"}


class Guard:
    """Lets a request pass that names this server's own host and brings the token.

    ``hosts`` are values of the Host header that are this server: another name would be a page
    elsewhere that had its name lead here.
    """

    def __init__(self, app: ASGIApp, hosts: frozenset[str], token: str, cookie: str) -> None:
        self.app, self.hosts, self.token, self.cookie = app, hosts, token, cookie

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        await (self._refusal(request) or self.app)(scope, receive, send)

    def _refusal(self, request: Request) -> Response | None:
        if request.headers.get("host", "") not in self.hosts:
            return _plain("This server answers to its own address only.", 421)
        origin = request.headers.get("origin")
        if request.method not in ("GET", "HEAD") and origin not in {
                f"http://{host}" for host in self.hosts}:
            return _plain("Sent from another page.", 403)
        if origin is not None and origin not in {f"http://{host}" for host in self.hosts}:
            return _plain("Asked for by another page.", 403)
        given = request.query_params.get("token")
        if given is not None and self._right(given):
            answer = RedirectResponse(request.url.path, 303, HEADERS)
            answer.set_cookie(self.cookie, self.token, httponly=True, samesite="strict", path="/")
            return answer
        if not self._right(request.cookies.get(self.cookie, "")):
            return _plain("Open the address that loambrief preview printed.", 403)
        return None

    def _right(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.token.encode())


def _plain(text: str, status: int) -> Response:
    return PlainTextResponse(text + "\n", status, HEADERS)


class LivePage:
    """The routes of one case."""

    def __init__(self, live: Live) -> None:
        self.live = live
        self.news: asyncio.Condition | None = None
        self.said: tuple[str, ...] = ()
        """What the last form that was sent came to; shown once."""

    def routes(self) -> list[Route]:
        return [
            Route("/", self.page), Route("/advisory", self.advisory),
            Route("/news", self.wait), Route("/problems", self.problems),
            Route("/form", self.form), Route("/form", self.take, methods=["POST"]),
            Route("/file/{name}", self.file),
            *(Route(f"/{name}", self.asset) for name in pages.ASSETS)]

    async def changed(self) -> None:
        """Read the case again and tell whoever waits."""
        await run_in_threadpool(self.live.refresh)
        if self.news is not None:
            async with self.news:
                self.news.notify_all()

    async def page(self, request: Request) -> Response:
        view = self.live.view
        endings = (".pdf", ".annex.pdf", ".json") if view.case_id else ()
        names = [f"{view.case_id}{ending}" for ending in endings]
        return _html(pages.page(view, self.live.name, names))

    async def problems(self, request: Request) -> Response:
        return _html(pages.problems(self.live.view))

    async def advisory(self, request: Request) -> Response:
        html = self.live.view.html
        return _html(html or pages.empty(), IN_FRAME if html else OWN_POLICY.replace(
            "frame-ancestors 'none'", "frame-ancestors 'self'"))

    async def wait(self, request: Request) -> Response:
        """The version, at once if it is another one than the browser has, else when it changes."""
        self.news = self.news or asyncio.Condition()
        seen = request.query_params.get("after", "")
        async with self.news:
            if seen == str(self.live.view.version):
                with suppress(TimeoutError):
                    await asyncio.wait_for(self.news.wait(), LONGEST_WAIT)
        return JSONResponse({"version": self.live.view.version}, headers=HEADERS)

    async def form(self, request: Request) -> Response:
        view = self.live.view
        made = sections(view.source) if view.source is not None else ()
        said, self.said = self.said, ()
        return _html(pages.form(view, self.live.name, made, said=said))

    async def take(self, request: Request) -> Response:
        """Write what was typed into the case, or show the form again with what is wrong."""
        try:
            posted = await _posted(request)
        except (ValueError, ClientDisconnect):
            return _plain("More than a form can hold.", 413)
        filled, view = await run_in_threadpool(self._write, posted), self.live.view
        if filled.content is None and (filled.problems or filled.general):
            made = sections(view.source) if view.source is not None else ()
            shown = with_typed(made, posted, filled.problems)
            return _html(pages.form(view, self.live.name, shown, filled), status=422)
        self.said = ("Nothing was changed.",)
        if filled.content is not None:
            await self.changed()
            self.said = (f"Written into {self.live.name}.", *filled.notes)
        return RedirectResponse("/form", 303, HEADERS)

    def _write(self, posted: dict[str, str]) -> FormResult:
        try:
            raw = read_bytes(self.live.path)
            if hashlib.sha256(raw).hexdigest() != posted.get("@case"):
                return FormResult(general=("The case was changed since this form was opened. What "
                                       "you typed is still here: load the form anew in a second "
                                       "window and compare.",))
            source, _ = read_text(decode(raw, self.live.name), self.live.name)
            filled = fill(raw, source, posted, self._errors)
            if filled.content is not None:
                real = self.live.path.resolve()
                write_files({real.name: filled.content}, real.parent)
            return filled
        except CaseProblems as error:
            return FormResult(general=tuple(p.headline() for p in error.problems))
        except OSError as error:
            return FormResult(general=(error.strerror or str(error),))

    def _errors(self, raw: bytes) -> tuple[Problem, ...]:
        try:
            self.live.loaded(raw)
        except CaseProblems as error:
            return tuple(p for p in error.problems if p.severity == "error")
        return ()

    async def file(self, request: Request) -> Response:
        """A file of the last advisory."""
        files = await run_in_threadpool(self.live.files)
        name = request.path_params["name"]
        if name not in files:
            return _plain("No such file.", 404)
        return Response(files[name], media_type=KINDS[Path(name).suffix], headers={
            **HEADERS, "content-disposition": f'attachment; filename="{name}"'})

    async def asset(self, request: Request) -> Response:
        name = request.url.path.lstrip("/")
        return Response(pages.asset(name), media_type=pages.ASSETS[name], headers=HEADERS)


def _html(content: str | bytes, policy: str = OWN_POLICY, status: int = 200) -> Response:
    return HTMLResponse(content, status, {**HEADERS, "content-security-policy": policy})


async def _posted(request: Request) -> dict[str, str]:
    """The fields of a form; ValueError if it cannot hold so much, or is not UTF-8."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > MOST_POSTED:
            raise ValueError
    return dict(parse_qsl(body.decode("utf-8"), keep_blank_values=True,
                          max_num_fields=MOST_BOXES, errors="strict"))


def application(page: LivePage, hosts: frozenset[str], token: str, cookie: str,
                lifespan: Callable[[Starlette], object] | None = None) -> ASGIApp:
    """The whole server: routes behind the guard."""
    inner = Starlette(routes=page.routes(), lifespan=lifespan)  # type: ignore[arg-type]
    return Guard(inner, hosts, token, cookie)
