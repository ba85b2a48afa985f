"""Every page by every hand: nobody gets through who has no right to, and reading writes nothing.

The pages come from the URL table; each must stand in MATRIX with the act it asks for, for looking and for posting.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import quote

import pytest
from django.db import connection
from django.http import FileResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from hullbook.records.selectors import book_head
from hullbook.yard.enums import Role
from hullbook.yard.middleware import TABLET_COOKIE
from hullbook.yard.models import Tablet
from hullbook.yard.perms import Act, Known
from hullbook.yard.services import change_role
from tests.architecture.standing_yard import TABLET_KEY, StandingYard, page_names
from tests.cast import told

pytestmark = pytest.mark.django_db

READS, LOGS, POSTS_ONLY, DOOR, ON_TABLETS = "GET", "GET POST", "POST", "door", "on tablets"

MATRIX: dict[str, tuple[Act | None, str]] = {
    "hulls:shed": (Act.READ, READS),
    "hulls:shed-places": (Act.READ, READS),
    "hulls:shed-place": (Act.ARRANGE_SHED, LOGS),
    "hulls:hull-list": (Act.READ, READS),
    "hulls:hull-lay-down": (Act.LAY_DOWN, LOGS),
    "hulls:hull": (Act.READ, READS),
    "hulls:craft-number-give": (Act.LAY_DOWN, LOGS),
    "hulls:craft-number-correct": (Act.CORRECT_CRAFT_NUMBER, LOGS),
    "hulls:hold-points": (Act.READ, READS),
    "hulls:hold-point-release": (Act.RELEASE_HOLD_POINT, LOGS),
    "hulls:yard-leave": (Act.LEAVE_YARD, LOGS),
    "hulls:entries": (Act.READ, READS),
    "hulls:strike-out": (Act.STRIKE_OUT, LOGS),
    "hulls:entry-correct": (Act.READ, READS),
    "hulls:revision-take": (Act.SIGN_SCHEDULE, LOGS),
    "hulls:lay-up": (Act.READ, READS),
    "hulls:photo": (Act.READ, READS),
    "hulls:photo-pieces": (Act.READ, READS),
    "hulls:photo-piece": (Act.READ, POSTS_ONLY),
    "hulls:photo-log": (Act.LOG, LOGS),
    "hulls:paper-sheets": (Act.LOG, LOGS),
    "hulls:paper-sheet": (Act.READ, READS),
    "hulls:laying-log": (Act.LOG, LOGS),
    "hulls:laying-correct": (Act.LOG, LOGS),
    "hulls:boat-models": (Act.READ, READS),
    "hulls:boat-model-add": (Act.WRITE_SCHEDULE, LOGS),
    "hulls:lines": (Act.READ, READS),
    "hulls:lines-take-in": (Act.WRITE_SCHEDULE, LOGS),
    "hulls:lines-csv": (Act.READ, READS),
    "hulls:schedules": (Act.READ, READS),
    "hulls:revision-begin": (Act.WRITE_SCHEDULE, LOGS),
    "hulls:schedule": (Act.READ, READS),
    "hulls:schedule-write": (Act.WRITE_SCHEDULE, LOGS),
    "hulls:schedule-take-in": (Act.WRITE_SCHEDULE, LOGS),
    "hulls:schedule-csv": (Act.READ, READS),
    "hulls:schedule-sign": (Act.SIGN_SCHEDULE, LOGS),
    "hulls:difference": (Act.READ, READS),
    "yard:sign-in": (None, DOOR),
    "yard:sign-out": (None, POSTS_ONLY),
    "yard:yard": (Act.READ, READS),
    "yard:yard-name": (Act.CHANGE_LIMITS, LOGS),
    "yard:person-add": (Act.CHANGE_PEOPLE, LOGS),
    "yard:role-change": (Act.CHANGE_PEOPLE, LOGS),
    "yard:pin-give": (Act.CHANGE_PEOPLE, LOGS),
    "yard:own-pin": (Act.SET_OWN_PIN, LOGS),
    "yard:tablets": (Act.ENROL_TABLETS, READS),
    "yard:tablet-enrol": (Act.ENROL_TABLETS, LOGS),
    "yard:tablet-lift": (Act.ENROL_TABLETS, LOGS),
    "yard:tablet-state": (Act.READ, READS),
    "yard:waiting": (Act.READ, READS),
    "yard:who": (Act.READ, ON_TABLETS),
    "yard:light": (Act.READ, ON_TABLETS),
    "yard:strip": (Act.READ, ON_TABLETS),
    "yard:setting-up": (Act.READ, READS),
    "yard:bay-add": (Act.CHANGE_LIMITS, LOGS),
    "yard:instrument-add": (Act.CHANGE_LIMITS, LOGS),
    "yard:calibration-add": (Act.CHANGE_LIMITS, LOGS),
    "yard:limit-set": (Act.CHANGE_LIMITS, LOGS),
    "yard:climate-log": (Act.LOG, LOGS),
    "yard:climate": (Act.READ, READS),
    "materials:store": (Act.READ, READS),
    "materials:ledger": (Act.READ, READS),
    "materials:material-list": (Act.READ, READS),
    "materials:materials-import": (Act.WRITE_MATERIALS, LOGS),
    "materials:materials-csv": (Act.EXPORT, READS),
    "materials:material-add": (Act.WRITE_MATERIALS, LOGS),
    "materials:material": (Act.READ, READS),
    "materials:sheet-revise": (Act.WRITE_MATERIALS, LOGS),
    "materials:system-add": (Act.WRITE_MATERIALS, LOGS),
    "materials:system": (Act.READ, READS),
    "materials:receive": (Act.RECEIVE, READS),
    "materials:lot-receive": (Act.RECEIVE, LOGS),
    "materials:lot": (Act.READ, READS),
    "materials:certificate-attach": (Act.RECEIVE, LOGS),
    "materials:certificate": (Act.READ, READS),
    "materials:lot-decide": (Act.HOLD_LOT, LOGS),
    "pours:resin": (Act.READ, READS),
    "pours:plan": (Act.READ, READS),
    "pours:plan-set": (Act.PLAN_RESIN, LOGS),
    "pours:pour-plan": (Act.READ, READS),
    "pours:pour-plan-read": (Act.READ_POUR_PLAN, LOGS),
    "pours:pour-plan-as-read": (Act.READ, READS),
    "pours:pour-checklist": (Act.READ, READS),
    "pours:tried": (Act.READ, READS),
    "pours:gel-cup-log": (Act.LOG, LOGS),
    "pours:trial-panel-log": (Act.LOG, LOGS),
    "pours:tried-strike-out": (Act.STRIKE_OUT, LOGS),
    "pours:hold-tests": (Act.READ, READS),
    "pours:hold-test-log": (Act.LOG, LOGS),
    "pours:hold-test": (Act.READ, READS),
    "pours:begin": (Act.POUR, LOGS),
    "pours:pour": (Act.READ, READS),
    "pours:mix-log": (Act.LOG, LOGS),
    "pours:mix-correct": (Act.LOG, LOGS),
    "pours:remainder-log": (Act.LOG, LOGS),
    "pours:gel-log": (Act.LOG, LOGS),
    "pours:close": (Act.POUR, LOGS),
    "pours:layout-log": (Act.LOG, LOGS),
    "pours:day": (Act.READ, READS),
    "pours:sheet": (Act.READ, READS),
    "pours:inlet-log": (Act.LOG, LOGS),
    "pours:front-log": (Act.LOG, LOGS),
    "pours:reading-log": (Act.LOG, LOGS),
    "pours:trouble-log": (Act.LOG, LOGS),
    "pours:mended": (Act.LOG, LOGS),
    "pours:pail-end": (Act.LOG, LOGS),
    "pours:note": (Act.LOG, LOGS),
    "pours:sound": (Act.LOG, LOGS),
    "pours:alarm": (Act.LOG, LOGS),
    "pours:questions": (Act.READ, READS),
    "pours:answer": (Act.LOG, LOGS),
    "pours:gaps": (Act.READ, READS),
    "cure:cure": (Act.READ, READS),
    "cure:reading-log": (Act.LOG, LOGS),
    "cure:demould-log": (Act.LOG, LOGS),
    "inspection:shed-stages": (Act.READ, READS),
    "inspection:stages": (Act.READ, READS),
    "inspection:now": (Act.READ, READS),
    "inspection:kept": (Act.READ, READS),
    "inspection:missing": (Act.READ, READS),
    "inspection:findings": (Act.READ, READS),
    "inspection:decide": (Act.DECIDE_FINDING, LOGS),
    "inspection:resin": (Act.READ, READS),
    "inspection:resin-csv": (Act.EXPORT, READS),
    "inspection:finding-log": (Act.LOG, LOGS),
    "inspection:finding-correct": (Act.LOG, LOGS),
    "inspection:hardness": (Act.READ, READS),
    "inspection:hardness-log": (Act.LOG, LOGS),
    "inspection:hardness-correct": (Act.LOG, LOGS),
    "inspection:balance": (Act.READ, READS),
    "inspection:weighing-log": (Act.LOG, LOGS),
    "inspection:weighing-correct": (Act.LOG, LOGS),
    "dossier:dossier": (Act.READ, READS),
    "dossier:issue": (Act.ISSUE_DOSSIER, POSTS_ONLY),
    "dossier:draw": (Act.READ, READS),
    "dossier:download": (Act.READ, READS),
    "web:service-worker": (None, READS),
    "web:manifest": (None, READS),
    "trace:trace": (Act.TRACE, READS),
    "trace:lot": (Act.TRACE, READS),
    "trace:hull": (Act.TRACE, READS),
    "trace:batch": (Act.TRACE, READS),
}
# What a browser asks for before anybody has signed in: files of the pages, no word of the yard.
OPEN_TO_ALL = {"web:service-worker", "web:manifest"}
# Pages about one earlier entry. In the yard of these tests it was logged just now, the first ones by the builder MO:
# beside the one whose entry it is, the quality lead may.
OWN_OR_LEAD = {
    "hulls:strike-out",
    "pours:tried-strike-out",
    "hulls:laying-correct",
    "pours:mix-correct",
    "inspection:finding-correct",
    "inspection:hardness-correct",
    "inspection:weighing-correct",
}
# The dossier is read by everybody; for the quality lead its page has the form that issues it.
ISSUES_HERE = ("dossier:dossier", "lead")
# Not pages but answers about the page asked for: a revision that is signed, a line that is not chosen yet.
SHOWN = {200, 302, 409}
ROLES = {"lead": Role.QUALITY_LEAD, "builder": Role.BUILDER, "office": Role.OFFICE}
PAGES = sorted(set(page_names()))
INSIDE = [name for name in PAGES if MATRIX.get(name, (Act.READ, ""))[0] is not None]


def address(yard: StandingYard, name: str) -> str:
    return reverse(name, args=yard.arguments[name])


def signed_in(yard: StandingYard, who: str, *, enforce_csrf_checks: bool = False) -> Client:
    client = Client(enforce_csrf_checks=enforce_csrf_checks)
    client.force_login(yard.people[who])
    return client


@contextmanager
def nothing_written() -> Iterator[None]:
    """Neither the book's head moves nor any row of any table is touched."""
    head = book_head()
    with CaptureQueriesContext(connection) as asked:
        yield
    writing = [one["sql"][:120] for one in asked if one["sql"].lstrip().upper().startswith(("INSERT", "UPDATE", "DEL"))]
    assert writing == []
    assert book_head() == head


