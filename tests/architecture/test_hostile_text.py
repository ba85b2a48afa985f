"""Text meant to harm, keyed into every field that takes words: kept as words, shown as words, or refused in words."""

import csv
import io
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from hullbook.quantities.fields import QuantityField
from hullbook.records.selectors import book_head, checked_book
from hullbook.web.forms import LogForm
from tests.architecture.standing_yard import StandingYard
from tests.architecture.test_rights import LOGS, MATRIX, READS, address, signed_in
from tests.hulls.test_lines import TENDER
from tests.materials.factories import certificate_pdf

pytestmark = pytest.mark.django_db

HARM = "=cmd|' /C calc'!A0<script>alert(1)</script>\"><img src=x onerror=alert(1)>\u202eLLUH \U0001f6e5 漢"
ASKED_AT_MOST = 6
# What a field wants besides words, where the form cannot tell.
SPECIAL = {
    "readings": "0 10.0\r\n5 10.1\r\n10 10.2\r\n15 10.2\r\n20 10.3\r\n25 10.4",
    "inspection:readings": "45\r\n46\r\n47",
    "received_on": "2026-04-22",
    "made_on": "2026-03-13",
    "use_by": "2027-03-31",
    "due_on": "2027-05-01",
    "length_m": "8.4",
    "beam_m": "2.9",
    "hulls:name": "1",
    "part_names": "Deck",
    "builder_codes": "MWB",
    "initials": "XX",
    "pours:lines": "1; keel; 0; both",
    "pours:inlets": "1; 1; both",
    "pours:stations": "5; 1450",
}


def forms_of(yard: StandingYard, client: Client) -> Iterator[tuple[str, LogForm]]:
    """Every page that logs, with its form as it is first shown."""
    for name, (_, kind) in MATRIX.items():
        answer = client.get(address(yard, name)) if kind == LOGS else None
        form = answer.context.get("form") if answer is not None and answer.context else None
        if isinstance(form, LogForm):
            yield name, form


def takes_words(field: forms.Field) -> bool:
    return isinstance(field, forms.CharField) and "Readings" not in type(field).__name__


# Who it goes under is asked before any form is read; see tests/records/test_views.py.
NOT_KEYED = "logged_by"


def fair(page: str, name: str, field: forms.Field, form: LogForm) -> Any:
    """Something a person might key there."""
    app = page.split(":")[0]
    if name.startswith("gel_"):
        return ""
    if special := SPECIAL.get(f"{app}:{name}", SPECIAL.get(name)):
        return special
    shown = form.get_initial_for_field(field, name)
    if shown not in (None, ""):
        return getattr(shown, "pk", shown)
    if isinstance(field, QuantityField):
        usual = field.range
        return f"{(usual.usual_low + usual.usual_high) / 2:.3f}"
    if isinstance(field, forms.FileField):
        return SimpleUploadedFile("<script>.pdf", certificate_pdf("harm"))
    if isinstance(field, forms.DateField):
        return "2026-05-12"
    if isinstance(field, forms.ChoiceField):
        choices = [str(getattr(value, "value", value)) for value, _ in field.choices if str(value)]
        return choices[:1] if isinstance(field, forms.MultipleChoiceField) else (choices or [""])[0]
    if isinstance(field, forms.IntegerField | forms.FloatField):
        return "1"
    return "" if isinstance(field, forms.BooleanField | forms.DateTimeField) else "X-1"


def keyed(page: str, form: LogForm, words: str) -> dict[str, Any]:
    fields = {}
    for name, field in form.fields.items():
        if name == NOT_KEYED:
            continue
        if takes_words(field):
            fields[name] = words[: getattr(field, "max_length", None) or None]
        else:
            fields[name] = fair(page, name, field, form)
    fields["entry_id"] = str(uuid.uuid4())
    if page == "materials:materials-import":
        fields["file"] = SimpleUploadedFile("x.csv", HARM.encode())
    if page == "hulls:lines-take-in":
        fields["file"] = SimpleUploadedFile("<script>.csv", TENDER.read_bytes())
    return fields


def posted(client: Client, where: str, fields: dict[str, Any]) -> HttpResponse:
    for value in fields.values():
        if isinstance(value, SimpleUploadedFile):
            value.seek(0)
    answer = client.post(where, {name: value for name, value in fields.items() if value is not None})
    assert answer.status_code in (302, 422), where
    return answer


