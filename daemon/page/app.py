"""The page's HTTP: which path gives what, and what is not let in.

Against a web site open in the same browser: a form carries a token that only this page's own forms show, the
Host header must name this page (a name that somebody else's server resolves to this box does not), the cookie
goes with no request of another site, and the Content-Security-Policy lets nothing of anybody else's in, nor a
frame around it.
"""

from __future__ import annotations

import asyncio
import ipaddress
import secrets
from collections.abc import AsyncIterator, Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from http import HTTPStatus
from typing import Any, TypeVar

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from daemon.page.acts import ACTS, Act
from daemon.page.answers import Answer, Page, elsewhere, fields, outcome, static
from daemon.page.checks import CHECKS, LARGEST_CHECK
from daemon.page.door import Door
from daemon.page.entrance import login, waiting
from daemon.page.events import KIND, Watch
from daemon.page.frame import document
from daemon.page.glimpse import MOST_CALLS
from daemon.page.pages import FILES, VIEWS
from daemon.page.passwords import PasswordError
from daemon.page.place import Place
from daemon.page.sessions import ENDS_S
from daemon.page.visitor import Rank, Visitor

LARGEST_FORM = 8192  # bytes
BESIDE = MOST_CALLS + 2  # threads that wait for the daemon and read the history
RENEWS = "evenwater-renews"  # a header: the page looks by itself, not a person
SAME_SITE = frozenset({"same-origin", "none"})
T = TypeVar("T")


