"""What a hull service takes, refuses and keeps."""

import datetime as dt

import pytest
from django.db import IntegrityError, connection, transaction

from hullbook.hulls import services
from hullbook.hulls.enums import CraftNumberForm, LayingOutcome, RevisionState
from hullbook.hulls.models import (
    CraftNumberGiven,
    Hull,
    Laying,
    Part,
    RevisionInForce,
    ScheduleLine,
    ScheduleRevision,
    Zone,
)
from hullbook.hulls.selectors import craft_number_of, hold_points, lay_up, revision_in_force, revision_state
from hullbook.hulls.services import GivenLine, GivenZone
from hullbook.materials.enums import LotState
from hullbook.materials.selectors import stock_left
from hullbook.materials.services import decide_lot, strike_out
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from hullbook.yard.enums import Role
from hullbook.yard.models import Person
from hullbook.yard.services import change_role
from tests.cast import DAY, MORNING, told
from tests.hulls.factories import SHELL, Berth, add_tender, draft, lay_down, lines, make_berth, sign, zones
from tests.materials.factories import Shelf, receive, release

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    return make_berth()


def refused(problem: str, **words: str) -> object:
    return pytest.raises(Refused, match=problem, **words)


# ---- laying down


def test_laying_down_is_one_act_with_an_entry_for_the_hull_and_one_for_each_part(berth: Berth) -> None:
    before = Entry.objects.count()
    hull = lay_down(berth.model, berth.shop, "MB84-02", pull_number=2, part_names=[SHELL, "Deck", " "])
    assert [part.name for part in Part.objects.filter(hull=hull)] == [SHELL, "Deck"]
    assert Entry.objects.count() == before + 3
    assert set(Entry.objects.filter(about="MB84-02").values_list("kind", flat=True)) == {"hulls.hull", "hulls.part"}
    assert checked_book().is_whole


def test_a_hull_number_is_given_once_and_never_again_even_when_the_hull_is_struck_out(berth: Berth) -> None:
    with refused("MB84-01 is taken"):
        lay_down(berth.model, berth.shop, "MB84-01")
    strike_out(entry=berth.hull.entry, reason="laid down by mistake", told=told())
    with refused("MB84-01 is taken"):
        lay_down(berth.model, berth.shop, "MB84-01")


def test_a_hull_number_cannot_be_changed_by_sql(berth: Berth) -> None:
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE hulls_hull SET number = 'MB84-09' WHERE number = 'MB84-01'")


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"number": "mb84-02"}, "number", "capital letters"),
        ({"number": "MB84/02"}, "number", "capital letters"),
        ({"number": ""}, "number", "blank"),
        ({"mould": ""}, "mould", "blank"),
        ({"laid_down_on": DAY + dt.timedelta(days=1)}, "laid_down_on", "lies ahead"),
        ({"part_names": ["", "  "]}, "part_names", "at least one part"),
        ({"part_names": ["Deck", "Deck"]}, "part_names", "named twice"),
        ({"build_regime": "raft"}, "build_regime", "raft"),
    ],
)
def test_a_hull_that_cannot_be_is_refused_by_field_and_leaves_no_entry(
    berth: Berth, changes: dict[str, object], field: str, words: str
) -> None:
    before = Entry.objects.count()
    with pytest.raises(Refused) as wrong:
        lay_down(berth.model, berth.shop, **{"number": "MB84-02", **changes})
    assert words in wrong.value.problems[field]
    assert Entry.objects.count() == before


def test_a_part_name_that_no_address_can_hold_is_refused(berth: Berth) -> None:
    with refused("letters, figures"):
        lay_down(berth.model, berth.shop, "MB84-02", part_names=["Deck/cockpit"])
    assert not Hull.objects.filter(number="MB84-02").exists()


# ---- craft identification numbers


def give(berth: Berth, number: str, **changes: object) -> CraftNumberGiven:
    return services.give_craft_number(**{"hull": berth.hull, "number": number, "told": told(), **changes})  # type: ignore[arg-type]


def test_a_number_is_kept_tidied_with_its_form(berth: Berth) -> None:
    given = give(berth, "fi – mwb00001e626")
    assert (given.number, given.form) == ("FI-MWB00001E626", CraftNumberForm.ISO)
    assert craft_number_of(berth.hull) == given


