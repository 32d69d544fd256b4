"""The page's HTTP against its description, by whatever requests schemathesis draws."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from daemon.page.acts import ACTS
from daemon.page.checks import CHECKS
from tests.at_the_tank import AtTheTank
from tests.page.browser import HOLDERS, Browser, passwords, serving
from tests.page.openapi import FIELDS, description

schemathesis = pytest.importorskip("schemathesis", reason="not for every machine")

EXAMPLES = 6  # of each path, for each of who asks, sound ones and wrong ones
CHECKED = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_headers_conformance",
)
DRAWN = settings(
    max_examples=EXAMPLES,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@cache
def operations() -> list[Any]:
    """Each path with each of its methods."""
    return [found.ok() for found in schemathesis.openapi.from_dict(description()).get_all_operations()]


def checks() -> list[Any]:
    """Those of schemathesis' own that hold for a page for people."""
    from schemathesis.checks import CHECKS

    return CHECKS.get_by_names(list(CHECKED))


def drawn(looks: Browser) -> None:
    """Ask all that it draws, half of the forms with the token that belongs to this visitor."""
    token = looks.token() if 'name="token"' in looks.gets("/alarms") + looks.gets("/") else ""
    for operation in operations():
        if operation.path != "/logout":
            _asked(looks, operation, token)


def _asked(looks: Browser, operation: Any, token: str) -> None:
    modes = [schemathesis.GenerationMode.POSITIVE]
    modes += [schemathesis.GenerationMode.NEGATIVE] if operation.method == "post" else []
    cases = st.one_of(*(operation.as_strategy(generation_mode=mode) for mode in modes))

    @DRAWN
    @given(cases, st.booleans())
    def ask(case: Any, own: bool) -> None:
        if own and isinstance(case.body, dict):
            case.body["token"] = token
        headers = {"Host": "localhost", **({"Cookie": looks.cookie} if looks.cookie else {})}
        where = f"http://127.0.0.1:{looks.port}"
        answer = looks.meanwhile(
            lambda: case.call(base_url=where, headers=headers, allow_redirects=False, timeout=20)
        )
        case.validate_response(answer, checks=checks())

    ask()


def test_every_form_is_described() -> None:
    """A new one is drawn against too."""
    assert {*ACTS, *CHECKS} <= set(FIELDS)


def test_without_a_password(tank: AtTheTank) -> None:
    """Whoever sits at the box."""
    with serving(tank) as looks:
        drawn(looks)


@pytest.mark.parametrize("password", [HOLDERS, ""])
def test_with_passwords(tank: AtTheTank, password: str) -> None:
    """The holder, and somebody before the door."""
    passwords(tank.service.folder)
    with serving(tank) as looks:
        if password:
            assert looks.logs_in(password)[0] == 303
            drawn(looks)
        else:
            for operation in operations():
                _asked(looks, operation, "")
