"""Who is let into the page, and what may be done from it."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from tests.mutants.mutant import mutants_of

APP = mutants_of(
    "daemon/page/app.py",
    "tests/page/test_app.py",
    (
        (
            "page lets in no other name",
            '        if scope["type"] == "http" and not self._is_ours(scope):\n',
            "        if False:\n",
            "test_names_it_was_told_are_let_in tests/page/test_server.py::test_a_name_that_is_not_ours_gets_nothing",
        ),
        (
            "page shows a stranger the door",
            "        if visitor is None:\n            return _response(elsewhere(",
            "        if False:\n            return _response(elsewhere(",
            "test_a_stranger_sees_the_door",
        ),
        (
            "page tells a stranger nothing",
            "        if self._visitor(request, by_itself=True) is None:\n",
            "        if False:\n",
            "test_a_stranger_hears_nothing",
        ),
        (
            "page does nothing for a stranger",
            '            raise Refused(HTTPStatus.UNAUTHORIZED, "Log in first: nothing was done.", back="/login")\n',
            '            visitor = Visitor(Rank.HOLDER, form.get("token", ""))\n',
            "test_a_stranger_does_nothing",
        ),
        (
            "page form of another site",
            '        raise Refused(HTTPStatus.FORBIDDEN, "The form is of another site: nothing was done.")\n',
            "        return\n",
            "test_a_form_of_another_site_is_refused_where_the_browser_says_so",
        ),
        (
            "page form without its token",
            '        if not secrets.compare_digest(form.get("token", "").encode(), visitor.token.encode()):\n',
            "        if False:\n",
            "test_another_logins_form_does_nothing tests/page/test_server.py::test_another_sites_form_does_nothing",
        ),
        (
            "page form of a guest",
            '        if not visitor.may_act and request.url.path != "/logout":\n',
            "        if False:\n",
            "test_a_guest_cannot_post",
        ),
        (
            "page asks for the password again",
            "        if act.raises:\n",
            "        if False:\n",
            "test_what_may_make_it_dose_is_refused_without_the_holders_password",
        ),
        (
            "page raises nothing without a password",
            "        if not visitor.may_raise:\n            text",
            "        if visitor.rank is Rank.OPEN:\n            return\n        if not visitor.may_raise:\n            text",
            "tests/page/test_server.py::test_what_may_make_it_dose_is_not_offered_without_a_password",
        ),
        (
            "page raises nothing by the guest's password",
            ", of_holder=True)\n        if tried.rank is not Rank.HOLDER:\n",
            ")\n        if tried.rank is None:\n",
            "test_what_may_make_it_dose_is_refused_without_the_holders_password",
        ),
        (
            "page form that is too large",
            "    if not (length.isascii() and length.isdigit() and int(length) <= largest):\n",
            "    if False:\n",
            "tests/page/test_server.py::test_a_form_that_is_too_large_is_not_read",
        ),
        (
            "page cookie no script sees",
            "            httponly=True,\n",
            "",
            "test_the_holder_comes_in_and_goes",
        ),
        (
            "page cookie no other site sends",
            '            samesite="strict",\n',
            '            samesite="none",\n',
            "test_the_holder_comes_in_and_goes",
        ),
        (
            "page cookie goes by TLS only",
            "            secure=self._place.by_tls,\n",
            "            secure=False,\n",
            "test_by_tls_the_cookie_is_bound_to_it_and_to_this_host",
        ),
        (
            "page logs out here too",
            '        self._door.logout(self._identity(request))\n        response = _response(elsewhere("/login"))\n',
            '        response = _response(elsewhere("/login"))\n',
            "test_the_holder_comes_in_and_goes",
        ),
        (
            "page login ends the one before it",
            "        self._door.logout(self._identity(request))\n        response = _response(elsewhere(to))\n",
            "        response = _response(elsewhere(to))\n",
            "test_another_logins_form_does_nothing",
        ),
        (
            "page goes on to a view of its own",
            '    return form["to"] if form.get("to") in VIEWS else "/"\n',
            '    return form.get("to", "/")\n',
            "test_after_the_login_it_goes_on_here",
        ),
        (
            "page believes no header about where one comes from",
            "        if self._place.behind_proxy:\n            last",
            "        if True:\n            last",
            "test_without_a_proxy_nobody_says_where_they_come_from",
        ),
        (
            "page believes what the proxy put last",
            '.rpartition(",")[2].strip()',
            '.partition(",")[0].strip()',
            "test_behind_a_proxy_each_address_is_its_own",
        ),
    ),
)

DOOR = mutants_of(
    "daemon/page/door.py",
    "tests/page/test_app.py",
    (
        (
            "page waits after wrong passwords",
            "        if wait_s > 0.0:\n",
            "        if False:\n",
            "test_too_many_wrong_ones_have_to_wait test_guessing_in_a_form_counts_as_guessing_at_the_door",
        ),
        (
            "page counts each try",
            "        self._attempts.begins(address, self._now_s())\n",
            "",
            "test_too_many_wrong_ones_have_to_wait",
        ),
        (
            "page new password logs all out",
            "            self._sessions.end_all()\n",
            "",
            "test_a_new_password_logs_everybody_out",
        ),
        (
            "page stays shut when its file is lost",
            "self._locked = self._locked or keys.holder is not None",
            "self._locked = keys.holder is not None",
            "test_a_password_set_while_it_runs_counts_at_once",
        ),
    ),
)

KEPT = (
    *mutants_of(
        "daemon/page/sessions.py",
        "tests/page/test_sessions.py",
        (
            (
                "page session ends without a look",
                "now_s - self.seen_s < idle_s and ",
                "",
                "test_it_ends_without_a_look_and_at_the_latest",
            ),
            (
                "page session ends at the latest",
                " and now_s - self.begun_s < longest_s",
                "",
                "test_it_ends_without_a_look_and_at_the_latest",
            ),
            (
                "page session is kept on by a person",
                "        if not by_itself:\n",
                "        if True:\n",
                "test_a_page_that_renews_itself_does_not_make_it_last",
            ),
        ),
    ),
    *mutants_of(
        "daemon/page/attempts.py",
        "tests/page/test_attempts.py",
        (
            (
                "page tries of all together",
                " if len(self._all) >= IN_ALL else 0.0",
                " if False else 0.0",
                "test_all_together_are_bounded",
            ),
            (
                "page guest makes no room for guessing",
                "tried.wrong = 0 if forgets else tried.wrong - 1",
                "tried.wrong = 0",
                "test_the_right_one_of_the_holder_forgets_the_wrong_ones",
            ),
        ),
    ),
    *mutants_of(
        "daemon/page/passwords.py",
        "tests/page/test_passwords.py",
        (
            (
                "page password too short",
                "    if not SHORTEST <= len(password) <= LONGEST:\n",
                "    if False:\n",
                "test_a_password_too_short_or_too_long_is_refused",
            ),
            (
                "page passwords for their owner alone",
                "        mask = os.umask(0o777 & ~MODE)\n",
                "        mask = os.umask(0o022)\n",
                "test_the_file_is_its_owners_and_holds_no_password",
            ),
            (
                "page spoiled passwords are not none",
                "            self._seen = None\n            raise PasswordError(",
                "            return Keys()\n            raise PasswordError(",
                "test_a_spoiled_file_is_no_password_and_not_none",
            ),
            (
                "page passwords that are too weak or too costly",
                "    if not (within and len(salt)",
                "    if not (len(salt)",
                "test_a_spoiled_file_is_no_password_and_not_none",
            ),
        ),
    ),
    *mutants_of(
        "daemon/page/place.py",
        "tests/page/test_place.py",
        (
            (
                "page on the network has a password",
                "    if (behind_proxy or not _loopback(address)) and not has_password:\n",
                "    if False:\n",
                "test_the_network_needs_a_password test_behind_a_proxy_there_is_a_password_too",
            ),
            (
                "page on the network has TLS",
                "    if certificate is None and not _loopback(address):\n",
                "    if False:\n",
                "test_the_network_needs_tls",
            ),
            (
                "page behind a proxy is on loopback",
                "    if behind_proxy and not _loopback(address):\n",
                "    if False:\n",
                "test_a_proxy_is_on_this_box",
            ),
        ),
    ),
)

FORMS = mutants_of(
    "daemon/page/views/forms.py",
    "tests/page/test_app.py",
    (
        (
            "page offers a guest no form",
            "    if not (visitor.may_raise if raises else visitor.may_act):\n",
            "    if False:\n",
            "test_a_guest_looks_and_is_offered_no_form",
        ),
    ),
)

ASKED = (
    *mutants_of(
        "daemon/page/checks.py",
        "tests/page/test_views.py",
        (
            (
                "page checks a copy from the settings' folder",
                "Path(folder or NOWHERE)",
                "Path()",
                "test_a_copy_is_checked_from_the_folder_of_the_settings",
            ),
        ),
    ),
    *mutants_of(
        "daemon/page/mixing.py",
        "tests/page/test_mixing.py",
        (
            (
                "page mixes within bounds",
                "    if not (low <= number <= high and number > 0.0):\n",
                "    if False:\n",
                "test_what_cannot_be_is_told_with_what_is_allowed",
            ),
        ),
    ),
)

FITTED = mutants_of(
    "daemon/page/views/fitted.py",
    "tests/page/test_views.py",
    (
        (
            "calibrate view: an odd one is kept only on a word for it",
            "        *accept,\n",
            "",
            "test_an_odd_calibration_wants_a_word_for_it",
        ),
    ),
)

DONE = mutants_of(
    "daemon/page/acts.py",
    "tests/page/test_app.py",
    (
        (
            "page primes over a cup alone",
            '    _ticked(form, "cup", "the end of the tube is in an empty cup: nothing ran")\n',
            "",
            "test_a_tube_is_filled_over_a_cup_and_within_bounds",
        ),
        (
            "page keeps a stop-gap as one alone",
            'for name in ("accept", "stop_gap")}',
            'for name in ("accept",)}',
            "tests/page/test_views.py::test_one_buffer_makes_a_stop_gap",
        ),
        (
            "page keeps what is odd with a word for it",
            'said_so = {name: form.get(name) == "yes" for name in',
            "said_so = {name: True for name in",
            "tests/page/test_views.py::test_one_buffer_makes_a_stop_gap",
        ),
        (
            "page primes by the password",
            '"/prime": Act("/doses", _prime, raises=True',
            '"/prime": Act("/doses", _prime, raises=False',
            "test_a_tube_is_filled_by_the_password_and_who_asked_is_written_down",
        ),
        *(
            (
                f"page notes what hands did by the password: {path}",
                f'    "{path}": Act({lines}raises=True',
                f'    "{path}": Act({lines}raises=False',
                "tests/page/test_by_hand.py::test_it_is_told_by_the_password_alone",
            )
            for path, lines in (
                ("/bottle", '"/doses", _bottle, '),
                ("/tube", '"/doses", _tube, '),
                ("/poured", '\n        "/doses",\n        _poured,\n        '),
            )
        ),
        (
            "page counts a bottle as full with a word for it",
            '    _ticked(form, "full", "the bottle is filled to the top: nothing was noted")\n',
            "",
            "tests/page/test_by_hand.py::test_what_cannot_be_is_told_and_nothing_noted",
        ),
        (
            "page takes water for new by the password",
            'Act("/doses/water", _end_change, raises=True, ',
            'Act("/doses/water", _end_change, ',
            "tests/page/test_new_water.py::test_the_word_for_it_is_a_tick_and_the_password",
        ),
        (
            "page takes water for new with a word for it",
            '    _ticked(form, "new", "all of the water is new and mixed: nothing was noted")\n',
            "",
            "tests/page/test_new_water.py::test_the_word_for_it_is_a_tick_and_the_password",
        ),
        (
            "page runs a pump to measure it by the password",
            'Act("/doses/measure", _run_timed, raises=True, ',
            'Act("/doses/measure", _run_timed, ',
            "tests/page/test_measuring.py::test_each_run_asks_for_the_password_and_a_cylinder",
        ),
        (
            "page keeps a rate by the password",
            'Act("/doses/measure", _keep_rate, raises=True, ',
            'Act("/doses/measure", _keep_rate, ',
            "tests/page/test_measuring.py::test_the_new_rate_is_kept_by_the_password",
        ),
        (
            "page runs a pump over a cylinder alone",
            """    _ticked(form, "cup", "the tube's end is in an empty cylinder: nothing ran")\n""",
            "",
            "tests/page/test_measuring.py::test_each_run_asks_for_the_password_and_a_cylinder",
        ),
        (
            "page runs a pump once for one form",
            "run_s=run_s, runs=runs)",
            "run_s=run_s)",
            "tests/page/test_measuring.py::test_the_same_form_sent_twice_is_no_second_run",
        ),
        (
            "page is not sure of itself",
            'form.get("sure") == "yes"',
            "True",
            "tests/page/test_by_hand.py::test_more_than_a_dose_is_asked_about_once_more",
        ),
        (
            "page charges once what was told once",
            "self.carried if done else (*self.carried, *self.typed)",
            "(*self.carried, *self.typed)",
            "tests/page/test_by_hand.py::test_what_was_poured_is_charged_with_who_and_why",
        ),
    ),
)

PATIENCE = mutants_of(
    "daemon/page/server.py",
    "tests/page/test_server.py",
    (
        (
            "page ends a request that does not arrive",
            "            self._late = self.loop.call_later(READ_S, self.transport.abort)\n",
            "            pass\n",
            "test_a_request_that_does_not_arrive_ends test_a_form_that_does_not_arrive_ends",
        ),
        (
            "page ends an answer that is not taken",
            "        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, int(TAKEN_S * 1000))\n",
            "",
            "test_an_answer_that_is_not_taken_ends",
        ),
        (
            "page bounds its connections",
            "        limit_concurrency=MOST_AT_ONCE,\n",
            "",
            "test_more_connections_than_there_is_room_for_are_told",
        ),
    ),
)

WATCHED = (
    *mutants_of(
        "daemon/page/events.py",
        "tests/page/test_events.py",
        (
            (
                "page keeps one message for each who watches",
                "            if place.full():  # not taken yet, and no longer the newest\n                place.get_nowait()\n",
                "            if place.full():\n                continue\n",
                "test_who_does_not_listen_gets_the_newest_and_no_more",
            ),
            (
                "page ends a stream with its session",
                " or not still():\n",
                ":\n",
                "test_who_may_no_longer_watch_is_told_nothing_more",
            ),
            (
                "page bounds those who watch",
                "        return len(self._places) >= MOST_WATCHING\n",
                "        return False\n",
                "test_more_than_there_is_room_for_are_told_later",
            ),
        ),
    ),
    *mutants_of(
        "daemon/desk/requests.py",
        "tests/page/test_app.py",
        (
            (
                "page tells the ledger who asked",
                'f"{self.origin.value}, {self.by}" if self.by else self.origin.value',
                "self.origin.value",
                "test_a_release_asks_for_the_password_and_is_written_down",
            ),
        ),
    ),
)

PAGE = (*APP, *DOOR, *KEPT, *FORMS, *DONE, *ASKED, *FITTED, *PATIENCE, *WATCHED)