def test_a_changed_number_is_a_correction_and_the_old_one_stays(berth: Berth) -> None:
    first = give(berth, "MWB00001E626")
    with refused("a change is a correction"):
        give(berth, "MWB00002E626")
    with refused("Say why"):
        give(berth, "MWB00002E626", corrects=CraftNumberGiven.objects.get(pk=first.pk))
    second = give(berth, "MWB00002E626", corrects=first, reason="serial misread on the marking")
    assert craft_number_of(berth.hull) == second
    assert CraftNumberGiven.objects.get(pk=first.pk).number == "MWB00001E626"
    with refused("corrected or struck out already"):
        give(berth, "MWB00003E626", corrects=first, reason="again")


def test_no_two_hulls_share_a_number_unless_the_first_was_corrected_away(berth: Berth) -> None:
    other = lay_down(berth.model, berth.shop, "MB84-02", pull_number=2)
    first = give(berth, "MWB00001E626")
    with refused("no two hulls share one"):
        give(berth, "mwb00001e626", hull=other)
    give(berth, "MWB00002E626", corrects=first, reason="it was meant for the sister")
    assert give(berth, "MWB00001E626", hull=other).number == "MWB00001E626"


def test_a_month_of_build_before_the_hull_was_laid_down_is_refused(berth: Berth) -> None:
    """33 CFR 181.25: no earlier than the start of construction (check E9)."""
    with refused(r"before the hull was laid down.*E9"):
        give(berth, "MWB00001D626")


def test_a_month_of_build_after_the_hull_left_is_refused(berth: Berth) -> None:
    """33 CFR 181.25: no later than leaving the place of manufacture (check E10)."""
    services.leave_yard(hull=berth.hull, left_on=DAY, delivered_to="invented port", told=told())
    later = told(at=MORNING + dt.timedelta(days=60))
    with refused(r"after the hull left.*E10"):
        give(berth, "MWB00001F626", told=later)


# ---- schedules


@pytest.fixture
def page(berth: Berth) -> ScheduleRevision:
    """A second draft, empty, of the same schedule."""
    return services.begin_revision(boat_model=berth.model, part_name=SHELL, drawn_by="EL", at=MORNING)


def test_revisions_get_letters_that_nobody_misreads(berth: Berth) -> None:
    """ASME Y14.35 leaves out I, O, Q, S, X and Z (from memory)."""
    letters = ["A"]
    for _ in range(21):
        revision = services.begin_revision(
            boat_model=berth.model, part_name=SHELL, based_on=berth.revision, drawn_by="EL", at=MORNING
        )
        sign(revision)
        letters.append(revision.letter)
    assert letters == [*"ABCDEFGHJKLMNPRTUVWY", "AA", "AB"]


def test_a_new_draft_holds_what_the_revision_it_starts_from_holds(berth: Berth) -> None:
    revision = services.begin_revision(
        boat_model=berth.model, part_name="Deck", based_on=berth.revision, drawn_by="EL", at=MORNING
    )
    said = [
        (line.number, line.zone.name, line.material.code, line.angle_deg, line.lap_mm) for line in revision.lines.all()
    ]
    assert said == [
        (line.number, line.zone, line.material.code, line.angle_deg, line.lap_mm) for line in lines(berth.shelf)
    ]
    assert revision.letter == "A"


def test_only_one_draft_of_a_schedule_is_open_at_a_time(berth: Berth, page: ScheduleRevision) -> None:
    with refused("Rev B is a draft already"):
        services.begin_revision(boat_model=berth.model, part_name=SHELL, drawn_by="EL", at=MORNING)


def test_a_draft_is_drawn_by_somebody_of_the_crew(berth: Berth) -> None:
    with refused("nobody's initials"):
        services.begin_revision(boat_model=berth.model, part_name="Deck", drawn_by="ZZ", at=MORNING)


