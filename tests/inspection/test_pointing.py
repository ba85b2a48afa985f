"""Findings, hardness and probes by their place on the half-girth."""

import uuid

import pytest
from bs4 import BeautifulSoup
from django.test import Client
from django.urls import reverse

from hullbook.cure.selectors import cure_view, probes_on_the_girth
from hullbook.cure.services import log_cure_reading
from hullbook.hulls.models import SkinPlace
from hullbook.hulls.services import GivenPlace
from hullbook.inspection.enums import FindingKind
from hullbook.inspection.models import Finding
from hullbook.inspection.selectors import (
    findings_of,
    findings_on_the_girth,
    hardness_on_the_girth,
    hardness_sets,
    placed_findings,
)
from hullbook.inspection.services import log_finding
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from tests.cast import told
from tests.hulls.test_lines import give_lines
from tests.inspection.factories import LAST_DAY, Sheltered, hours
from tests.inspection.test_views import hardness_form

pytestmark = pytest.mark.django_db

AT = GivenPlace("port", "5", 700.0)


@pytest.fixture
def part(whole: Sheltered) -> list[str]:
    return [whole.hull.number, whole.part.name]


@pytest.fixture
def builder(whole: Sheltered, client: Client) -> Client:
    client.force_login(whole.shop.builder)
    return client


def found(berth: Sheltered, at: GivenPlace | None = AT, kind: FindingKind = FindingKind.CRACK) -> Finding:
    return log_finding(
        part=berth.part,
        kind=kind,
        zone_name="Bottom",
        place="inside",
        length_mm=None,
        width_mm=None,
        words="",
        told=told("RT", at=hours(LAST_DAY, 6)),
        at=at,
    )


def finding_form(**changes: str) -> dict[str, str]:
    fields = {"entry_id": str(uuid.uuid4()), "happened_at": "", "kind": "crack", "zone_name": "", "place": ""}
    place = {"side": "port", "station": "5", "girth_mm": "700", "length_mm": "", "width_mm": "", "words": ""}
    return {**fields, **place, **changes}


def test_the_place_goes_into_the_entry_and_its_seal(whole: Sheltered) -> None:
    finding = found(whole)
    place = SkinPlace.objects.get(entry=finding.pk)
    assert (place.side, place.station, place.girth_mm) == ("port", "5", 700.0)
    assert '"girth_mm":"700"' in Entry.objects.get(pk=finding.pk).body
    assert checked_book().is_whole


def test_a_finding_without_a_place_is_still_a_finding(whole: Sheltered) -> None:
    finding = found(whole, at=None)
    assert not SkinPlace.objects.filter(entry=finding.pk).exists()
    assert findings_on_the_girth(findings_of(whole.hull)) == []


def test_what_is_no_station_is_refused(whole: Sheltered) -> None:
    with pytest.raises(Refused, match="no station"):
        found(whole, at=GivenPlace("port", "<5>", 700.0))


def test_an_open_finding_stands_as_a_triangle_with_its_entry(whole: Sheltered) -> None:
    finding = found(whole)
    found(whole, kind=FindingKind.NOTHING)
    shapes = {one.words: one.shape for one in placed_findings(findings_of(whole.hull), whole.part)}
    assert shapes[str(finding.pk)] == "triangle"
    assert "ring" in shapes.values()
    (scene,) = findings_on_the_girth(findings_of(whole.hull))
    assert f"{finding.pk} at station 5 port, 700 mm from the keel" in scene.desc


def test_the_finding_says_its_place_in_words(whole: Sheltered) -> None:
    finding = found(whole)
    (view,) = [one for one in findings_of(whole.hull) if one.entry.pk == finding.pk]
    assert "port, station 5, 700 mm from the keel" in view.where


# ---- By the form


def test_a_tap_says_the_zone_too(whole: Sheltered, part: list[str], builder: Client) -> None:
    answer = builder.post(reverse("inspection:finding-log", args=part), finding_form())
    assert answer.status_code == 302, answer.context["form"].errors
    assert Finding.objects.order_by("-pk")[0].zone_name == "Bottom"
    assert SkinPlace.objects.get().girth_mm == 700


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"girth_mm": ""}, "girth_mm"),
        ({"side": ""}, "side"),
        ({"station": ""}, "station"),
        ({"girth_mm": "16000"}, "girth_mm"),
        ({"side": "above"}, "side"),
        ({"side": "", "station": "", "girth_mm": ""}, "zone_name"),
        ({"girth_mm": "5000"}, "zone_name"),
    ],
)
def test_a_place_said_in_part_or_off_the_skin_is_asked_for_again(
    part: list[str], builder: Client, changes: dict[str, str], field: str
) -> None:
    answer = builder.post(reverse("inspection:finding-log", args=part), finding_form(**changes))
    assert answer.status_code == 422
    assert answer.context["form"].errors[field]
    assert not SkinPlace.objects.exists()


def test_without_a_tap_the_zone_alone_is_enough(part: list[str], builder: Client) -> None:
    keyed = finding_form(side="", station="", girth_mm="", zone_name="Keel")
    assert builder.post(reverse("inspection:finding-log", args=part), keyed).status_code == 302


def test_correcting_starts_from_the_place_that_was_told(whole: Sheltered, part: list[str], builder: Client) -> None:
    builder.post(reverse("inspection:finding-log", args=part), finding_form())
    entry = Finding.objects.order_by("-pk")[0].pk
    form = builder.get(reverse("inspection:finding-correct", args=[*part, entry])).context["form"]
    assert (form.initial["side"], form.initial["station"], form.initial["girth_mm"]) == ("port", "5", "700")


def test_the_page_has_half_girths_to_point_at_from_stem_to_transom(
    whole: Sheltered, part: list[str], builder: Client
) -> None:
    where = reverse("inspection:finding-log", args=part)

    def drawing() -> BeautifulSoup | None:
        return BeautifulSoup(builder.get(where).content, "html.parser").select_one("[data-pointing] svg[data-ground]")

    plain = drawing()
    assert plain is not None
    assert "station 8" in plain.get_text()  # without lines, as long as the schedule
    give_lines(whole.hull.boat_model)
    of_lines = drawing()
    assert of_lines is not None
    assert {"station 1", "station 10"} <= {text.get_text() for text in of_lines.find_all("text")}


# ---- Hardness and cure


def test_a_mean_under_what_was_wanted_is_a_triangle(whole: Sheltered, part: list[str], builder: Client) -> None:
    place = {"side": "starboard", "station": "5", "girth_mm": "300"}
    builder.post(reverse("inspection:hardness-log", args=part), hardness_form(whole, **place))
    scene = hardness_on_the_girth(whole.part, hardness_sets(whole.part))
    assert scene is not None
    assert "45 at station 5 starboard, 300 mm from the keel" in scene.desc


def test_probes_are_numbered_as_the_table_has_them(whole: Sheltered, part: list[str], builder: Client) -> None:
    thermometer = whole.shop.thermometer
    log_cure_reading(
        part=whole.part,
        place="keel, station 5",
        temperature_c=31.0,
        thermometer=thermometer,
        told=told("MO", at=LAST_DAY),
        at=GivenPlace("port", "5", 40.0),
    )
    view = cure_view(whole.part)
    number = [curve.place for curve in view.curves].index("keel, station 5") + 1
    scene = probes_on_the_girth(view)
    assert scene is not None
    assert f"{number} at station 5 port, 40 mm from the keel" in scene.desc
    assert scene.title in builder.get(reverse("cure:cure", args=part)).content.decode()
