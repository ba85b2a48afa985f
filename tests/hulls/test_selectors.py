"""What a schedule comes to, how two revisions differ, and what the book says in words."""

import pytest

from hullbook.hulls import services
from hullbook.hulls.models import Hull
from hullbook.hulls.selectors import (
    all_hulls,
    entries_in_words,
    last_entries,
    lay_up,
    revision_difference,
    schedule_view,
    shed,
)
from hullbook.hulls.services import GivenLine, GivenZone, release_hold_point
from hullbook.materials.enums import MaterialKind, StockUnit
from hullbook.materials.selectors import KnownValue
from hullbook.materials.services import revise_sheet, strike_out
from hullbook.records.selectors import entries_about
from tests.cast import MORNING, told
from tests.hulls.factories import SHELL, Berth, draft, lay_down, lines, make_berth, sign, zones
from tests.materials.factories import add, given

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    return make_berth()


def density(value: float) -> KnownValue:
    return KnownValue(value, "standard", "given in the test")


def test_a_zone_of_e_glass_and_polyester_is_as_thick_as_iso_12215_5_says(berth: Berth) -> None:
    """ISO 12215-5: t = w / 3.072 (2.56 / psi - 1.36) with w in kg/m2, glass 2.56 and resin 1.20; from memory."""
    revise_sheet(
        material=berth.shelf.csm,
        name="Chopped strand mat 450",
        maker="",
        fibre="glass",
        properties=given(areal_weight_kg_m2=0.45, fibre_density_kg_m3=2560, fibre_mass_fraction=0.30),
        told=told(),
    )
    keel, _ = schedule_view(berth.revision, density(1200.0)).zones
    assert keel.plies[0].thickness_mm == pytest.approx(0.450 / 3.072 * (2.56 / 0.30 - 1.36))
    assert keel.plies[0].thickness_mm == pytest.approx(1.051, abs=5e-4)


def test_cloth_laid_with_a_lap_weighs_more_by_roll_over_roll_less_lap(berth: Berth) -> None:
    """Strakes of width B with lap b cover B - b each: plain geometry."""
    keel, bottom = schedule_view(berth.revision, density(1140.0)).zones
    assert keel.plies[1].area_factor == pytest.approx(1.27 / 1.22)
    assert keel.plies[1].dry_kg == pytest.approx(0.8 * 4.0 * 1.27 / 1.22)
    assert keel.fibre_kg == pytest.approx(4.0 * (0.225 + 0.8 * 1.27 / 1.22 + 0.6 * 0.6 / 0.55))
    assert bottom.core_kg == pytest.approx(0.020 * 80 * 18.0)
    assert bottom.thickness_mm == pytest.approx(20 + 2 * 0.8 / (2.56 * 0.52))


def test_resin_goes_with_the_cloth_laps_counted(berth: Berth) -> None:
    """ASTM D3171: resin by fibre is (1 - psi) / psi; with psi from phi 0.52, glass 2560 and resin 1140."""
    psi = 0.52 * 2560 / (0.52 * 2560 + 0.48 * 1140)
    _, bottom = schedule_view(berth.revision, density(1140.0)).zones
    assert bottom.resin_kg == pytest.approx(2 * 0.8 * (1 - psi) / psi * 18.0 * 1.27 / 1.22)
    assert bottom.stack.fibre_mass_fraction == pytest.approx(psi)


def test_without_a_resin_there_is_fibre_but_neither_resin_nor_thickness(berth: Berth) -> None:
    view = schedule_view(berth.revision)
    assert view.fibre_kg > 0
    assert view.resin_kg is None
    assert view.zones[0].thickness_mm is None
    assert view.zones[1].core_kg > 0


def test_totals_are_the_sums_of_the_zones_and_every_value_names_its_source(berth: Berth) -> None:
    view = schedule_view(berth.revision, density(1140.0))
    assert view.mass_kg == pytest.approx(sum(zone.fibre_kg + zone.resin_kg + zone.core_kg for zone in view.zones))
    used = {(one.material.code, one.name) for one in view.sources}
    assert {("GB-800", "areal_weight_kg_m2"), ("GB-800", "roll_width_m"), ("PV-80-20", "density_kg_m3")} <= used
    assert all(one.known.source for one in view.sources)
    assert [one.line.number for one in view.lines] == [1, 2, 3, 4, 5, 6]


def test_what_a_sheet_does_not_say_is_told_and_not_guessed(berth: Berth) -> None:
    revise_sheet(
        material=berth.shelf.biax, name="Biaxial glass 800", maker="", fibre="glass",
        properties=given(areal_weight_kg_m2=0.8, fibre_density_kg_m3=2560, fibre_volume_fraction=0.52), told=told(),
    )  # fmt: skip
    _, bottom = schedule_view(berth.revision, density(1140.0)).zones
    assert bottom.lacking == ("GB-800: roll width is not in its sheet.",)
    assert bottom.plies[0].area_factor == 1.0
    assert bottom.resin_kg is not None