def wrong_lines(shelf: Shelf, **changes: object) -> list[GivenLine]:
    fields: dict[str, object] = {"number": 1, "zone": "Keel", "material": shelf.biax}
    return [GivenLine(**{**fields, **changes})]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"zone": "Transom"}, 'Line 1: there is no zone "Transom"'),
        ({"angle_deg": "along"}, '"along" is not accepted; give 0, 90'),
        ({"angle_deg": "=1+1"}, "is not accepted"),
        ({"lap_mm": -1.0}, "A lap is nought or more"),
        ({"lap_mm": float("nan")}, "beyond what can be kept"),
        ({"number": -1}, "greater than or equal to 0"),
    ],
)
def test_a_line_that_cannot_be_is_refused_in_words_and_the_draft_stays(
    berth: Berth, page: ScheduleRevision, changes: dict[str, object], words: str
) -> None:
    services.write_revision(revision=page, zones=zones(), lines=lines(berth.shelf))
    with pytest.raises(Refused) as wrong:
        services.write_revision(revision=page, zones=zones(), lines=wrong_lines(berth.shelf, **changes))
    assert words in str(wrong.value)
    assert page.lines.count() == 6


@pytest.mark.parametrize(
    ("zone", "words"),
    [
        (GivenZone("Keel", 0.0, 0.0, 620.0, 0.0, 10.0), "The area of a zone is above nought"),
        (GivenZone("Keel", 4.0, 620.0, 620.0, 0.0, 10.0), "runs from the smaller girth"),
        (GivenZone("Keel", 4.0, 0.0, 620.0, 10.0, 0.0), "runs from the smaller girth"),
        (GivenZone("", 4.0, 0.0, 620.0, 0.0, 10.0), "blank"),
        (GivenZone("Keel", 4.0, 0.0, 620.0, 0.0, 10.0, "inside"), "inside"),
    ],
)
def test_a_zone_that_cannot_be_is_refused(page: ScheduleRevision, zone: GivenZone, words: str) -> None:
    with pytest.raises(Refused) as wrong:
        services.write_revision(revision=page, zones=[zone], lines=[])
    assert words in str(wrong.value)
    assert not page.zones.exists()


def test_two_zones_of_one_name_and_two_lines_of_one_number_are_named(berth: Berth, page: ScheduleRevision) -> None:
    with pytest.raises(Refused) as wrong:
        services.write_revision(
            revision=page,
            zones=[*zones(), zones()[0]],
            lines=[*lines(berth.shelf), lines(berth.shelf)[0]],
        )
    assert "Zone Keel is named 2 times" in str(wrong.value)
    assert "Line 1 is there 2 times" in str(wrong.value)


def test_resin_is_no_line_of_a_schedule(berth: Berth, page: ScheduleRevision) -> None:
    with refused("a line is a reinforcement or a core"):
        services.write_revision(
            revision=page, zones=zones(), lines=wrong_lines(berth.shelf, material=berth.shelf.resin)
        )


def test_a_schedule_of_more_lines_than_any_boat_has_is_refused(berth: Berth, page: ScheduleRevision) -> None:
    many = [GivenLine(number, "Keel", berth.shelf.biax) for number in range(1, services.MOST_LINES + 2)]
    with refused("at most 2000 lines; 2001 were given"):
        services.write_revision(revision=page, zones=zones(), lines=many)


def test_an_angle_is_kept_as_the_trade_writes_it() -> None:
    assert services.read_angle("±45°", "Line 1") == "+-45"
    assert services.read_angle("0 / 90", "Line 1") == "0/90"
    assert services.read_angle("", "Line 1") == ""


def test_a_revision_without_a_line_or_with_a_bare_zone_or_without_approval_is_not_signed(
    berth: Berth, page: ScheduleRevision
) -> None:
    with refused("no line yet"):
        services.sign_revision(revision=page, approval="drawing 1", told=told())
    services.write_revision(revision=page, zones=zones(), lines=lines(berth.shelf)[:3])
    with refused("Zone Bottom has no line"):
        services.sign_revision(revision=page, approval="drawing 1", told=told())
    services.write_revision(revision=page, zones=zones(), lines=lines(berth.shelf))
    with refused("Name the designer's drawing"):
        services.sign_revision(revision=page, approval="  ", told=told())