def may(name: str, who: str) -> bool:
    act, _ = MATRIX[name]
    if act is None:
        return True
    if who not in ROLES or ROLES[who] not in act.roles:
        return False
    return name not in OWN_OR_LEAD or who in ("builder", "lead")


def test_every_page_has_its_row_and_no_row_is_without_its_page(yard: StandingYard) -> None:
    assert set(PAGES) == set(MATRIX)
    assert set(PAGES) == set(yard.arguments)


@pytest.mark.parametrize("name", PAGES)
def test_who_is_not_signed_in_is_sent_to_the_door_and_sees_nothing(yard: StandingYard, name: str) -> None:
    client, where = Client(), address(yard, name)
    for answer in (client.get(where), client.post(where)):
        if name == "yard:sign-in" or name in OPEN_TO_ALL:
            assert answer.status_code in (200, 405, 422)
            continue
        assert answer.status_code == 302
        assert answer["Location"] == f"{reverse('yard:sign-in')}?next={quote(where)}"
        assert answer.content == b""


@pytest.mark.parametrize("name", PAGES)
def test_a_script_that_is_not_signed_in_is_told_so_in_json_and_never_sent_to_the_door(
    yard: StandingYard, name: str
) -> None:
    client, where, asking = Client(), address(yard, name), {"Accept": "application/json"}
    for answer in (client.get(where, headers=asking), client.post(where, headers=asking)):
        if name != "yard:sign-in" and name not in OPEN_TO_ALL:
            assert (answer.status_code, answer.json()) == (401, {"why": "not signed in"})