class Refused(Exception):  # noqa: N818 - a refusal is an answer, in this house's words
    """This request gets a sentence instead of what it asked for."""

    def __init__(
        self, status: HTTPStatus, text: str, *, back: str = "/", headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(text)
        self.status, self.text, self.back, self.headers = status, text, back, headers


class App:
    """One page, as ASGI."""

    def __init__(self, page: Page, door: Door, place: Place) -> None:
        self._page, self._door, self._place = page, door, place
        self._cookie = "__Host-evenwater" if place.by_tls else "evenwater"
        self._pool = ThreadPoolExecutor(BESIDE, "page")
        self._watch = Watch(lambda: self._beside(page.daemon.glimpse))
        self.asgi = Starlette(
            routes=[
                Route("/events", self._events, methods=["GET"]),
                Route("/static/{name}", self._static, methods=["GET"]),
                Route("/login", self._login_form, methods=["GET"]),
                Route("/login", self._login, methods=["POST"]),
                Route("/logout", self._logout, methods=["POST"]),
                *(Route(path, self._look, methods=["GET"]) for path in VIEWS),
                *(Route(path, self._file, methods=["GET"]) for path in FILES),
                *(Route(path, self._act, methods=["POST"]) for path in ACTS),
                *(Route(path, self._check, methods=["POST"]) for path in CHECKS),
            ],
            middleware=[Middleware(OurNames, place=place)],
            exception_handlers={
                ClientDisconnect: _gone,
                Refused: _refused,
                HTTPException: _no_such,
                PasswordError: _spoiled,
                Exception: _failed,
            },
            lifespan=self._life,
        )

    @asynccontextmanager
    async def _life(self, _: Starlette) -> AsyncIterator[None]:
        watching = asyncio.create_task(self._watch.run())
        try:
            yield
        finally:
            watching.cancel()
            self._door.close()
            self._pool.shutdown(wait=False, cancel_futures=True)

    def end(self) -> None:
        """Let those go who watch."""
        self._watch.end()

    async def _beside(self, work: Callable[..., T], *given: Any) -> T:
        """Done in a thread, since it may wait."""
        return await asyncio.get_running_loop().run_in_executor(self._pool, work, *given)

    # looking

    async def _look(self, request: Request) -> Response:
        path = request.url.path
        visitor = self._visitor(request)
        if visitor is None:
            return _response(elsewhere("/login" if path == "/" else f"/login?to={path}"))
        return _response(await self._beside(self._page.look, path, fields(request.url.query), visitor))

    async def _file(self, request: Request) -> Response:
        visitor = self._visitor(request)
        if visitor is None:
            raise Refused(HTTPStatus.UNAUTHORIZED, "Log in first.", back="/login")
        asked = fields(request.url.query)
        return _response(await self._beside(self._page.file, request.url.path, asked, visitor))

    async def _static(self, request: Request) -> Response:
        return _response(static(request.path_params["name"]))

    async def _events(self, request: Request) -> Response:
        if self._visitor(request, by_itself=True) is None:
            raise Refused(HTTPStatus.UNAUTHORIZED, "Log in first.", back="/login")
        if request.method == "HEAD":
            return Response(media_type=KIND)
        if self._watch.full:
            raise Refused(
                HTTPStatus.SERVICE_UNAVAILABLE, "Too many watch already.", headers={"Retry-After": "30"}
            )
        return StreamingResponse(
            self._watch.messages(lambda: self._visitor(request, by_itself=True) is not None), media_type=KIND
        )

    # doing

    async def _check(self, request: Request) -> Response:
        form = await _form(request, LARGEST_CHECK)
        visitor = self._may_act(request, form)
        return _response(await self._beside(self._page.check, request.url.path, form, visitor))

    async def _act(self, request: Request) -> Response:
        act, form = ACTS[request.url.path], await _form(request)
        visitor = self._may_act(request, form)
        if act.raises:
            await self._gives_password(act, form, visitor)
        given = {name: of for name, of in form.items() if name not in {"token", "password"}}
        return _response(await self._beside(self._page.act, request.url.path, given, visitor))

    def _may_act(self, request: Request, form: Mapping[str, str]) -> Visitor:
        """Whoever sent a form of their own. Raises Refused."""
        visitor = self._visitor(request)
        if visitor is None:
            raise Refused(HTTPStatus.UNAUTHORIZED, "Log in first: nothing was done.", back="/login")
        _of_this_page(request)
        if not secrets.compare_digest(form.get("token", "").encode(), visitor.token.encode()):
            text = "The form is of before this page was restarted, or of another login. Load it again."
            raise Refused(HTTPStatus.FORBIDDEN, text)
        if not visitor.may_act and request.url.path != "/logout":
            raise Refused(HTTPStatus.FORBIDDEN, "A guest looks, and does nothing.")
        return visitor

    async def _gives_password(self, act: Act, form: Mapping[str, str], visitor: Visitor) -> None:
        """What may make it dose needs the holder's password with it. Raises Refused."""
        back = act.way_back(form)
        if not visitor.may_raise:
            text = "No password is set for this page, so this is done at the tank only."
            raise Refused(HTTPStatus.FORBIDDEN, text, back=back)
        tried = await self._door.tried(form.get("password", ""), visitor.address, of_holder=True)
        if tried.rank is not Rank.HOLDER:
            text = f"{waiting(tried.wait_s)} Nothing was done."
            raise Refused(_status_of(tried.wait_s), text, back=back, headers=_retry(tried.wait_s))

    # coming and going

    async def _login_form(self, request: Request) -> Response:
        if self._visitor(request) is not None:
            return _response(elsewhere("/"))
        return _response(_login_page(_view_of(fields(request.url.query))))

    async def _login(self, request: Request) -> Response:
        form = await _form(request)
        _of_this_page(request)
        tried = await self._door.tried(form.get("password", ""), self._address(request))
        to = _view_of(form)
        if tried.rank is None:
            status = _status_of(tried.wait_s)
            return _response(_login_page(to, waiting(tried.wait_s), status, _retry(tried.wait_s)))
        self._door.logout(self._identity(request))
        response = _response(elsewhere(to))
        self._keep(response, self._door.login(tried.rank), ENDS_S[tried.rank][1])
        return response

    async def _logout(self, request: Request) -> Response:
        self._may_act(request, await _form(request))
        self._door.logout(self._identity(request))
        response = _response(elsewhere("/login"))
        self._keep(response, "", 0.0)
        return response

    def _keep(self, response: Response, identity: str, kept_s: float) -> None:
        """Have the browser keep what it is known by, for so long; 0 for not at all."""
        response.set_cookie(
            self._cookie,
            identity,
            max_age=int(kept_s),
            path="/",
            secure=self._place.by_tls,
            httponly=True,
            samesite="strict",
        )

    def _visitor(self, request: Request, *, by_itself: bool = False) -> Visitor | None:
        by_itself = by_itself or RENEWS in request.headers
        return self._door.visitor(self._identity(request), self._address(request), by_itself=by_itself)

    def _identity(self, request: Request) -> str:
        return request.cookies.get(self._cookie, "")

    def _address(self, request: Request) -> str:
        """Where it comes from; behind our proxy as the proxy saw it, which is what it put last."""
        if self._place.behind_proxy:
            last = request.headers.get("x-forwarded-for", "").rpartition(",")[2].strip()
            try:
                return str(ipaddress.ip_address(last))
            except ValueError:
                pass
        return request.client.host if request.client else ""


class OurNames:
    """Lets in what was asked of this page by one of its names."""

    def __init__(self, app: ASGIApp, place: Place) -> None:
        self._app, self._place = app, place

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not self._is_ours(scope):
            text = (
                "This page does not answer to that name: to localhost, to the address it listens on, and to what "
                "it was told by --name. A reverse proxy has to pass on the Host header as it came."
            )
            await _response(outcome(HTTPStatus.FORBIDDEN, text))(scope, receive, send)
            return
        await self._app(scope, receive, send)

    def _is_ours(self, scope: Scope) -> bool:
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        called = (scope.get("server") or ("",))[0]
        return len(hosts) == 1 and self._place.is_ours(hosts[0].decode("latin-1"), called)


async def _form(request: Request, largest: int = LARGEST_FORM) -> dict[str, str]:
    """The fields of a form that is small enough and says how long it is. Raises Refused."""
    length = request.headers.get("content-length", "")
    if not (length.isascii() and length.isdigit() and int(length) <= largest):
        text = f"A form may have {largest} bytes, and must say how many it has."
        raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, text)
    return fields((await request.body()).decode("utf-8", errors="replace"))