def test_a_lap_as_wide_as_the_roll_is_told(berth: Berth) -> None:
    tape = add(
        "GT-40", MaterialKind.REINFORCEMENT, StockUnit.METRE, "Tape 40", fibre="glass", areal_weight_kg_m2=0.4,
        fibre_density_kg_m3=2560, fibre_volume_fraction=0.5, roll_width_m=0.04,
    )  # fmt: skip
    revision = services.begin_revision(boat_model=berth.model, part_name="Deck", drawn_by="EL", at=MORNING)
    services.write_revision(
        revision=revision,
        zones=[zones()[0]],
        lines=[GivenLine(1, "Keel", tape, "0", 50.0), GivenLine(2, "Keel", tape, "0", 0.0)],
    )
    view = schedule_view(revision, density(1140.0))
    first, second = view.lines
    assert "less than the roll width" in first.lacking
    assert first.resin_kg is None
    assert second.planned_quantity == pytest.approx(4.0 / 0.04)
    assert view.resin_kg is None


@pytest.mark.parametrize(
    ("unit", "planned"), [(StockUnit.KILOGRAM, 20 / 1000 * 80 * 4.0), (StockUnit.PIECE, 4.0 / 2.4)]
)
def test_the_planned_quantity_is_in_the_unit_the_store_counts_in(berth: Berth, unit: str, planned: float) -> None:
    core = add(
        "PV-X", MaterialKind.CORE, unit, "Foam", finish="plain", thickness_mm=20, density_kg_m3=80, sheet_area_m2=2.4,
        face_pick_up_kg_m2=0.2,
    )  # fmt: skip
    revision = services.begin_revision(boat_model=berth.model, part_name="Deck", drawn_by="EL", at=MORNING)
    services.write_revision(revision=revision, zones=[zones()[0]], lines=[GivenLine(1, "Keel", core)])
    assert schedule_view(revision).lines[0].planned_quantity == pytest.approx(planned)


# ---- difference


def later_revision(berth: Berth, new_zones: list[GivenZone], new_lines: list[GivenLine]) -> object:
    revision = services.begin_revision(boat_model=berth.model, part_name=SHELL, drawn_by="EL", at=MORNING)
    services.write_revision(revision=revision, zones=new_zones, lines=new_lines)
    return revision


def numbered_anew(new_lines: list[GivenLine]) -> list[GivenLine]:
    return [
        GivenLine(number, line.zone, line.material, line.angle_deg, line.lap_mm, line.is_structural)
        for number, line in enumerate(new_lines, start=1)
    ]


def test_a_line_put_in_the_middle_is_the_only_difference_though_all_after_it_moved_down(berth: Berth) -> None:
    new = lines(berth.shelf)
    new.insert(2, GivenLine(0, "Keel", berth.shelf.uni, "0", 50.0, False))
    difference = revision_difference(
        berth.revision, later_revision(berth, zones(), numbered_anew(new)), density(1140.0)
    )
    assert [(change.kind, change.after.number) for change in difference.lines] == [("added", 3)]
    assert [zone.name for zone in difference.zones] == ["Keel"]
    ply_kg = 0.6 / (0.55 * 2560 / (0.55 * 2560 + 0.45 * 1140)) * 4.0 * 0.6 / 0.55
    assert difference.zones[0].mass_change_kg == pytest.approx(ply_kg)


def test_a_changed_line_is_told_field_by_field_and_one_taken_out_as_such(berth: Berth) -> None:
    new = lines(berth.shelf)
    new[1] = GivenLine(2, "Keel", berth.shelf.quad, "0/90", 40.0, False)
    del new[5]
    difference = revision_difference(berth.revision, later_revision(berth, zones(), new), density(1140.0))
    changed, taken_out = difference.lines
    assert [(field.words, field.before, field.after) for field in changed.fields] == [
        ("material", "GB-800", "GQ-1200"),
        ("angle", "±45", "0/90"),
        ("lap", "50.0\u00a0mm", "40.0\u00a0mm"),
        ("structural", "yes", "no"),
    ]
    assert (taken_out.kind, taken_out.before.number) == ("taken out", 6)


def test_a_zone_that_grew_one_that_went_and_one_that_came_are_told(berth: Berth) -> None:
    new_zones = [GivenZone("Keel", 5.0, 0.0, 700.0, 0.0, 10.0), GivenZone("Side", 9.0, 1450.0, 2300.0, 0.0, 10.0)]
    new_lines = [*lines(berth.shelf)[:3], GivenLine(4, "Side", berth.shelf.biax, "+-45", 50.0)]
    difference = revision_difference(berth.revision, later_revision(berth, new_zones, new_lines), density(1140.0))
    told_zones = {zone.name: (zone.kind, [field.words for field in zone.fields]) for zone in difference.zones}
    assert told_zones == {"Keel": ("changed", ["area", "to"]), "Bottom": ("taken out", []), "Side": ("added", [])}
    gone = next(zone for zone in difference.zones if zone.name == "Bottom")
    assert gone.mass_change_kg == pytest.approx(-gone.before.mass_kg)