def _let_go_of_files(answer: Any) -> None:
    """Closing the answer itself would close the test's database too."""
    if isinstance(answer, FileResponse):
        assert answer.getvalue()
        for close in answer._resource_closers:
            close()


@pytest.mark.parametrize("name", PAGES)
def test_looking_is_for_whom_the_matrix_says_and_writes_nothing(yard: StandingYard, name: str) -> None:
    act, kind = MATRIX[name]
    where = address(yard, name)
    for who in yard.people:
        client = signed_in(yard, who)
        with nothing_written():
            answer = client.get(where)
        _let_go_of_files(answer)
        if kind == ON_TABLETS:
            assert answer.status_code in (403, 404, 405), who
        elif not may(name, who):
            assert answer.status_code in ((405,) if kind == POSTS_ONLY else (403,)), who
            assert act is not None
            assert b"<form" not in answer.content or b"sign-out" in answer.content
        else:
            assert answer.status_code in ({405} if kind == POSTS_ONLY else SHOWN), who


@pytest.mark.parametrize("name", INSIDE)
def test_posting_is_for_whom_the_matrix_says_and_nothing_empty_goes_into_the_book(
    yard: StandingYard, name: str
) -> None:
    _, kind = MATRIX[name]
    where, head = address(yard, name), book_head()
    for who in yard.people:
        answer = signed_in(yard, who).post(where)
        if kind == READS:
            assert answer.status_code == 405, who
        elif kind == ON_TABLETS:
            assert answer.status_code in (403, 404, 405), who
        elif not may(name, who):
            assert answer.status_code == 403, who
        else:
            # A laying is asked for by the line it is about; without one the page shows the lines.
            assert answer.status_code == (200 if name == "hulls:laying-log" else 422), who
    assert book_head() == head