def _of_this_page(request: Request) -> None:
    """A browser says where a form comes from, where it says so at all. Raises Refused."""
    if request.headers.get("sec-fetch-site", "same-origin") not in SAME_SITE:
        raise Refused(HTTPStatus.FORBIDDEN, "The form is of another site: nothing was done.")


def _view_of(form: Mapping[str, str]) -> str:
    """A view of ours, whatever was asked for."""
    return form["to"] if form.get("to") in VIEWS else "/"


def _login_page(
    to: str,
    said: str = "",
    status: HTTPStatus = HTTPStatus.OK,
    headers: Mapping[str, str] | None = None,
) -> Answer:
    return Answer(status, document("/login", None, login(to, said)), headers=headers)


def _status_of(wait_s: float) -> HTTPStatus:
    return HTTPStatus.TOO_MANY_REQUESTS if wait_s > 0.0 else HTTPStatus.FORBIDDEN


def _retry(wait_s: float) -> dict[str, str]:
    return {"Retry-After": str(max(1, round(wait_s + 0.5)))} if wait_s > 0.0 else {}


def _response(answer: Answer) -> Response:
    return Response(answer.body, answer.status, dict(answer.headers or {}), answer.kind)


async def _refused(_: Request, why: Exception) -> Response:
    assert isinstance(why, Refused)
    answer = outcome(why.status, why.text, why.back)
    return _response(Answer(answer.status, answer.body, headers=why.headers))


async def _no_such(_: Request, why: Exception) -> Response:
    assert isinstance(why, HTTPException)
    answer = outcome(HTTPStatus(why.status_code), "There is no such view, and nothing of that kind is done here.")
    return _response(Answer(answer.status, answer.body, headers=why.headers))


async def _spoiled(_: Request, why: Exception) -> Response:
    return _response(outcome(HTTPStatus.SERVICE_UNAVAILABLE, f"{why}."))


async def _failed(_: Request, why: Exception) -> Response:
    text = f"The page failed over this ({type(why).__name__}); its log says more. The daemon goes on."
    return _response(outcome(HTTPStatus.INTERNAL_SERVER_ERROR, text))


async def _gone(_: Request, _why: Exception) -> Response:
    """A phone that went away in the middle of a form: nobody is left to tell."""
    return Response(status_code=HTTPStatus.BAD_REQUEST)