def test_a_revision_does_not_differ_from_itself(berth: Berth) -> None:
    difference = revision_difference(berth.revision, berth.revision, density(1140.0))
    assert difference.lines == ()
    assert difference.zones == ()


# ---- shed, hulls and the book


def test_the_shed_shows_hulls_by_bay_and_those_that_left_apart(berth: Berth) -> None:
    second = lay_down(berth.model, berth.shop, "MB84-02", pull_number=2)
    mistaken = lay_down(berth.model, berth.shop, "MB84-03", pull_number=3)
    strike_out(entry=mistaken.entry, reason="typed twice", told=told())
    services.leave_yard(hull=berth.hull, left_on=MORNING.date(), delivered_to="", told=told())
    found = shed()
    assert [hull for card in found.bays for hull in card.hulls] == [second]
    assert [left.hull for left in found.gone] == [berth.hull]
    assert not found.is_empty


def test_the_list_of_hulls_has_days_and_numbers(berth: Berth) -> None:
    services.give_craft_number(hull=berth.hull, number="MWB00001E626", told=told())
    services.leave_yard(hull=berth.hull, left_on=MORNING.date(), delivered_to="", told=told())
    only = all_hulls().get()
    assert (only.craft_number, only.left_on) == ("MWB00001E626", MORNING.date())


def test_the_last_entries_show_what_corrected_them_without_looking_further(berth: Berth) -> None:
    wrong = berth.lay(2, quantity=40.0)
    right = berth.lay(2, quantity=4.0, corrects=wrong, reason="a nought too many")
    newest, older, *_ = last_entries(berth.hull)
    assert (newest.entry.number, newest.corrects) == (right.pk, wrong.pk)
    assert (older.struck_by, older.struck_because) == (right.pk, "a nought too many")


def test_an_entry_is_told_in_words_with_what_it_points_at_by_name(berth: Berth) -> None:
    berth.lay(2, quantity=4.25)
    said = entries_in_words(entries_about("MB84-01").order_by("-number"))[0]
    told_as = [str(one) for one in said.said]
    assert {"lot R-0001", "line 2", "quantity 4.25\u00a0m²", "laid as the line says"} <= set(told_as)
    assert [one.words for one in said.verdicts] == ["pass"]
    assert not any(one.startswith("reason") for one in told_as)


def test_an_entry_in_short_speaks_as_the_yard_does_and_leaves_out_whose_it_is(berth: Berth) -> None:
    release_hold_point(hull=berth.hull, number=3, words="outer skin seen", missing="", told=told())
    said = entries_in_words(entries_about("MB84-01").order_by("-number"))[0]
    assert said.in_short == "number 3, outer skin seen"


def test_a_struck_out_entry_says_who_put_the_line_through_it_and_why(berth: Berth) -> None:
    laying = berth.lay(2)
    struck = strike_out(entry=laying.entry, reason="wrong hull", told=told())
    said = {one.entry.number: one for one in entries_in_words(entries_about("MB84-01"))}
    assert (said[laying.pk].struck_by, said[laying.pk].struck_because) == (struck.pk, "wrong hull")
    assert {one.words: one.value for one in said[struck.pk].said}["struck"] == f"entry {laying.pk}"


def test_reading_the_book_takes_no_more_queries_for_more_entries(
    berth: Berth, django_assert_max_num_queries: object
) -> None:
    for number in (1, 2, 4):
        berth.lay(number)
    with django_assert_max_num_queries(20) as few:  # type: ignore[operator]
        entries_in_words(entries_about("MB84-01"))
    for _ in range(8):
        berth.lay(6)
    with django_assert_max_num_queries(len(few)):  # type: ignore[operator]
        assert len(entries_in_words(entries_about("MB84-01"))) == 14


def test_a_lay_up_takes_the_same_queries_however_much_is_laid(
    berth: Berth, django_assert_max_num_queries: object
) -> None:
    berth.lay(1)
    with django_assert_max_num_queries(14) as few:  # type: ignore[operator]
        lay_up(berth.part)
    for number in (2, 3, 4, 5, 6):
        berth.lay(number)
    with django_assert_max_num_queries(len(few)):  # type: ignore[operator]
        assert lay_up(berth.part).laid_count == 6
    assert lay_up(berth.part).next_line is None


def test_a_second_hull_of_the_model_is_built_to_its_own_revision(berth: Berth) -> None:
    other: Hull = lay_down(berth.model, berth.shop, "MB84-02", pull_number=2)
    deck = sign(draft(berth.model, berth.shelf, "Deck"))
    part = other.parts.get()
    assert lay_up(part).revision is None
    assert deck.letter == "A"
