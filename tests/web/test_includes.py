"""How a form, a question and a verdict stand on the page."""

import pytest
from bs4 import BeautifulSoup
from django import forms
from django.http import QueryDict
from django.template.loader import render_to_string

from hullbook.calc.verdict import Verdict
from hullbook.drawings.hull_profile import hull_profile
from hullbook.quantities.fields import QuantityField
from hullbook.web.forms import LogForm, Question
from hullbook.web.templatetags.hullbook_drawings import drawing


class TemperatureForm(LogForm):
    act = "Log a temperature"

    air = QuantityField(range_key="air_temperature_c", label="Air", help_text="In the shade.")
    place = forms.ChoiceField(label="Place", choices=[("7", "Bay 2")], required=False)
    words = forms.CharField(label="Words", required=False, widget=forms.Textarea)


def shown(form, **context):
    page = render_to_string("includes/_form.html", {"form": form, "csrf_token": "token", **context})
    return BeautifulSoup(page, "html.parser")


def posted(**values):
    data = QueryDict("", mutable=True)
    data.update({"entry_id": "0b6e6b1e-0000-4000-8000-000000000001", **values})
    return TemperatureForm(data)


def asking(*questions, **values):
    form = posted(**values)
    form.is_valid()
    form.questions = list(questions)
    return shown(form)


def test_every_field_has_its_label_unit_and_hint():
    page = shown(TemperatureForm())
    field = page.find(id="field-air")
    assert field.label["for"] == field.input["id"]
    assert field.find(class_="unit").text == "°C"
    assert field.find(id=field.input["aria-describedby"]).text == "In the shade."


def test_a_field_that_may_stay_empty_says_so():
    page = shown(TemperatureForm())
    assert "may stay empty" in page.find(id="field-words").label.text
    assert "may stay empty" not in page.find(id="field-air").label.text


def test_what_is_wrong_stands_beside_its_field_as_a_mark_and_a_sentence():
    form = posted(air="65 kg")
    page = shown(form)
    wrong = page.find(id="field-air").find(class_="wrong")
    assert wrong.svg is not None
    assert wrong.span.text == form.errors["air"][0]
    assert page.find(id="field-words").find(class_="wrong") is None


def test_the_key_says_what_the_form_does():
    assert shown(TemperatureForm()).select_one(".form-acts button").text == "Log a temperature"
    assert shown(TemperatureForm(), act="Put it right").select_one(".form-acts button").text == "Put it right"


def test_a_question_is_answered_by_one_key_and_the_likely_value_by_another():
    page = asking(Question("air", "65", "65 °C is ten times the last (6.5 °C).", likely="6.5"), air="65")
    assert "ten times the last" in page.find(id="question-air").text
    right = page.find("button", attrs={"name": "answer-air"})
    likely = page.find("button", attrs={"name": "instead-air"})
    assert (right["value"], right.text) == ("65", "65 °C is right")
    assert (likely["value"], likely.text) == ("6.5", "6.5 °C")
    assert page.find("a", href="#field-air") is not None


def test_a_question_without_a_likely_value_offers_none():
    page = asking(Question("air", "65 °C", "Unusual."), air="65 °C")
    assert page.find("button", attrs={"name": "instead-air"}) is None
    assert page.find("button", attrs={"name": "answer-air"}).text == "65 °C is right"


def test_a_question_about_a_choice_does_not_show_its_key():
    page = asking(Question("place", "7", "The gauge there is out of date."), air="20", place="7")
    assert page.find("button", attrs={"name": "answer-place"}).text == "Yes, all the same"


def test_the_enter_key_never_answers_a_question():
    page = asking(Question("air", "65", "Unusual.", likely="6.5"), air="65")
    assert not page.find("button", attrs={"type": "submit"}).has_attr("name")


def test_an_answer_given_before_is_kept_while_another_question_is_open():
    form = posted(air="65")
    form.is_valid()
    form.questions = [Question("place", "7", "The gauge there is out of date.")]
    form.confirmed = [Question("air", "65", "Unusual.")]
    kept = shown(form).find("input", attrs={"name": "answer-air"})
    assert (kept["type"], kept["value"]) == ("hidden", "65")


def test_what_was_keyed_is_escaped():
    page = render_to_string("includes/_form.html", {"form": posted(air="<b>65</b>"), "csrf_token": "token"})
    assert "<b>65" not in page


@pytest.mark.parametrize("level", ["pass", "conditional pass", "conditional fail", "fail", "no verdict"])
def test_a_verdict_is_a_shape_and_a_word(level):
    page = BeautifulSoup(render_to_string("includes/_level.html", {"level": level}), "html.parser")
    assert page.text.strip() == level
    assert page.svg.path is not None


def test_no_two_verdicts_have_the_same_shape():
    levels = ["pass", "conditional pass", "conditional fail", "fail", "no verdict"]
    marks = {
        str(BeautifulSoup(render_to_string("includes/_level.html", {"level": one}), "html.parser").svg)
        for one in levels
    }
    assert len(marks) == len(levels)


def verdict_shown(**limits):
    verdict = Verdict(
        "pass", "hold", 2.1, 0.4, limits.get("low"), limits.get("high"), "mbar", "HP-3, edition 2", "over 30 min"
    )
    return " ".join(
        BeautifulSoup(
            render_to_string("includes/_verdict.html", {"verdict": verdict, "words": "Rise"}), "html.parser"
        ).text.split()
    )


def test_a_verdict_shows_value_uncertainty_limit_and_source():
    assert verdict_shown(high=5.0) == "pass Rise 2.1 mbar ± 0.4 mbar limit at most 5.0 mbar over 30 min HP-3, edition 2"


def test_a_verdict_names_a_lower_limit_and_a_window_as_such():
    assert "limit at least 1.0 mbar" in verdict_shown(low=1.0)
    assert "limit 1.0 to 5.0 mbar" in verdict_shown(low=1.0, high=5.0)


def test_a_band_shows_low_expected_and_high_with_its_unit_and_source():
    band = {"name": "Main shell", "low": 138.2, "expected": 151.4, "high": 166, "unit": "kg", "source": "schedule C"}
    page = BeautifulSoup(render_to_string("includes/_band.html", band), "html.parser")
    assert [point.b.text for point in page.find_all("li")] == ["138.20", "151.40\u00a0kg", "166.00"]
    assert page.find(class_="source").text == "schedule C"


def test_a_quantity_not_known_shows_no_unit():
    page = BeautifulSoup(render_to_string("includes/_quantity.html", {"value": None, "unit": "kg"}), "html.parser")
    assert page.text.strip() == "–"


def test_a_drawing_goes_into_the_page_as_it_is_and_its_words_escaped():
    svg = drawing(hull_profile(["done"] * 11, hull="<MB&84>"))
    assert svg.startswith("<svg")
    assert "&lt;MB&amp;84&gt;" in svg
