"""The page's HTTP as an OpenAPI description: each path, what it takes, and how it answers.

For the tests: the page itself is for people, and publishes none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from daemon.page.acts import ACTS
from daemon.page.checks import CHECKS
from daemon.page.pages import FILES, VIEWS

HTML, FORM = "text/html", "application/x-www-form-urlencoded"
TEXT = {"type": "string"}
OF_A_PROBE = ("reservoir", "quantity")
OF_A_PUMP = ("reservoir", "pump")
FIELDS: Mapping[str, tuple[str, ...]] = {
    "/hold": ("reservoir", "reason"),
    "/acknowledge": ("key",),
    "/release": ("reservoir", "password"),
    "/clear": ("reservoir", "measured_ph", "password"),
    "/prime": (*OF_A_PUMP, "ml", "cup", "password"),
    "/bottle": (*OF_A_PUMP, "full", "password"),
    "/tube": (*OF_A_PUMP, "password"),
    "/poured": (*OF_A_PUMP, "ml", "note", "sure", "password"),
    "/measure/run": (*OF_A_PUMP, "runs", "run_s", "cup", "first", "ml1", "password"),
    "/measure/keep": (*OF_A_PUMP, "first", "ml1", "ml2", "password"),
    "/measure/cancel": OF_A_PUMP,
    "/change-out/begin": ("reservoir",),
    "/change-out/done": ("reservoir", "new", "password"),
    "/login": ("password", "to"),
    "/logout": (),
    "/calibrate/begin": OF_A_PROBE,
    "/calibrate/afresh": OF_A_PROBE,
    "/calibrate/point": (*OF_A_PROBE, "standard", "temperature_c", "true_c", "litres"),
    "/calibrate/keep": (*OF_A_PROBE, "accept", "stop_gap", "password"),
    "/calibrate/back": (*OF_A_PROBE, "password"),
    "/calibrate/cancel": OF_A_PROBE,
    "/settings/check": ("text",),
    "/crop/did": ("task", "plugs", "heads", "grams"),
    "/crop/walk": ("where", "found-tip_burn"),
}
"""Of each form, beside its token."""
ALWAYS = ("Content-Security-Policy", "X-Content-Type-Options", "Referrer-Policy", "Cache-Control")
QUERY: Mapping[str, Mapping[str, Any]] = {
    "of": TEXT,
    "span": {"anyOf": [{"enum": ["day", "week", "month", "season"]}, TEXT]},
    "reservoir": {"anyOf": [{"enum": ["bed1"]}, TEXT]},
    "quantity": {"anyOf": [{"enum": ["ph", "ec", "temperature"]}, TEXT]},
    "pump": {"anyOf": [{"enum": ["ph_down", "stock_a"]}, TEXT]},
    "ml": {"anyOf": [{"type": "number"}, TEXT]},
    "note": TEXT,
    "days": {"anyOf": [{"type": "integer"}, TEXT]},
    "form": {"anyOf": [{"enum": ["prime", "bottle", "tube", "poured"]}, TEXT]},
    "litres": {"anyOf": [{"type": "number"}, TEXT]},
    "stock_l": {"anyOf": [{"type": "number"}, TEXT]},
    "for": {"anyOf": [{"enum": ["file", "lettuce/leafing"]}, TEXT]},
    "from": {"anyOf": [{"type": "string", "format": "date"}, {"type": "string", "format": "date-time"}, TEXT]},
    "to": {"anyOf": [{"enum": list(VIEWS)}, {"type": "string", "format": "date"}, TEXT]},
}


def description() -> dict[str, Any]:
    """All of it, but for /events, which does not end."""
    paths: dict[str, Any] = {path: {"get": _look({200, 303})} for path in VIEWS}
    paths["/static/{name}"] = {"get": _file()}
    paths["/login"] = {"get": _look({200, 303}), "post": _form("/login", {200, 303, 403, 413, 429})}
    paths["/logout"] = {"post": _form("/logout", {303, 401, 403, 413})}
    for path, (_, kind) in FILES.items():
        paths[path] = {"get": _look({200, 401})}
        paths[path]["get"]["responses"]["200"]["content"][kind.partition(";")[0]] = {"schema": TEXT}
    for path in CHECKS:
        paths[path] = {"post": _form(path, {200, 401, 403, 413})}
    for path, act in ACTS.items():
        answers = (
            {200, 400, 401, 403, 409, 413} | ({429} if act.raises else set()) | ({303} if act.at_once else set())
        )
        paths[path] = {"post": _form(path, answers)}
    return {"openapi": "3.1.0", "info": {"title": "The page", "version": "1"}, "paths": paths}


def _look(answers: Iterable[int]) -> dict[str, Any]:
    query = [{"name": name, "in": "query", "schema": of} for name, of in QUERY.items()]
    return {"parameters": query, "responses": _responses(answers)}


def _file() -> dict[str, Any]:
    names = {"anyOf": [{"enum": ["page.css", "page.js", "drop.svg"]}, {"type": "string", "minLength": 1}]}
    found = _responses({200, 404, 405})
    for kind in ("text/css", "text/javascript", "image/svg+xml"):
        found["200"]["content"][kind] = {"schema": TEXT}
    return {
        "parameters": [{"name": "name", "in": "path", "required": True, "schema": names}],
        "responses": found,
    }


def _form(path: str, answers: Iterable[int]) -> dict[str, Any]:
    names = ("token", *FIELDS.get(path, ()))
    schema = {"type": "object", "properties": dict.fromkeys(names, TEXT), "additionalProperties": TEXT}
    return {"requestBody": {"content": {FORM: {"schema": schema}}}, "responses": _responses(answers)}


def _responses(answers: Iterable[int]) -> dict[str, Any]:
    return {str(status): _response(status) for status in answers}


def _response(status: int) -> dict[str, Any]:
    names = ALWAYS + (("Location",) if status == 303 else ()) + (("Retry-After",) if status == 429 else ())
    headers = {name: {"required": True, "schema": TEXT} for name in names}
    return {"description": "", "headers": headers, "content": {HTML: {"schema": TEXT}}}
