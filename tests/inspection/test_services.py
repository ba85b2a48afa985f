import pytest

from hullbook.inspection.enums import Decision, FindingKind, Surface, Weighed
from hullbook.inspection.models import Finding, HardnessSet, Weighing
from hullbook.inspection.selectors import findings_of, hardness_sets, open_findings, required_hardness, weighings
from hullbook.inspection.services import decide_finding, log_finding, log_weighing
from hullbook.materials.services import strike_out
from hullbook.pours.models import Pour
from hullbook.records.models import Entry, Judgement
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from hullbook.yard.enums import LimitName
from hullbook.yard.services import set_limit
from tests.cast import told
from tests.inspection.factories import LAST_DAY, Sheltered, hours, sheltered

pytestmark = pytest.mark.django_db
AFTERWARDS = hours(LAST_DAY, 6)

# Twelve impressor readings; mean, sample deviation and the 95 % interval recomputed by hand and with scipy:
# 40.58, 4.188, +-2.661. The maker's 44 at 90 % is 39.60.
TWELVE = [38, 42, 44, 41, 36, 45, 43, 39, 46, 40, 42, 31]


def judged(tried: HardnessSet) -> Judgement:
    return tried.entry.judgements.get(code="hardness.mean")


# Hardness


def test_a_set_gives_mean_spread_and_the_lowest(whole: Sheltered) -> None:
    whole.try_hardness("Keel", AFTERWARDS, TWELVE)
    result = hardness_sets(whole.part)[-1].result
    assert (result.n, result.lowest) == (12, 31)
    assert result.mean == pytest.approx(40.58, rel=1e-3)
    assert result.sd == pytest.approx(4.188, rel=1e-3)


def test_gelcoat_wants_fewer_readings_and_passes_within_its_uncertainty(whole: Sheltered) -> None:
    tried = whole.try_hardness("Keel", AFTERWARDS, TWELVE, surface=Surface.GELCOAT, required_mean=39.6)
    verdict = judged(tried)
    assert (verdict.level, verdict.low) == ("conditional pass", 39.6)
    assert verdict.expanded_uncertainty == pytest.approx(2.661, rel=2e-2)


def test_a_laminate_with_too_few_readings_gets_no_verdict(whole: Sheltered) -> None:
    """The standard's table asks for 22 readings of a reinforced laminate at a mean of 40 (ASTM D2583, from memory)."""
    verdict = judged(whole.try_hardness("Keel", AFTERWARDS, TWELVE, required_mean=39.6))
    assert (verdict.level, verdict.because) == ("no verdict", "12 of 22 readings: take 10 more")


def test_a_check_disc_outside_its_marks_voids_the_set(whole: Sheltered) -> None:
    verdict = judged(whole.try_hardness("Keel", AFTERWARDS, disc_reading=83.0))
    assert verdict.level == "no verdict"
    assert "check disc read 83" in verdict.because


def test_readings_at_the_marks_of_the_disc_still_count(whole: Sheltered) -> None:
    assert judged(whole.try_hardness("Keel", AFTERWARDS, disc_reading=87.0)).level == "pass"


def test_a_reading_left_out_with_a_reason_is_kept_and_not_counted(whole: Sheltered) -> None:
    readings = [(45.0, "")] * 20 + [(12.0, "edge")]
    tried = whole.try_hardness("Keel", AFTERWARDS, readings=readings, told=told("MO", at=AFTERWARDS))
    view = hardness_sets(whole.part)[-1]
    assert (view.result.n, view.result.discarded, view.result.mean) == (20, 1, 45.0)
    assert tried.readings.count() == 21


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"readings": [(31.0, "edge")]}, "readings"),
        ({"readings": [(131.0, "")]}, "readings"),
        ({"disc_low": 88.0}, "disc_low"),
        ({"zone_name": "Topsides"}, "zone_name"),
        ({"required_source": " "}, "required_source"),
    ],
)
def test_a_set_that_cannot_be_is_refused_and_changes_nothing(whole: Sheltered, changes: dict, field: str) -> None:
    before = Entry.objects.count()
    zone = changes.pop("zone_name", "Keel")
    with pytest.raises(Refused) as refused:
        whole.try_hardness(zone, AFTERWARDS, **changes)
    assert field in refused.value.problems
    assert Entry.objects.count() == before


def test_what_is_wanted_comes_from_the_resin_sheet(whole: Sheltered) -> None:
    required = required_hardness(whole.part)
    assert required is not None
    assert required.mean == 35.0
    assert "invented data sheet, edition 2" in required.source


