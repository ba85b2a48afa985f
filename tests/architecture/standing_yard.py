"""One yard in which every page has something to show and every table a row, and the way to every page of it."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone

from hullbook.dossier.models import DossierIssue
from hullbook.dossier.services import issue_dossier
from hullbook.hulls.enums import HullSide, InShed, LayingOutcome, PaperKind, Side
from hullbook.hulls.models import ScheduleRevision
from hullbook.hulls.services import GivenPlace, begin_revision, leave_yard, place_in_shed, print_paper_sheet
from hullbook.inspection.enums import Decision, FindingKind, Weighed
from hullbook.inspection.models import Weighing
from hullbook.inspection.services import decide_finding, log_finding
from hullbook.materials.models import Certificate
from hullbook.materials.services import strike_out
from hullbook.pours.enums import AlarmRank, GaugeKind, InletMove, PailEnded, ReadingOf, TroubleKind
from hullbook.pours.models import Mix, Pour
from hullbook.pours.services import (
    GivenInlet,
    GivenLine,
    GivenStation,
    answer_question,
    end_pail,
    log_bag_pressure,
    log_feed_layout,
    log_front,
    log_pour_temperature,
    log_trial_panel,
    log_trouble,
    mend_trouble,
    move_inlet,
    note_in_pour,
    take_alarm,
    try_sound,
)
from hullbook.records.services import Told
from hullbook.yard.enums import LimitName, Role
from hullbook.yard.models import Person, Tablet
from hullbook.yard.services import (
    add_person,
    change_role,
    enrol_tablet,
    give_pin,
    lift_tablet,
    log_sign_in,
    make_device,
    put_on_strip,
)
from tests.cast import MORNING, open_shop, told
from tests.hulls.factories import bring_photo, picture
from tests.hulls.test_lines import give_lines
from tests.inspection.factories import LAST_DAY, POUR_DAY, Sheltered, complete_hull, hours, sheltered
from tests.materials.factories import stock_shelf
from tests.pours.factories import log_cup, panel_fields, read_plan

TABLET_KEY = "5" * 64


@dataclass(frozen=True)
class StandingYard:
    """A whole hull, a second one that has left, and for every page the arguments it is reached by."""

    berth: Sheltered
    people: dict[str, Person]
    tablet: Tablet
    arguments: dict[str, tuple[Any, ...]]


def just_now(person: str, **changes: object) -> Told:
    return told(person, at=timezone.now(), **changes)


def stand_up() -> StandingYard:
    shop = open_shop()
    change = add_person(
        initials="NN",
        full_name="Nobody in particular (invented)",
        sign_in_name="nn",
        password=None,
        roles=[Role.OFFICE],
        told=told(),
    )
    change_role(person=change.person, role=Role.OFFICE, holds=False, told=told())
    berth = complete_hull(shop, stock_shelf(shop))
    pour = Pour.objects.get(part=berth.part)
    laying = berth.lay(
        1, hours(MORNING, 4.9), outcome=LayingOutcome.OTHERWISE, deviation="a patch beside it", told=just_now("MO")
    )
    poured_at = hours(POUR_DAY, 1.9)
    mix = berth.mix(pour, 6, poured_at, 5.0, told=just_now("MO", happened_at=poured_at))
    while_resin_ran(berth, pour, mix)
    cup = log_cup(berth, told=just_now("MO"))
    log_trial_panel(**panel_fields(berth), readings=[(n, 95.0 * n**0.5) for n in range(1, 7)], told=just_now("MO"))
    read_plan(berth, told=just_now("KJ"))
    hardness = berth.try_hardness("Keel", timezone.now())
    berth.weigh(Weighed.INSERTS, 0.4, 0.1, timezone.now())
    finding = log_finding(
        part=berth.part,
        kind=FindingKind.OTHER,
        zone_name="Keel",
        place="inside",
        length_mm=20.0,
        width_mm=5.0,
        words="a scratch",
        at=GivenPlace("port", "5", 160.0),
        told=just_now("MO"),
    )
    decided = log_finding(
        part=berth.part,
        kind=FindingKind.OTHER,
        zone_name="Keel",
        place="inside",
        length_mm=None,
        width_mm=None,
        words="a smear",
        told=told("RT", at=LAST_DAY),
    )
    decide_finding(about_entry=decided.entry, decision=Decision.ACCEPT, words="wiped off", told=told(at=LAST_DAY))
    strike_out(entry=decided.entry, reason="was nothing", told=told(at=hours(LAST_DAY, 1)))
    photo = bring_photo(finding.entry, picture(), told=just_now("MO"))
    rev_b = begin_revision(
        boat_model=berth.hull.boat_model, part_name=berth.part.name, based_on=berth.revision, drawn_by="EL", at=MORNING
    )
    other = sheltered(shop, berth.shelf, "MB84-02")
    leave_yard(
        hull=other.hull, left_on=LAST_DAY.date(), delivered_to="the pilots (invented)", told=told(at=hours(LAST_DAY, 1))
    )
    give_lines(berth.hull.boat_model)
    place_in_shed(
        what=InShed.MOULD,
        name=berth.hull.mould,
        x_m=7.0,
        y_m=4.0,
        length_m=9.2,
        width_m=3.6,
        heading_deg=0.0,
        told=told(at=LAST_DAY),
    )
    print_paper_sheet(part=berth.part, kind=PaperKind.POUR, told=told(at=LAST_DAY))
    issue = issue_dossier(hull=berth.hull, told=told(at=timezone.now()))
    log_sign_in(sign_in_name="mo", address="127.0.0.1", succeeded=True)
    make_device()
    give_pin(person=shop.lead, pin="274915", told=told())
    lift_tablet(tablet=enrol_tablet(name="tablet bay 2", key="lifted", told=told()).tablet, told=told())
    tablet = enrol_tablet(name="tablet bay 1", key=TABLET_KEY, told=told()).tablet
    for person in (shop.lead, shop.builder, shop.office):
        put_on_strip(tablet=tablet, person=person)
    return StandingYard(
        berth=berth,
        people={"lead": shop.lead, "builder": shop.builder, "office": shop.office, "no role": change.person},
        tablet=tablet,
        arguments=_arguments(
            berth,
            laying=laying.pk,
            mix=mix.pk,
            cup=cup.pk,
            hardness=hardness.pk,
            finding=finding.pk,
            photo=photo.pk,
            weighing=Weighing.objects.order_by("-pk")[0].pk,
            rev_b=rev_b,
            issue=issue,
        ),
    )


def while_resin_ran(berth: Sheltered, pour: Pour, mix: Mix) -> None:
    """One of everything that a pour day logs."""
    at = told("MO", at=hours(POUR_DAY, 1.95))

    def then() -> Told:
        return replace(at, entry_id=uuid.uuid4())

    log_feed_layout(
        part=berth.part,
        lines=[GivenLine(1, "keel", 0.0, Side.BOTH)],
        inlets=[GivenInlet(1, 1, Side.BOTH)],
        stations=[GivenStation("5", 1450.0)],
        words="invented drawing",
        told=then(),
    )
    try_sound(pour=pour, heard=True, told=then())
    move_inlet(pour=pour, inlet_number=1, move=InletMove.OPENED, told=then())
    log_front(pour=pour, station="5", side=HullSide.PORT, girth_mm=300.0, landmark="", told=then())
    log_bag_pressure(
        pour=pour,
        gauge=berth.shop.gauge,
        gauge_kind=GaugeKind.ABSOLUTE,
        gauge_mbar=14.2,
        station_pressure_mbar=None,
        place="",
        told=then(),
    )
    log_pour_temperature(
        pour=pour,
        what=ReadingOf.LAMINATE,
        thermometer=berth.shop.thermometer,
        temperature_c=22.0,
        place="keel, station 5",
        told=then(),
    )
    mend_trouble(
        trouble=log_trouble(pour=pour, kind=TroubleKind.LEAK, station="5", told=then()), words="taped", told=then()
    )
    end_pail(mix=mix, how=PailEnded.EMPTY, told=then())
    note_in_pour(pour=pour, words="hose straightened", told=then())
    take_alarm(pour=pour, code="bag pressure", rank=AlarmRank.NOW, told=then())
    answer_question(pour=pour, question="not-read-0900", words="hands full", told=then())


def _arguments(
    berth: Sheltered,
    *,
    laying: int,
    mix: int,
    cup: int,
    hardness: int,
    finding: int,
    photo: int,
    weighing: int,
    rev_b: ScheduleRevision,
    issue: DossierIssue,
) -> dict[str, tuple[Any, ...]]:
    model, hull, part = berth.hull.boat_model.name, berth.hull.number, berth.part.name
    of_hull, of_part, of_pour = (hull,), (hull, part), (hull, part, 1)
    draft, signed = (model, part, rev_b.letter), (model, part, berth.revision.letter)
    lot = berth.shelf.lot(berth.shelf.resin)
    certificate = Certificate.objects.filter(lot=lot).get()
    return {
        "hulls:shed": (),
        "hulls:shed-places": (),
        "hulls:shed-place": (),
        "hulls:hull-list": (),
        "hulls:hull-lay-down": (),
        "hulls:hull": of_hull,
        "hulls:craft-number-give": of_hull,
        "hulls:craft-number-correct": of_hull,
        "hulls:hold-points": of_hull,
        "hulls:hold-point-release": (hull, 12),
        "hulls:yard-leave": of_hull,
        "hulls:entries": of_hull,
        "hulls:strike-out": (hull, finding),
        "hulls:entry-correct": (hull, finding),
        "hulls:revision-take": of_part,
        "hulls:lay-up": of_part,
        "hulls:photo": (hull, photo),
        "hulls:photo-pieces": ("0" * 64,),
        "hulls:photo-piece": ("0" * 64, 0),
        "hulls:photo-log": ("0" * 64,),
        "hulls:paper-sheets": of_part,
        "hulls:paper-sheet": (hull, 1),
        "hulls:laying-log": of_part,
        "hulls:laying-correct": (*of_part, laying),
        "hulls:boat-models": (),
        "hulls:boat-model-add": (),
        "hulls:lines": (model,),
        "hulls:lines-take-in": (model,),
        "hulls:lines-csv": (model,),
        "hulls:schedules": (model,),
        "hulls:revision-begin": (model,),
        "hulls:schedule": signed,
        "hulls:schedule-write": draft,
        "hulls:schedule-take-in": draft,
        "hulls:schedule-csv": signed,
        "hulls:schedule-sign": draft,
        "hulls:difference": (*draft, berth.revision.letter),
        "yard:sign-in": (),
        "yard:sign-out": (),
        "yard:yard": (),
        "yard:yard-name": (),
        "yard:person-add": (),
        "yard:role-change": (),
        "yard:pin-give": (),
        "yard:own-pin": (),
        "yard:tablets": (),
        "yard:tablet-enrol": (),
        "yard:tablet-lift": ("tablet-bay-1",),
        "yard:tablet-state": (),
        "yard:setting-up": (),
        "yard:waiting": (),
        "yard:who": (),
        "yard:light": (),
        "yard:strip": (),
        "yard:bay-add": (),
        "yard:instrument-add": (),
        "yard:calibration-add": (berth.shop.scale.code,),
        "yard:limit-set": (LimitName.HOLD_RISE.value,),
        "yard:climate-log": (),
        "yard:climate": (berth.shop.bay.code,),
        "materials:store": (),
        "materials:ledger": (),
        "materials:material-list": (),
        "materials:materials-import": (),
        "materials:materials-csv": (),
        "materials:material-add": ("core",),
        "materials:material": (lot.material.code,),
        "materials:sheet-revise": (lot.material.code,),
        "materials:system-add": (),
        "materials:system": (berth.shelf.system.code,),
        "materials:receive": (),
        "materials:lot-receive": (lot.material.code,),
        "materials:lot": (lot.code,),
        "materials:certificate-attach": (lot.code,),
        "materials:certificate": (lot.code, certificate.pk),
        "materials:lot-decide": (lot.code, "hold"),
        "pours:resin": of_part,
        "pours:plan": of_part,
        "pours:plan-set": of_part,
        "pours:pour-plan": of_part,
        "pours:pour-plan-read": of_part,
        "pours:pour-plan-as-read": of_pour,
        "pours:pour-checklist": of_part,
        "pours:tried": of_part,
        "pours:gel-cup-log": of_part,
        "pours:trial-panel-log": of_part,
        "pours:tried-strike-out": (*of_part, cup),
        "pours:hold-tests": of_part,
        "pours:hold-test-log": of_part,
        "pours:hold-test": of_pour,
        "pours:begin": of_part,
        "pours:pour": of_pour,
        "pours:mix-log": of_pour,
        "pours:mix-correct": (*of_pour, mix),
        "pours:remainder-log": of_pour,
        "pours:gel-log": of_pour,
        "pours:close": of_pour,
        "pours:layout-log": of_part,
        "pours:day": of_pour,
        "pours:sheet": of_pour,
        "pours:inlet-log": of_pour,
        "pours:front-log": of_pour,
        "pours:reading-log": of_pour,
        "pours:trouble-log": of_pour,
        "pours:mended": of_pour,
        "pours:pail-end": of_pour,
        "pours:note": of_pour,
        "pours:sound": of_pour,
        "pours:alarm": of_pour,
        "pours:questions": of_pour,
        "pours:answer": of_pour,
        "pours:gaps": of_pour,
        "cure:cure": of_part,
        "cure:reading-log": of_part,
        "cure:demould-log": of_part,
        "inspection:shed-stages": (),
        "inspection:stages": of_hull,
        "inspection:now": of_hull,
        "inspection:kept": of_hull,
        "inspection:missing": of_hull,
        "inspection:findings": of_hull,
        "inspection:decide": (hull, finding),
        "inspection:resin": of_hull,
        "inspection:resin-csv": of_hull,
        "inspection:finding-log": of_part,
        "inspection:finding-correct": (*of_part, finding),
        "inspection:hardness": of_part,
        "inspection:hardness-log": of_part,
        "inspection:hardness-correct": (*of_part, hardness),
        "inspection:balance": of_part,
        "inspection:weighing-log": of_part,
        "inspection:weighing-correct": (*of_part, weighing),
        "dossier:dossier": of_hull,
        "dossier:issue": of_hull,
        "dossier:draw": of_hull,
        "dossier:download": (hull, issue.number),
        "web:service-worker": (),
        "web:manifest": (),
        "trace:trace": (),
        "trace:lot": (lot.code,),
        "trace:hull": of_hull,
        "trace:batch": (lot.makers_batch,),
    }


def page_names(resolver: URLResolver | None = None, prefix: str = "") -> Iterator[str]:
    """Every page in the URL table, by its name."""
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from page_names(pattern, f"{pattern.namespace}:" if pattern.namespace else prefix)
        elif isinstance(pattern, URLPattern):
            yield f"{prefix}{pattern.name}"
