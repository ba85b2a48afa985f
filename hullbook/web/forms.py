"""The one kind of form by which anything is logged."""

import re
import uuid
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

NOT_FINGERPRINTED = frozenset({"csrfmiddlewaretoken"})
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


NOT_CHOSEN_BY_DJANGO = "---------"


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
    """

    act = "Put it in the book"

    entry_id = forms.UUIDField(widget=forms.HiddenInput)
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
        for field in self.fields.values():
            if isinstance(field, forms.ModelChoiceField) and field.empty_label == NOT_CHOSEN_BY_DJANGO:
                field.empty_label = "choose"
        self.questions: list[Question] = []
        self.confirmed: list[Question] = []
        self.order_fields([*[name for name in self.fields if name != "happened_at"], "happened_at"])

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

    def ask_about(self) -> list[Question]:
        """Questions a form has beyond the usual range of each field; called once all fields are clean."""
        return []

    def clean_happened_at(self) -> datetime | None:
        happened_at: datetime | None = self.cleaned_data["happened_at"]
        if happened_at is not None and happened_at > timezone.now():
            raise forms.ValidationError(
                f"{happened_at:%Y-%m-%d %H:%M} lies ahead; give now or earlier.", code="impossible"
            )
        return happened_at

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.errors:
            return cleaned
        asked = [*self._unusual_values(), *self.ask_about()]
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

    def _unusual_values(self) -> list[Question]:
        found = []
        for name, field in self.fields.items():
            value = self.cleaned_data.get(name)
            if isinstance(field, QuantityField) and value is not None and (unusual := field.unusual(value)):
                sentence, likely = unusual
                found.append(Question(name, str(self.data.get(self.add_prefix(name), "")), sentence, likely))
        return found

    def _is_answered(self, question: Question) -> bool:
        return self.data.get(f"answer-{question.field}") == question.given

    def keyed(self) -> dict[str, str]:
        """What was keyed into the fields that hold a number, to the letter."""
        return {
            name: str(self.data.get(self.add_prefix(name), ""))
            for name, field in self.fields.items()
            if isinstance(field, QuantityField) and self.data.get(self.add_prefix(name))
        }

    def given(self) -> dict[str, Any]:
        """The cleaned values a service takes: everything but the entry's own id and time."""
        return {name: value for name, value in self.cleaned_data.items() if name not in ("entry_id", "happened_at")}

    def refuse(self, problems: dict[str, str]) -> None:
        """Show what a service found wrong, beside the field it is about."""
        for field, sentence in problems.items():
            self.add_error(field if field in self.fields else None, sentence)