def test_the_yards_own_share_lowers_what_is_wanted_and_says_so(whole: Sheltered) -> None:
    set_limit(
        name=LimitName.HARDNESS_SHARE,
        low=90.0,
        high=None,
        over_minutes=None,
        source="invented procedure LP-2",
        told=told(),
    )
    required = required_hardness(whole.part)
    assert required is not None
    assert required.mean == 31.5
    assert required.source.startswith("90 % (invented procedure LP-2) of Vinyl ester")


def test_a_corrected_set_stays_with_a_line_through_it(whole: Sheltered) -> None:
    first = whole.try_hardness("Keel", AFTERWARDS, [20.0] * 30)
    assert judged(first).level == "fail"
    whole.try_hardness("Keel", AFTERWARDS, corrects=first, reason="dial read wrong")
    views = [view for view in hardness_sets(whole.part) if view.hardness_set.pk == first.pk]
    assert views[0].replaced.endswith("dial read wrong")
    assert open_findings(whole.hull) == []
    (struck,) = [found for found in findings_of(whole.hull) if found.entry.pk == first.pk]
    assert struck.gone.startswith("corrected in entry")
    with pytest.raises(Refused):
        whole.try_hardness("Keel", AFTERWARDS, corrects=first, reason="again")


# Weights


def test_a_weight_names_its_scale_or_what_it_was_worked_out_from(whole: Sheltered) -> None:
    with pytest.raises(Refused) as refused:
        log_weighing(
            part=whole.part,
            what=Weighed.CORE,
            mass_kg=30.0,
            standard_uncertainty_kg=0.5,
            scale=None,
            source="",
            told=told("MO", at=AFTERWARDS),
        )
    assert "source" in refused.value.problems


def test_a_weight_below_nought_is_refused(whole: Sheltered) -> None:
    with pytest.raises(Refused):
        whole.weigh(Weighed.SHELL, -1.0, 0.5, AFTERWARDS)


def test_a_corrected_weight_stays_readable(whole: Sheltered) -> None:
    first = Weighing.objects.current().get(what=Weighed.CORE)
    log_weighing(
        part=whole.part,
        what=Weighed.CORE,
        mass_kg=30.0,
        standard_uncertainty_kg=0.4,
        scale=None,
        source="invented cut lists, second count",
        told=told("MO", at=AFTERWARDS),
        corrects=first,
        reason="a sheet was not counted",
    )
    by_entry = {view.weighing.pk: view.replaced for view in weighings(whole.part)}
    assert by_entry[first.pk].endswith("a sheet was not counted")


# Findings and decisions


def find(berth: Sheltered, kind: FindingKind = FindingKind.VOID, **changes: object) -> Entry:
    fields: dict[str, object] = {
        "part": berth.part,
        "kind": kind,
        "zone_name": "Bottom",
        "place": "inside",
        "length_mm": None,
        "width_mm": None,
        "words": "",
        "told": told("MO", at=AFTERWARDS),
    }
    return log_finding(**{**fields, **changes}).entry  # type: ignore[arg-type]


def test_a_finding_is_open_until_it_is_decided(whole: Sheltered) -> None:
    entry = find(whole, length_mm=40.0, width_mm=25.0)
    (found,) = open_findings(whole.hull)
    assert (found.entry, found.words) == (entry, "40\u00a0mm by 25\u00a0mm")
    decide_finding(about_entry=entry, decision=Decision.REPAIR, words="ground out", told=told(at=AFTERWARDS))
    assert open_findings(whole.hull) == []


def test_looked_and_nothing_found_is_an_entry_and_not_an_open_finding(whole: Sheltered) -> None:
    find(whole, FindingKind.NOTHING)
    assert open_findings(whole.hull) == []
    assert any(found.nothing_found for found in findings_of(whole.hull))


@pytest.mark.parametrize(
    ("kind", "changes", "field"),
    [
        (FindingKind.NOTHING, {"length_mm": 12.0}, "length_mm"),
        (FindingKind.OTHER, {}, "words"),
        (FindingKind.VOID, {"zone_name": "Topsides"}, "zone_name"),
    ],
)
def test_a_finding_that_says_too_little_or_too_much_is_refused(
    whole: Sheltered, kind: FindingKind, changes: dict, field: str
) -> None:
    with pytest.raises(Refused) as refused:
        find(whole, kind, **changes)
    assert field in refused.value.problems


