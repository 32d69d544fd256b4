"""What the page's views ask for before they do, or tell, anything."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from tests.mutants.mutant import mutants_of

VIEWS_TESTS = "tests/page/test_views.py"

ACTS = mutants_of(
    "daemon/page/acts.py",
    VIEWS_TESTS,
    (
        (
            "page keeps a calibration by the password",
            '    "/calibrate/keep": Act("/calibrate", _keep, carried=_OF_A_PROBE, raises=True, at_once=True),\n',
            '    "/calibrate/keep": Act("/calibrate", _keep, carried=_OF_A_PROBE, at_once=True),\n',
            "test_the_holder_keeps_one_by_the_password",
        ),
        (
            "page hears that a probe is back by the password",
            '    "/calibrate/back": Act("/calibrate", _back, carried=_OF_A_PROBE, raises=True),\n',
            '    "/calibrate/back": Act("/calibrate", _back, carried=_OF_A_PROBE),\n',
            "test_the_holder_keeps_one_by_the_password",
        ),
    ),
)
APP = mutants_of(
    "daemon/page/app.py",
    VIEWS_TESTS,
    (
        (
            "page checks nothing for a guest",
            "        visitor = self._may_act(request, form)\n        return _response(await self._beside(self._page.check,",
            '        visitor = Visitor(Rank.HOLDER, "")\n        return _response(await self._beside(self._page.check,',
            "test_a_guest_follows_and_begins_nothing",
        ),
        (
            "page gives a stranger no table",
            '            raise Refused(HTTPStatus.UNAUTHORIZED, "Log in first.", back="/login")\n        asked =',
            '            visitor = Visitor(Rank.GUEST, "")\n        asked =',
            "test_a_stranger_gets_no_table",
        ),
    ),
)
CALIBRATE = mutants_of(
    "daemon/page/views/calibrate.py",
    VIEWS_TESTS,
    (
        (
            "calibrate view: where two bottles fit none is chosen",
            '    only = look.candidates[0] if len(look.candidates) == 1 else ""\n',
            '    only = look.candidates[0] if look.candidates else ""\n',
            "test_where_two_bottles_fit_the_signal_none_is_chosen",
        ),
    ),
)
LOOKS = (*ACTS, *APP, *CALIBRATE)