def test_a_signed_revision_is_frozen_for_the_service_too(berth: Berth) -> None:
    with refused("Rev A is signed. Begin rev B."):
        services.write_revision(revision=berth.revision, zones=zones(), lines=lines(berth.shelf))
    with refused("Rev A is signed"):
        services.sign_revision(revision=berth.revision, approval="drawing 2", told=told())


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE hulls_scheduleline SET lap_mm = 60 WHERE revision_id = %s",
        "DELETE FROM hulls_scheduleline WHERE revision_id = %s",
        "UPDATE hulls_zone SET area_m2 = 5 WHERE revision_id = %s",
        "DELETE FROM hulls_zone WHERE revision_id = %s",
    ],
)
def test_the_database_refuses_to_change_a_signed_revision(berth: Berth, sql: str) -> None:
    with pytest.raises(IntegrityError, match="is signed"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, [berth.revision.pk])


def test_the_database_refuses_a_further_zone_or_line_in_a_signed_revision(berth: Berth) -> None:
    keel = berth.line(1).zone
    further = Zone(
        revision=berth.revision, position=9, name="Transom", area_m2=2, girth_from_mm=0, girth_to_mm=1,
        station_from=0, station_to=1,
    )  # fmt: skip
    for row in (further, ScheduleLine(revision=berth.revision, number=99, zone=keel, material=berth.shelf.biax)):
        with pytest.raises(IntegrityError, match="is signed"), transaction.atomic():
            row.save(force_insert=True)


def test_a_draft_is_free_to_change_by_the_same_sql(page: ScheduleRevision, berth: Berth) -> None:
    services.write_revision(revision=page, zones=zones(), lines=lines(berth.shelf))
    with connection.cursor() as cursor:
        cursor.execute("UPDATE hulls_zone SET area_m2 = 5 WHERE revision_id = %s", [page.pk])
        assert cursor.rowcount == 2


def test_the_whole_schedule_stands_in_the_entry_that_signs_it(berth: Berth) -> None:
    body = berth.revision.signing.entry.body
    assert '"sealed"' in body
    assert "+-45" in body
    assert checked_book().is_whole


def test_superseded_is_worked_out_when_a_later_revision_is_signed(berth: Berth) -> None:
    assert revision_state(berth.revision) == RevisionState.SIGNED
    later = services.begin_revision(
        boat_model=berth.model, part_name=SHELL, based_on=berth.revision, drawn_by="EL", at=MORNING
    )
    assert revision_state(later) == RevisionState.DRAFT
    assert revision_state(berth.revision) == RevisionState.SIGNED
    sign(later)
    assert revision_state(berth.revision) == RevisionState.SUPERSEDED


def test_only_a_signed_revision_of_the_parts_own_schedule_comes_into_force(
    berth: Berth, page: ScheduleRevision
) -> None:
    deck = sign(draft(berth.model, berth.shelf, "Deck"))
    with refused("only a signed revision"):
        services.take_into_force(part=berth.part, revision=page, told=told())
    with refused("is no schedule of MB84 Hull shell"):
        services.take_into_force(part=berth.part, revision=deck, told=told())
    with refused("in force for MB84-01 Hull shell already"):
        services.take_into_force(part=berth.part, revision=berth.revision, told=told())


def test_a_second_model_of_one_name_is_refused(berth: Berth) -> None:
    with refused("There is a model MB84 already"):
        add_tender()


# ---- lay-up


def test_a_line_is_laid_from_its_lot_and_the_lot_holds_less(berth: Berth) -> None:
    lot = berth.shelf.lot(berth.shelf.biax)
    before = stock_left(lot)
    laying = berth.lay(2, quantity=4.2)
    assert stock_left(lot) == pytest.approx(before - 4.2)
    assert [judgement.level for judgement in laying.entry.judgements.all()] == ["pass"]
    assert lay_up(berth.part).laid_count == 1


def test_a_structural_line_needs_a_second_person_other_than_the_layer(berth: Berth) -> None:
    with refused("name the second person"):
        berth.lay(2, second_person="")
    with refused("another than the one who laid it"):
        berth.lay(2, second_person="MO")
    assert berth.lay(1, second_person="").second_person == ""


def test_a_crew_of_one_lays_alone(berth: Berth) -> None:
    for initials, role in (("MO", Role.BUILDER), ("RT", Role.BUILDER), ("EL", Role.OFFICE)):
        change_role(person=Person.objects.get(initials=initials), role=role, holds=False, told=told())
    assert berth.lay(2, laid_by="KJ", second_person="", told=told("KJ")).laid_by == "KJ"


