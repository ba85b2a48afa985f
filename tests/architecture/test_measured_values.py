"""No form fills in a measured value beforehand: what is expected stands beside the empty field."""

from collections.abc import Iterator
from typing import Any

import pytest
from django import forms
from django.forms.formsets import BaseFormSet
from django.test import Client
from django.urls import reverse

from hullbook.quantities.fields import QuantityField
from tests.architecture.standing_yard import StandingYard

pytestmark = pytest.mark.django_db


def forms_on(context: Any) -> Iterator[forms.BaseForm]:
    for layer in context or ():
        for value in layer.flatten().values():
            if isinstance(value, forms.BaseForm):
                yield value
            elif isinstance(value, BaseFormSet):
                yield from value.forms


def quantities_of(yard: StandingYard, client: Client) -> Iterator[tuple[str, forms.BoundField]]:
    """Every number with a unit on every page, as it is first shown; a page that puts an entry right starts from it."""
    for name, arguments in yard.arguments.items():
        if name.endswith("-correct"):
            continue
        answer = client.get(reverse(name, args=arguments))
        if answer.streaming:
            b"".join(answer)
        for form in forms_on(answer.context):
            for shown in form:
                if isinstance(shown.field, QuantityField):
                    yield f"{name} {shown.html_name}", shown


def test_no_measured_value_is_filled_in_beforehand(yard: StandingYard, client: Client) -> None:
    client.force_login(yard.people["lead"])
    seen = dict(quantities_of(yard, client))
    filled = {name for name, shown in seen.items() if shown.value() not in (None, "")}
    assert {name for name in filled if seen[name].field.is_measured} == set()
    # So that the crawl is known to see one: the mean wanted is the resin sheet's, not a measurement.
    assert "inspection:hardness-log required_mean" in filled
    assert len(seen) > 60
    # Nor does anything stand in a field that goes away when it is keyed into.
    assert {name for name, shown in seen.items() if "placeholder" in shown.field.widget.attrs} == set()


def test_what_is_expected_stands_beside_the_empty_field_with_its_unit(yard: StandingYard, client: Client) -> None:
    client.force_login(yard.people["lead"])
    page = client.get(reverse("pours:mix-log", args=yard.arguments["pours:mix-log"])).content.decode()
    assert '<p class="beside">plan 15\u00a0kg</p>' in page
    assert 'name="resin_kg" value' not in page