def logged_at_last(page: str, client: Client, where: str, form: LogForm) -> bool:
    """Post harm; where a field does not take it, put something fair there and post again; answer what is asked."""
    fields = keyed(page, form, HARM)
    for _ in range(ASKED_AT_MOST):
        answer = posted(client, where, fields)
        if answer.status_code == 302:
            return True
        assert b"<script>alert" not in answer.content
        assert b"<img src=x" not in answer.content
        said = answer.context["form"]
        fields |= {f"answer-{question.field}": question.given for question in said.questions}
        fields |= {name: fair(page, name, form.fields[name], form) for name in said.errors if name in form.fields}
    return False


@pytest.fixture
def lead(yard: StandingYard) -> Client:
    client = Client()
    client.force_login(yard.people["lead"])
    return client


def test_harm_in_every_field_is_kept_and_shown_as_the_words_it_is(yard: StandingYard, lead: Client) -> None:
    # Closing the pour, striking out and corrections come last, so that they do not take from others what they show.
    # At the very last the browser becomes a tablet, on which there is nothing more to key by password.
    last = ("correct", "close", "strike-out", "tablet-enrol")
    pages = sorted(forms_of(yard, lead), key=lambda page: [page[0].endswith(end) for end in reversed(last)])
    logged = [name for name, form in pages if logged_at_last(name, lead, address(yard, name), form)]
    assert len(logged) >= 30, sorted({name for name, _ in pages} - set(logged))
    lead, seen = signed_in(yard, "lead"), ""
    for name, (_, kind) in MATRIX.items():
        if kind != READS:
            continue
        answer = lead.get(address(yard, name))
        assert answer.status_code in (200, 302, 404), name
        if answer["Content-Type"].startswith("text/html"):
            text = answer.content.decode()
            assert "<script>alert" not in text, name
            assert "<img src=x" not in text, name
            seen += text
        elif answer["Content-Type"].startswith("text/csv"):
            for row in csv.reader(io.StringIO(answer.getvalue().decode())):
                for cell in row:
                    assert not cell.startswith(("=", "+", "@", "\t", "\r")), (name, cell)
                    assert not cell.startswith("-") or float(cell) < 0, (name, cell)
        elif hasattr(answer, "_resource_closers"):
            for close in answer._resource_closers:
                close()
    assert "&lt;script&gt;alert" in seen
    check = checked_book()
    assert check.is_whole, check.because


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ("a\x00b", "NUL"),
        ("a\r\nb", "a line break in a field of one line"),
        ("a\x1bb", "a control character"),
        ("x" * 5000, "too long"),
    ],
)
def test_what_no_field_takes_is_refused_in_words_and_nothing_is_stored(
    yard: StandingYard, lead: Client, words: str, why: str
) -> None:
    head, tried = book_head(), 0
    for page, form in forms_of(yard, lead):
        fair_fields = keyed(page, form, "X-1")
        for name, field in form.fields.items():
            has_lines = isinstance(field.widget, forms.Textarea)
            if name == NOT_KEYED or not isinstance(field, forms.CharField) or (has_lines and "line" in why):
                continue
            answer = posted(lead, address(yard, page), {**fair_fields, name: words})
            assert answer.status_code == 422, (page, name)
            assert answer.context["form"].errors[name], (page, name)
            tried += 1
            if isinstance(field.widget, forms.TextInput):
                break
    assert tried > 20
    assert book_head() == head


@pytest.mark.parametrize("number", ["99999999999999999999", str(-(2**63) - 1)])
def test_a_number_that_no_database_holds_is_none_of_the_choices(yard: StandingYard, lead: Client, number: str) -> None:
    """Past the 64 bits of an integer of SQLite and of PostgreSQL's bigint."""
    head, tried = book_head(), set()
    for page in (name for name, (_, kind) in MATRIX.items() if kind == LOGS):
        form = (lead.get(address(yard, page)).context or {}).get("form")
        for name, field in form.fields.items() if isinstance(form, forms.Form) else ():
            if isinstance(field, forms.ModelChoiceField):
                answer = posted(lead, address(yard, page), {**keyed(page, form, "X-1"), name: number})
                assert answer.context["form"].errors.as_data()[name][0].code == "invalid_choice", (page, name)
                tried.add(f"{page} {name}")
    assert {"pours:mix-log resin_lot", "pours:mended trouble", "hulls:revision-begin based_on"} < tried
    assert len(tried) > 20
    assert book_head() == head