@pytest.mark.parametrize("name", [name for name in PAGES if MATRIX[name][1] != READS])
def test_a_post_that_does_not_come_from_our_own_page_is_refused(yard: StandingYard, name: str) -> None:
    client = signed_in(yard, "lead", enforce_csrf_checks=True)
    for headers in ({}, {"Origin": "https://elsewhere.invalid"}, {"X-CSRFToken": "x" * 64}):
        for kind in ("application/x-www-form-urlencoded", "text/plain", "application/json"):
            with nothing_written():
                answer = client.post(address(yard, name), "entry_id=1", content_type=kind, headers=headers)
            assert answer.status_code == 403


def at_tablet(yard: StandingYard, lit: str = "") -> Client:
    Tablet.objects.update(lit=yard.people.get(lit), last_seen_at=timezone.now())
    client = Client()
    client.cookies[TABLET_COOKIE] = TABLET_KEY
    return client


@pytest.mark.parametrize("name", INSIDE)
def test_on_a_tablet_with_nobody_lit_what_shows_is_read_and_all_else_asks_who(yard: StandingYard, name: str) -> None:
    act, kind = MATRIX[name]
    assert act is not None
    client, where = at_tablet(yard), address(yard, name)
    with nothing_written():
        answer = client.get(where)
    _let_go_of_files(answer)
    posted, head = client.post(where), book_head()
    if act.known is Known.PASSWORD:
        assert (answer.status_code, posted.status_code) == (403, 405 if kind == READS else 403)
    elif kind == POSTS_ONLY or name == "yard:light":
        assert answer.status_code == 405
    elif act.known is Known.NOBODY:
        assert answer.status_code in SHOWN
    else:
        assert (answer.status_code, answer["Location"].partition("?")[0]) == (302, reverse("yard:who"))
    if kind in (LOGS, POSTS_ONLY) and act.known in (Known.TILE, Known.PIN):
        assert posted.status_code == 422
        assert b"Who is logging this?" in posted.content
    elif kind == READS:
        assert posted.status_code == 405
    assert book_head() == head


@pytest.mark.parametrize("who", ["lead", "builder", "office"])
@pytest.mark.parametrize("name", [name for name in INSIDE if MATRIX[name][1] != ON_TABLETS])
def test_on_a_tablet_a_tile_opens_what_its_role_may_but_nothing_that_asks_for_a_password(
    yard: StandingYard, name: str, who: str
) -> None:
    act, kind = MATRIX[name]
    assert act is not None
    client, where = at_tablet(yard, who), address(yard, name)
    answer = client.get(where)
    _let_go_of_files(answer)
    if kind == POSTS_ONLY:
        assert answer.status_code == 405
        answer = client.post(where)
    allowed = may(name, who) and act.known is not Known.PASSWORD
    assert answer.status_code in (SHOWN | {422} if allowed else {403}), who
    if allowed and answer.status_code != 302 and not isinstance(answer, FileResponse):
        assert (b'name="pin"' in answer.content) == (act.known is Known.PIN or (name, who) == ISSUES_HERE)


