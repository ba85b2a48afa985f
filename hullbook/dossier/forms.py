from typing import Any

from django import forms

from hullbook.web.forms import LogForm


class IssueForm(LogForm):
    """Nothing to key: an issue says what the book says, and it happens when it is asked for."""

    act = "Issue the dossier"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["happened_at"].widget = forms.HiddenInput()
