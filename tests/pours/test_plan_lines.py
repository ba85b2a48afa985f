"""Lines of a pour plan and readings of a trial panel: what can never be true of one, the database does not take."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from hullbook.pours import services
from hullbook.pours.enums import ComponentRole
from hullbook.pours.models import Mix, TrialPanel
from hullbook.pours.services import GivenComponent
from hullbook.records.models import EntryRow
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from tests.cast import told
from tests.hulls.factories import Berth, make_berth
from tests.pours.factories import begin, lay_feed_lines, panel_fields, read_plan, set_plan

pytestmark = pytest.mark.django_db

WAY = [(float(n), 95.0 * n**0.5) for n in range(1, 7)]


@pytest.fixture
def berth() -> Berth:
    berth = make_berth()
    set_plan(berth)
    lay_feed_lines(berth)
    return berth


def log_panel(berth: Berth, readings: list[tuple[float, float]]) -> TrialPanel:
    return services.log_trial_panel(**panel_fields(berth), readings=readings, told=told("MO"))


def one_more(line: EntryRow, **changes: Any) -> None:
    """Past the services, as a slip in the code would."""
    line.pk, line.position = None, line.position + 100
    for name, value in changes.items():
        setattr(line, name, value)
    line.save(force_insert=True)


@pytest.mark.parametrize(
    ("lines", "changes", "constraint"),
    [
        ("sections", {"length_m": 0.0}, "plansection_figures_above_zero"),
        ("sections", {"thickness_mm": -1.0}, "plansection_figures_above_zero"),
        ("sections", {"permeability_um2": 0.0}, "plansection_figures_above_zero"),
        ("sections", {"porosity": 48.0}, "plansection_figures_above_zero"),
        ("feeds", {}, "planfeed_line_once_a_strip"),
        ("feeds", {"line_number": 9, "minute": -1.0}, "planfeed_opens_behind_the_front"),
        ("feeds", {"line_number": 9, "girth_m": 1.0, "opens_front_m": 0.5}, "planfeed_opens_behind_the_front"),
        ("arrivals", {}, "planarrival_place_once_a_strip"),
        ("arrivals", {"at": "feed line 9", "minute": -0.1}, "planarrival_not_negative"),
        ("pails", {}, "planpail_number_once_a_plan"),
        ("pails", {"number": 0}, "planpail_times_in_order"),
        ("pails", {"number": 9, "on_min": 5.0, "empty_min": 4.0, "mix_by_min": 1.0}, "planpail_times_in_order"),
        ("pails", {"number": 9, "on_min": 5.0, "empty_min": 9.0, "mix_by_min": 6.0}, "planpail_times_in_order"),
        ("resin", {"kg": -0.1}, "planzoneresin_mass_not_negative"),
        ("resin", {"from_mm": None}, "planzoneresin_is_of_a_zone_or_a_line"),
        ("resin", {"line_number": 9}, "planzoneresin_is_of_a_zone_or_a_line"),
        ("resin", {"line_number": 1, "side": "", "from_mm": None, "to_mm": None}, "planzoneresin_line_once_a_plan"),
    ],
)
def test_a_line_that_cannot_be_is_not_stored(
    berth: Berth, lines: str, changes: dict[str, Any], constraint: str
) -> None:
    line = getattr(read_plan(berth), lines).first()
    with pytest.raises(IntegrityError, match=f"{constraint}|UNIQUE"), transaction.atomic():
        one_more(line, **changes)


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({}, "trialreading_minute_once_a_panel"),
        ({"minute": -1.0}, "trialreading_not_negative"),
        ({"minute": 9.0, "front_mm": -1.0}, "trialreading_not_negative"),
    ],
)
def test_a_reading_that_cannot_be_is_not_stored(berth: Berth, changes: dict[str, Any], constraint: str) -> None:
    reading = log_panel(berth, WAY).readings.first()
    with pytest.raises(IntegrityError, match=f"{constraint}|UNIQUE"), transaction.atomic():
        one_more(reading, **changes)


def test_two_readings_at_the_minute_that_is_kept_are_refused_in_a_sentence(berth: Berth) -> None:
    """Minutes are kept to three places: 1.0001 and 1.0002 are one."""
    with pytest.raises(Refused, match="give each minute once"):
        log_panel(berth, [(1.0001, 95.0), (1.0002, 95.1), *WAY[1:]])
    assert not TrialPanel.objects.exists()
    log_panel(berth, [(1.0001, 95.0), (1.0012, 95.1), *WAY[1:]])
    assert checked_book().is_whole


def test_a_value_is_checked_as_it_is_kept() -> None:
    """Masses are kept to a milligram: less is nought, and refused in a sentence before the database would."""
    day = begin()
    shelf = day.berth.shelf
    lots = [(ComponentRole.RESIN, shelf.resin, 12.5), (ComponentRole.CATALYST, shelf.catalyst, 0.1875)]
    given = [GivenComponent(role, shelf.lot(material), kg) for role, material, kg in lots]
    with pytest.raises(Refused, match="A mass is above nought"):
        day.mix(components=[*given, GivenComponent(ComponentRole.ADDITION, shelf.lot(shelf.resin), 4e-7)])
    assert not Mix.objects.exists()