def test_initials_of_nobody_are_refused(berth: Berth) -> None:
    with refused("nobody's initials"):
        berth.lay(2, laid_by="ZZ")


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"lot": None, "quantity": 0.0}, "lot", "Name the lot"),
        ({"quantity": 0.0}, "quantity", "above nought"),
        ({"quantity": -1.0}, "quantity", "above nought"),
        ({"outcome": LayingOutcome.OTHERWISE}, "deviation", "Say why"),
        ({"outcome": LayingOutcome.NOT_LAID, "deviation": "no cloth", "lot": None}, "quantity", "has no quantity"),
        ({"outcome": LayingOutcome.NOT_LAID, "deviation": "no cloth", "quantity": 0.0}, "lot", "from no lot"),
    ],
)
def test_a_laying_that_contradicts_itself_is_refused_by_field(
    berth: Berth, changes: dict[str, object], field: str, words: str
) -> None:
    with pytest.raises(Refused) as wrong:
        berth.lay(2, **changes)
    assert words in wrong.value.problems[field]
    assert not Laying.objects.exists()


def test_another_cloth_than_the_line_wants_is_laid_otherwise_with_a_reason(berth: Berth) -> None:
    quad = berth.shelf.lot(berth.shelf.quad)
    with refused("log it as laid otherwise"):
        berth.lay(2, lot=quad)
    laying = berth.lay(2, lot=quad, outcome=LayingOutcome.OTHERWISE, deviation="the biaxial roll was wet")
    assert lay_up(berth.part).deviations == (laying,)


def test_a_line_left_out_and_one_beside_the_schedule_are_deviations_with_reasons(berth: Berth) -> None:
    out = berth.lay(
        3, outcome=LayingOutcome.NOT_LAID, lot=None, quantity=0.0, second_person="", deviation="keel too narrow"
    )
    beside = berth.lay(2, line=None, outcome=LayingOutcome.EXTRA, deviation="local patch at station 4")
    laid_up = lay_up(berth.part)
    assert set(laid_up.deviations) == {out, beside}
    assert (laid_up.settled_count, laid_up.laid_count, laid_up.total_count) == (1, 0, 6)
    assert laid_up.lines[2].state == LayingOutcome.NOT_LAID


def test_a_correction_moves_the_stock_back_and_both_stay_readable(berth: Berth) -> None:
    lot = berth.shelf.lot(berth.shelf.biax)
    before = stock_left(lot)
    wrong = berth.lay(2, quantity=40.0)
    right = berth.lay(2, quantity=4.0, corrects=wrong, reason="a nought too many")
    assert stock_left(lot) == pytest.approx(before - 4.0)
    line = lay_up(berth.part).lines[1]
    assert line.layings == (right,)
    assert line.struck == (wrong,)
    with refused("corrected or struck out already"):
        berth.lay(2, quantity=5.0, corrects=wrong, reason="again")


def test_correcting_a_laying_that_emptied_the_lot_is_no_overdraft(berth: Berth) -> None:
    whole = stock_left(berth.shelf.lot(berth.shelf.uni))
    wrong = berth.lay(3, quantity=whole)
    right = berth.lay(3, quantity=whole - 1, corrects=wrong, reason="an end was left")
    assert [judgement.level for judgement in right.entry.judgements.all()] == ["pass"]


def test_a_held_lot_about_to_be_laid_is_stopped_unless_the_lead_gives_a_reason(berth: Berth) -> None:
    held = release(receive(berth.shelf.biax, code="R-0901"))
    decide_lot(lot=held, state=LotState.HELD, words="edge damage", told=told())
    with refused("held"):
        berth.lay(2, lot=held)
    with refused("only a quality lead's reason"):
        berth.lay(2, lot=held, lead_reason="edges cut off", told=told("MO"))
    laying = berth.lay(2, lot=held, lead_reason="edges cut off", told=told("KJ"))
    assert (laying.lead, laying.lead_reason) == ("KJ", "edges cut off")
    assert [judgement.level for judgement in laying.entry.judgements.all()] == ["fail"]