UNKNOWN: dict[type, tuple[object, ...]] = {
    str: ("NO-SUCH", "' OR 1=1 --", "a\x00b", "\u202eLLUH", "é" * 300),
    int: (987654, 10**30),
}


@pytest.mark.parametrize("name", [name for name in INSIDE if name not in ("materials:receive", "trace:trace")])
def test_what_is_not_there_is_not_found_by_any_page(yard: StandingYard, name: str) -> None:
    arguments = yard.arguments[name]
    client = signed_in(yard, "lead")
    method = client.post if MATRIX[name][1] == POSTS_ONLY else client.get
    for place, argument in enumerate(arguments):
        for other in UNKNOWN[type(argument)]:
            try:
                where = reverse(name, args=[*arguments[:place], other, *arguments[place + 1 :]])
            except NoReverseMatch:
                # Of limits and decisions the URL table itself knows which there are.
                assert name in ("yard:limit-set", "materials:lot-decide")
                continue
            assert method(where).status_code == 404, where


def test_a_hull_is_not_reached_through_another(yard: StandingYard) -> None:
    client = signed_in(yard, "lead")
    hull = yard.berth.hull.number
    for name, arguments in yard.arguments.items():
        if arguments[:1] != (hull,) or len(arguments) < 2 or not isinstance(arguments[-1], int):
            continue
        if name == "hulls:hold-point-release":
            continue
        assert client.get(reverse(name, args=["MB84-02", *arguments[1:]])).status_code in (404, 405), name


@pytest.mark.parametrize("key", ["q", "page", "before", "line", "material", "system", "above", "next"])
@pytest.mark.parametrize("value", ["\x00", "-1", "9" * 40, "²", "<script>alert(1)</script>", "\u202e", "x" * 5000])
def test_whatever_stands_behind_the_question_mark_no_page_breaks(yard: StandingYard, key: str, value: str) -> None:
    asking = {
        "q": ["trace:trace"],
        "page": ["materials:store", "materials:ledger"],
        "before": ["hulls:entries"],
        "line": ["hulls:laying-log"],
        "material": ["hulls:laying-log"],
        "system": ["hulls:schedule", "hulls:difference"],
        "above": ["cure:cure"],
        "next": ["yard:sign-in", "hulls:shed"],
    }
    client = signed_in(yard, "lead")
    for name in asking[key]:
        answer = client.get(address(yard, name), {key: value})
        assert answer.status_code in (200, 404, 422), name
        assert b"<script>alert" not in answer.content


def test_a_role_taken_away_works_at_the_next_page(yard: StandingYard) -> None:
    client = signed_in(yard, "builder")
    where = address(yard, "pours:begin")
    assert client.get(where).status_code == 200
    change_role(person=yard.people["builder"], role=Role.BUILDER, holds=False, told=told(at=timezone.now()))
    assert client.get(where).status_code == 403
    assert client.get(address(yard, "hulls:shed")).status_code == 403


def test_somebody_who_may_no_longer_come_in_is_outside_at_the_next_page(yard: StandingYard) -> None:
    client = signed_in(yard, "builder")
    person = yard.people["builder"]
    assert client.get(address(yard, "hulls:shed")).status_code == 200
    person.is_active = False
    person.save()
    try:
        answer = client.get(address(yard, "hulls:shed"))
        assert answer.status_code == 302
        assert answer["Location"].startswith(reverse("yard:sign-in"))
    finally:
        person.is_active = True


def test_one_who_may_look_at_a_lot_may_not_release_it(yard: StandingYard) -> None:
    code = yard.berth.shelf.lot(yard.berth.shelf.resin).code
    for decision, act in {
        "release": Act.RELEASE_LOT,
        "reject": Act.RELEASE_LOT,
        "hold": Act.HOLD_LOT,
        "used-up": Act.HOLD_LOT,
    }.items():
        where = reverse("materials:lot-decide", args=[code, decision])
        for who, role in ROLES.items():
            client = signed_in(yard, who)
            assert client.get(where).status_code == (200 if role in act.roles else 403), (decision, who)
