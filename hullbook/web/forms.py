"""The one kind of form by which anything is logged."""

import re
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone
from django.utils.functional import cached_property

from hullbook.calc.chain import fingerprint
from hullbook.quantities.fields import QuantityField
from hullbook.web.clocks import YEARS_TAKEN, tablet_time

NOT_FINGERPRINTED = frozenset({"csrfmiddlewaretoken", "pin"})
# All but the line breaks of a field that has several lines.
CONTROL_CHARACTER = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029]")
CONTROL_CHARACTER_OR_BREAK = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")


@dataclass(frozen=True)
class Question:
    """Asked once about an unlikely value; `likely`, where known, is offered as its own answer."""

    field: str
    given: str
    sentence: str
    likely: str | None = None


def _digest(file: "UploadedFile[Any]") -> str:
    file.seek(0)
    digest = sha256()
    for chunk in file.chunks():
        digest.update(chunk)
    file.seek(0)
    return digest.hexdigest()


PAPER_SHEET = "paper_sheet"


class OneOfField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """One row of a table. A number past what a database holds is none of the choices, as any other unknown one."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"empty_label": "choose", **kwargs})

    def to_python(self, value: Any) -> Any:
        try:
            return super().to_python(value)
        except OverflowError as far_off:
            words = self.error_messages["invalid_choice"]
            raise forms.ValidationError(words, code="invalid_choice", params={"value": value}) from far_off


class PinField(forms.CharField):
    """The PIN of the person whose tile is lit. It is keyed each time, and whether it is right is asked last."""

    def __init__(self) -> None:
        super().__init__(
            required=False,
            max_length=40,
            label="PIN",
            help_text="Your own; you sign with it.",
            widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        )


class LogForm(forms.Form):
    """A form whose acceptance becomes one entry in the book.

    It carries the entry's own id, made when the form was shown, so that the same form sent twice is stored once. Values
    that are possible but unlikely are asked about: the answer comes back as `answer-<field>` (right as given) or
    `instead-<field>` (the likely value taken), and is kept with the entry.

    A tablet's outbox fills in when it was tapped by the tablet's own clock, the tablet's number for it and whose tile
    was lit; a form keyed and sent on a page leaves them empty.
    """

    act = "Put it in the book"
    takes_photos = False
    # Whether what it asks also stands on a paper sheet, from which it may be copied.
    takes_paper = False

    # A tap's time by the server's clock, from that of the tablet and its number; given by whoever takes the form in.
    put_right: Callable[[datetime, int | None], datetime] = staticmethod(lambda tapped_at, sequence: tapped_at)

    entry_id = forms.UUIDField(widget=forms.HiddenInput)
    tapped_at = forms.DateTimeField(required=False, widget=forms.HiddenInput)
    sequence = forms.IntegerField(required=False, min_value=1, max_value=2**53 - 1, widget=forms.HiddenInput)
    logged_by = forms.CharField(required=False, max_length=4, widget=forms.HiddenInput)
    happened_at = forms.DateTimeField(
        label="When it happened",
        required=False,
        help_text="Empty: now. Else as 2026-11-18 10:37.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, data: Any = None, *args: Any, **kwargs: Any) -> None:
        self.posted = data
        super().__init__(self._with_answers_taken(data), *args, **kwargs)
        self.initial.setdefault("entry_id", uuid.uuid4())
        self.questions: list[Question] = []
        self.confirmed: list[Question] = []
        if self.takes_paper:
            self.fields[PAPER_SHEET] = forms.IntegerField(
                required=False,
                min_value=1,
                max_value=9999,
                label="Copied from paper sheet",
                help_text="Its number, where it was written by hand first; then give the time on the sheet too.",
                widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            )
        last = ["happened_at", PAPER_SHEET]
        self.order_fields([*[name for name in self.fields if name not in last], *last])

    @cached_property
    def fingerprint(self) -> str:
        """Of everything that was posted, files by the hash of their bytes; worked out once the form is accepted.

        It stays in the book, so nothing secret goes into it: whoever has the book could try passwords against it.
        """
        secret = {name for name, field in self.fields.items() if isinstance(field.widget, forms.PasswordInput)}
        left_out = NOT_FINGERPRINTED | secret
        files: dict[str, Any] = self.files
        fields = [(name, value) for name, values in self.posted.lists() if name not in left_out for value in values]
        return fingerprint([*fields, *((name, _digest(file)) for name, file in files.items())])

    @staticmethod
    def _with_answers_taken(data: Any) -> Any:
        if data is None:
            return None
        taken = data.copy()
        for name in data:
            if name.startswith("instead-"):
                taken[name.removeprefix("instead-")] = data[name]
        return taken

    def full_clean(self) -> None:
        for field in self.fields.values():
            if field.error_messages.get("required") == forms.Field.default_error_messages["required"]:
                field.error_messages["required"] = "This is missing; give it."
        super().full_clean()
        if self.is_bound:
            self._refuse_control_characters()

    def _refuse_control_characters(self) -> None:
        for name, field in self.fields.items():
            if not isinstance(field, forms.CharField) or name in self.errors:
                continue
            has_lines = isinstance(field.widget, forms.Textarea)
            refused = CONTROL_CHARACTER if has_lines else CONTROL_CHARACTER_OR_BREAK
            if refused.search(str(self.data.get(self.add_prefix(name), "")).strip()):
                what = "a character that cannot be seen" if has_lines else "a line break or a character not to be seen"
                self.add_error(name, f"There is {what} in it; key it again without.")

    @property
    def can_wait(self) -> bool:
        """Whether a tablet may keep it until the book is in reach: nothing is signed by it, no file comes with it."""
        secret = any(isinstance(field.widget, forms.PasswordInput) for field in self.fields.values())
        return not secret and not self.is_multipart()

    def quantity(self, name: str) -> QuantityField:
        field = self.fields[name]
        assert isinstance(field, QuantityField)  # noqa: S101 - the form names its own fields
        return field

    def ask_about(self) -> list[Question]:
        """Questions a form has beyond what is likely of each number; called once all fields are clean."""
        return []

    @property
    def is_signed(self) -> bool:
        """Whether it is an act of signing by what is keyed: the quality lead's reason, which lifts a stop."""
        return self.is_bound and bool(str(self.data.get(self.add_prefix("lead_reason"), "")).strip())

    @property
    def happened_by_tablets_clock(self) -> bool:
        """Told by the tablet's clock, as "now" and "five minutes ago" are; a time that a person keyed is the wall's."""
        keyed = str(self.data.get(self.add_prefix("happened_at"), ""))
        return not keyed or tablet_time(keyed) is not None

    def _clean_fields(self) -> None:
        super()._clean_fields()  # type: ignore[misc]
        # Before any form asks what was in force then.
        self._put_times_right()

    def _put_times_right(self) -> None:
        now, times = timezone.now(), self.cleaned_data
        for name in ("tapped_at", "happened_at"):
            if times.get(name) is not None and times[name].year not in YEARS_TAKEN:
                self.add_error(name, f"{self.data[self.add_prefix(name)]} is no time that can be; give it again.")
        if "tapped_at" not in times or "happened_at" not in times:
            return
        if (tapped_at := times["tapped_at"]) is not None:
            times["tapped_at"] = self.put_right(tapped_at, times.get("sequence"))
            if self.happened_by_tablets_clock:
                times["happened_at"] = (times["happened_at"] or tapped_at) + (times["tapped_at"] - tapped_at)
        if times["happened_at"] is not None and times["happened_at"] > max(now, times["tapped_at"] or now):
            self.add_error("happened_at", f"{times['happened_at']:%Y-%m-%d %H:%M} lies ahead; give now or earlier.")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.errors:
            return cleaned
        self._expect_by_others()
        asked = [*self._unlikely_values(), *self.ask_about()]
        self.questions = [question for question in asked if not self._is_answered(question)]
        self.confirmed = [question for question in asked if self._is_answered(question)]
        if self.questions:
            raise forms.ValidationError("Please answer the question, or key it again.", code="implausible")
        return cleaned

    def asked(self) -> list[tuple[Question, forms.BoundField | None]]:
        """Each open question with the field it is about, where it is about one that can be keyed again."""
        return [
            (question, self[question.field] if question.field in self.fields else None) for question in self.questions
        ]

    def _unlikely_values(self) -> list[Question]:
        found = []
        for name, field in self.fields.items():
            value = self.cleaned_data.get(name)
            if isinstance(field, QuantityField) and value is not None and (doubt := field.doubt(value)):
                found.append(Question(name, self._as_keyed(name), doubt.sentence, doubt.likely))
        return found

    def _as_keyed(self, name: str) -> str:
        return str(self.data.get(self.add_prefix(name), ""))

    def _is_answered(self, question: Question) -> bool:
        return self.data.get(f"answer-{question.field}") == question.given

    def _expect_by_others(self) -> None:
        """A number is only odd beside others that are right: while one of them is in doubt, nothing is expected."""
        for field in self.fields.values():
            if not isinstance(field, QuantityField) or field.by_others is None:
                continue
            by = field.by_others
            values = {name: self.cleaned_data.get(name) for name in by.names}
            if any(value is not None and self._is_in_doubt(name, value) for name, value in values.items()):
                field.expected = None
            else:
                total = sum(value or 0.0 for value in values.values())
                field.expect(by.against, by.base + by.factor * total, band=by.band)

    def _is_in_doubt(self, name: str, value: float) -> bool:
        is_answered = self.data.get(f"answer-{name}") == self._as_keyed(name)
        return not is_answered and self.quantity(name).doubt(value) is not None

    def keyed(self) -> dict[str, str]:
        """What was keyed into the fields that hold a number, to the letter."""
        return {
            name: str(self.data.get(self.add_prefix(name), ""))
            for name, field in self.fields.items()
            if isinstance(field, QuantityField) and self.data.get(self.add_prefix(name))
        }

    def by_tablets_clock(self) -> dict[str, str]:
        """What the tablet's own clock said, to the letter."""
        if self.cleaned_data["tapped_at"] is None:
            return {}
        names = ["tapped_at", "happened_at"] if self.happened_by_tablets_clock else ["tapped_at"]
        return {name: str(self.data[self.add_prefix(name)]) for name in names if self.data.get(self.add_prefix(name))}

    def given(self) -> dict[str, Any]:
        """The cleaned values a service takes: everything but what every entry has."""
        of_every_entry = {*LogForm.base_fields, PAPER_SHEET}
        return {name: value for name, value in self.cleaned_data.items() if name not in of_every_entry}

    def refuse(self, problems: dict[str, str]) -> None:
        """Show what a service found wrong, beside the field it is about."""
        for field, sentence in problems.items():
            self.add_error(field if field in self.fields else None, sentence)