def test_a_held_lot_laid_already_is_kept_with_its_verdict(berth: Berth) -> None:
    held = release(receive(berth.shelf.biax, code="R-0901"))
    decide_lot(lot=held, state=LotState.HELD, words="edge damage", told=told())
    earlier = told("MO", at=MORNING + dt.timedelta(hours=3), happened_at=MORNING + dt.timedelta(hours=1))
    laying = berth.lay(2, lot=held, told=earlier)
    assert laying.lead == ""
    assert [judgement.level for judgement in laying.entry.judgements.all()] == ["fail"]


def test_nothing_is_laid_to_a_revision_that_is_not_in_force(berth: Berth) -> None:
    other = lay_down(berth.model, berth.shop, "MB84-02", pull_number=2)
    part = Part.objects.get(hull=other)
    with refused("No revision is in force"):
        berth.lay(2, part=part)
    later = services.begin_revision(
        boat_model=berth.model, part_name=SHELL, based_on=berth.revision, drawn_by="EL", at=MORNING
    )
    services.take_into_force(part=berth.part, revision=sign(later), told=told())
    with refused("the line given is of another revision"):
        berth.lay(2)


def test_a_line_laid_counts_on_under_a_later_revision_that_says_the_same(berth: Berth) -> None:
    berth.lay(2)
    berth.lay(4)
    kept = berth.lay(3)
    later = services.begin_revision(boat_model=berth.model, part_name=SHELL, drawn_by="EL", at=MORNING)
    keel, *rest = lines(berth.shelf)
    changed = [
        keel,
        GivenLine(2, "Keel", berth.shelf.quad, "0/90"),
        *(
            GivenLine(i.number + 1, i.zone, i.material, i.angle_deg, i.lap_mm, i.is_structural)
            for i in rest
            if i.number != 3
        ),
    ]
    services.write_revision(revision=later, zones=zones(), lines=changed)
    services.take_into_force(part=berth.part, revision=sign(later), told=told())
    laid_up = lay_up(berth.part)
    assert [one.line.number for one in laid_up.lines if one.is_settled] == [3, 5]
    assert laid_up.earlier == (kept,)


def test_a_revision_taken_by_mistake_is_struck_out_and_the_one_before_is_in_force(berth: Berth) -> None:
    later = services.begin_revision(
        boat_model=berth.model, part_name=SHELL, based_on=berth.revision, drawn_by="EL", at=MORNING
    )
    services.take_into_force(part=berth.part, revision=sign(later), told=told())
    taken = RevisionInForce.objects.get(revision=later)
    strike_out(entry=taken.entry, reason="wrong hull", told=told())
    assert revision_in_force(berth.part) == berth.revision


# ---- hold points and leaving


def test_a_hold_point_is_released_once_with_what_was_missing_then(berth: Berth) -> None:
    release_row = services.release_hold_point(
        hull=berth.hull, number=2, words="as per procedure", missing="photo of the skin coat", told=told()
    )
    cards = hold_points(berth.hull)
    assert [card.point.number for card in cards] == list(range(13))
    assert cards[2].release == release_row
    assert cards[2].release.missing == "photo of the skin coat"
    with refused("released already"):
        services.release_hold_point(hull=berth.hull, number=2, words="", missing="", told=told())
    strike_out(entry=release_row.entry, reason="climate log has a hole", told=told())
    again = services.release_hold_point(hull=berth.hull, number=2, words="", missing="", told=told())
    assert hold_points(berth.hull)[2].release == again
    assert hold_points(berth.hull)[2].struck == (release_row,)


def test_there_is_no_hold_point_thirteen(berth: Berth) -> None:
    with refused("run from 0 to 12"):
        services.release_hold_point(hull=berth.hull, number=13, words="", missing="", told=told())


def test_a_hull_leaves_once_and_not_before_it_was_laid_down_nor_tomorrow(berth: Berth) -> None:
    def leave(day: dt.date) -> None:
        services.leave_yard(hull=berth.hull, left_on=day, delivered_to="", told=told())

    with refused("it left later than that"):
        leave(DAY - dt.timedelta(days=8))
    with refused("lies ahead"):
        leave(DAY + dt.timedelta(days=1))
    leave(DAY)
    with refused("left the yard on 2026-05-12"):
        leave(DAY)