def test_a_finding_is_decided_once_and_then_only_corrected(whole: Sheltered) -> None:
    entry = find(whole)
    first = decide_finding(about_entry=entry, decision=Decision.REPAIR, words="ground out", told=told(at=AFTERWARDS))
    with pytest.raises(Refused):
        decide_finding(about_entry=entry, decision=Decision.ACCEPT, words="small", told=told(at=AFTERWARDS))
    decide_finding(
        about_entry=entry,
        decision=Decision.ACCEPT,
        words="small",
        told=told(at=AFTERWARDS),
        corrects=first,
        reason="looked again in daylight",
    )
    (found,) = [found for found in findings_of(whole.hull) if found.entry == entry]
    assert found.decision is not None
    assert found.decision.decision == Decision.ACCEPT


def test_a_decision_without_a_reason_is_refused(whole: Sheltered) -> None:
    with pytest.raises(Refused):
        decide_finding(about_entry=find(whole), decision=Decision.ACCEPT, words=" ", told=told(at=AFTERWARDS))


def test_a_struck_out_finding_stays_listed_and_is_not_open(whole: Sheltered) -> None:
    entry = find(whole)
    strike_out(entry=entry, reason="wrong hull", told=told(at=AFTERWARDS))
    assert open_findings(whole.hull) == []
    (found,) = [found for found in findings_of(whole.hull) if found.entry == entry]
    assert found.gone.endswith("wrong hull")


def test_a_failed_verdict_is_an_open_finding_and_striking_its_entry_ends_it(whole: Sheltered) -> None:
    soft = whole.try_hardness("Keel", AFTERWARDS, [20.0] * 30)
    (found,) = open_findings(whole.hull)
    assert (found.code, found.level) == ("hardness.mean", "fail")
    strike_out(entry=soft.entry, reason="wrong impressor", told=told(at=AFTERWARDS))
    assert open_findings(whole.hull) == []


def test_the_same_form_sent_twice_is_one_set(whole: Sheltered) -> None:
    once = told("MO", at=AFTERWARDS)
    first = whole.try_hardness("Keel", AFTERWARDS, told=once)
    again = whole.try_hardness("Keel", AFTERWARDS, told=once)
    assert first.pk == again.pk


def test_the_book_of_a_complete_hull_is_whole(whole: Sheltered) -> None:
    assert checked_book().is_whole


# What a correction and a strike-out may not do


def scratch(berth: Sheltered, **changes: object) -> Finding:
    fields: dict[str, object] = {
        "part": berth.part,
        "kind": FindingKind.OTHER,
        "zone_name": "Keel",
        "place": "",
        "length_mm": None,
        "width_mm": None,
        "words": "a scratch",
        "told": told("MO", at=AFTERWARDS),
    }
    return log_finding(**{**fields, **changes})  # type: ignore[arg-type]


def test_a_finding_on_one_hull_is_not_corrected_by_one_on_another(whole: Sheltered) -> None:
    finding = scratch(whole)
    other = sheltered(whole.shop, whole.shelf, "MB84-02")
    with pytest.raises(Refused, match="is about MB84-01 Hull shell; correct it there"):
        scratch(other, corrects=finding, reason="wrong hull")
    assert finding.is_current


def test_a_correction_that_comes_after_a_strike_out_is_refused_however_old_its_page(whole: Sheltered) -> None:
    finding = scratch(whole)
    assert finding.is_current, "as the page saw it"
    strike_out(entry=Entry.objects.get(pk=finding.pk), reason="was dust", told=told(at=AFTERWARDS))
    assert finding.is_current, "and still remembers it"
    with pytest.raises(Refused, match="corrected or struck out already"):
        scratch(whole, corrects=finding, reason="longer than that")


def test_a_decision_is_corrected_about_its_own_entry_only(whole: Sheltered) -> None:
    first, second = scratch(whole), scratch(whole)
    decision = decide_finding(
        about_entry=first.entry, decision=Decision.ACCEPT, words="shallow", told=told(at=AFTERWARDS)
    )
    with pytest.raises(Refused, match=f"decides entry {first.pk}, not {second.pk}"):
        decide_finding(
            about_entry=second.entry,
            decision=Decision.REPAIR,
            words="deep",
            corrects=decision,
            reason="mistaken",
            told=told(at=AFTERWARDS),
        )


def test_an_entry_on_which_others_rest_is_not_struck_out(whole: Sheltered) -> None:
    pour = Pour.objects.select_related("entry").get(part=whole.part)
    for row in (whole.hull, whole.part, pour.plan, pour, pour.mixes.all()[0]):
        with pytest.raises(Refused, match=r"entry \d+ rests on it"):
            strike_out(entry=Entry.objects.get(pk=row.pk), reason="never was", told=told(at=AFTERWARDS))
        assert row.is_current
