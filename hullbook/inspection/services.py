"""What is logged when a part is tried, weighed and looked at, and what is decided about it."""

from collections.abc import Sequence

from django.utils import timezone

from hullbook.calc.errors import InputRefused
from hullbook.hulls.models import Part, Zone
from hullbook.hulls.selectors import revision_in_force
from hullbook.hulls.services import GivenPlace, skin_place
from hullbook.inspection.enums import Decision, FindingKind, Surface, Weighed
from hullbook.inspection.models import Finding, FindingDecision, HardnessReading, HardnessSet, Weighing
from hullbook.inspection.selectors import decision_about, hardness_result
from hullbook.records.models import Entry
from hullbook.records.services import Refused, Told, append, judgements, logs, refuse_second_correction
from hullbook.yard.models import Instrument
from hullbook.yard.selectors import calibration_on


@logs
def log_hardness(
    *,
    part: Part,
    zone_name: str,
    place: str,
    surface: Surface,
    tester: Instrument,
    disc_low: float,
    disc_high: float,
    disc_reading: float,
    part_temperature_c: float,
    required_mean: float,
    required_source: str,
    readings: Sequence[tuple[float, str]],
    told: Told,
    at: GivenPlace | None = None,
    corrects: HardnessSet | None = None,
    reason: str = "",
) -> HardnessSet:
    """One set of readings of one zone and surface, each reading with the reason why it is left out, or with none.

    The mean is judged only where the check disc read within the range marked on it and there are as many readings as
    the standard asks for.
    """
    _refuse_correction(corrects, part)
    _require_zone(part, zone_name)
    if disc_low > disc_high:
        raise Refused({"disc_low": f"The disc is marked {disc_low:g} to {disc_high:g}? Give the lower figure first."})
    if not any(not because for _, because in readings):
        raise Refused({"readings": "Give at least one reading that counts."})
    if not required_source.strip():
        raise Refused({"required_source": "Say where the required mean comes from: the sheet, the specification."})
    hardness_set = HardnessSet(
        part=part,
        zone_name=zone_name,
        place=place.strip(),
        surface=surface,
        tester=tester,
        disc_low=disc_low,
        disc_high=disc_high,
        disc_reading=disc_reading,
        part_temperature_c=part_temperature_c,
        required_mean=required_mean,
        required_source=required_source.strip(),
        corrects=corrects,
        reason=reason.strip(),
    )
    try:
        result = hardness_result(hardness_set, readings, calibration_on(tester, timezone.localdate(told.happened_at)))
    except InputRefused as refused:
        raise Refused({refused.field: str(refused)}) from refused
    lines = [HardnessReading(value=value, left_out_because=because.strip()) for value, because in readings]
    return append(
        hardness_set, [*lines, *skin_place(at), *judgements([result.verdict])], told=told, about=part.hull.number
    )


@logs
def log_weighing(
    *,
    part: Part,
    what: Weighed,
    mass_kg: float,
    standard_uncertainty_kg: float,
    scale: Instrument | None,
    source: str,
    told: Told,
    corrects: Weighing | None = None,
    reason: str = "",
) -> Weighing:
    """What the part or something in it weighs, by a scale or worked out, with one standard uncertainty."""
    _refuse_correction(corrects, part)
    if scale is None and not source.strip():
        raise Refused({"source": "Name the scale, or say what the weight was worked out from."})
    weighing = Weighing(
        part=part,
        what=what,
        mass_kg=mass_kg,
        standard_uncertainty_kg=standard_uncertainty_kg,
        scale=scale,
        source=source.strip() or "weighed",
        corrects=corrects,
        reason=reason.strip(),
    )
    return append(weighing, told=told, about=part.hull.number)


@logs
def log_finding(
    *,
    part: Part,
    kind: FindingKind,
    zone_name: str,
    place: str,
    length_mm: float | None,
    width_mm: float | None,
    words: str,
    told: Told,
    at: GivenPlace | None = None,
    corrects: Finding | None = None,
    reason: str = "",
) -> Finding:
    """Something seen in a zone, or the word that somebody looked there and found nothing."""
    _refuse_correction(corrects, part)
    _require_zone(part, zone_name)
    if kind == FindingKind.NOTHING and (length_mm is not None or width_mm is not None):
        raise Refused({"length_mm": "Nothing found has no size; leave it empty, or choose what was found."})
    if kind == FindingKind.OTHER and not words.strip():
        raise Refused({"words": "Say what was found."})
    finding = Finding(
        part=part,
        kind=kind,
        zone_name=zone_name,
        place=place.strip(),
        length_mm=length_mm,
        width_mm=width_mm,
        words=words.strip(),
        corrects=corrects,
        reason=reason.strip(),
    )
    return append(finding, skin_place(at), told=told, about=part.hull.number)


@logs
def decide_finding(
    *,
    about_entry: Entry,
    decision: Decision,
    words: str,
    told: Told,
    corrects: FindingDecision | None = None,
    reason: str = "",
) -> FindingDecision:
    """What is done about a finding, or about an entry that was judged to be outside a limit."""
    if corrects is not None:
        refuse_second_correction(corrects)
        if corrects.about_entry_id != about_entry.pk:
            raise Refused(f"Entry {corrects.pk} decides entry {corrects.about_entry_id}, not {about_entry.pk}.")
    if not words.strip():
        raise Refused({"words": "Say what was decided and why."})
    earlier = decision_about(about_entry)
    if earlier is not None and corrects is None:
        raise Refused(f"Entry {about_entry.pk} was decided in entry {earlier.pk}; to change that, correct it.")
    row = FindingDecision(
        about_entry=about_entry, decision=decision, words=words.strip(), corrects=corrects, reason=reason.strip()
    )
    return append(row, told=told, about=about_entry.about)


def _refuse_correction(corrects: HardnessSet | Weighing | Finding | None, part: Part) -> None:
    if corrects is None:
        return
    refuse_second_correction(corrects)
    if corrects.part_id != part.pk:
        raise Refused(f"Entry {corrects.pk} is about {corrects.part}; correct it there.")


def _require_zone(part: Part, zone_name: str) -> None:
    """A zone is one of the schedule in force; a part without one takes any name."""
    revision = revision_in_force(part)
    if revision is None:
        return
    names = list(Zone.objects.filter(revision=revision).order_by("position").values_list("name", flat=True))
    if zone_name not in names:
        raise Refused({"zone_name": f'There is no zone "{zone_name}" in {revision}; it has {", ".join(names)}.'})
