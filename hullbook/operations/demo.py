"""The invented Merrowby Boatworks and its six hulls, told through the same services as a tablet.

`fixtures/merrowby` says what the yard has and when each hull reached which stage; this module tells it act by act, in
the order of time. It is deterministic: the same book, entry for entry, whenever it is told; only the passwords differ.
"""

import csv
import datetime as dt
import hashlib
import io
import json
import math
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.utils import timezone

from hullbook.cure import services as cure
from hullbook.dossier.models import DossierIssue
from hullbook.dossier.services import issue_dossier
from hullbook.hulls import services as hulls
from hullbook.hulls.enums import BuildRegime, HullSide, InShed, LayingOutcome, Side
from hullbook.hulls.forms import read_offsets, read_schedule
from hullbook.hulls.models import BoatModel, Hull, Part, ScheduleRevision
from hullbook.hulls.services import GivenPlace
from hullbook.inspection import services as inspection
from hullbook.inspection.enums import FindingKind, Surface
from hullbook.inspection.enums import Weighed as WeighedThing
from hullbook.materials import services as materials
from hullbook.materials.enums import LotState, SourceKind
from hullbook.materials.forms import read_materials
from hullbook.materials.models import Lot, Material, ResinSystem
from hullbook.materials.selectors import KnownValue
from hullbook.materials.services import GivenGelTime
from hullbook.pours import services as pours
from hullbook.pours.enums import (
    AlarmRank,
    ComponentRole,
    GaugeKind,
    GelPlace,
    InletMove,
    PailEnded,
    ReadingOf,
    RemainderPlace,
    TroubleKind,
)
from hullbook.pours.models import Mix, Pour, Trouble
from hullbook.pours.selectors import PourPlanInputs, ResinPlanInputs, worked_out_pour_plan
from hullbook.pours.services import GivenComponent, GivenInlet, GivenLine, GivenStation
from hullbook.records.services import Told
from hullbook.yard import services as yard
from hullbook.yard.enums import InstrumentKind, LimitName, Role
from hullbook.yard.models import Bay, Instrument

DEMO_HULL = "MB84-03"
PART = "hull shell"
MODEL = "MB84"
FIXTURES = settings.ROOT / "fixtures" / "merrowby"
NAMESPACE = uuid.UUID("6d657272-6f77-5279-8000-000000000084")
CREW = ("MO", "RT", "SB")


def wobble(name: str, size: float = 1.0) -> float:
    """A number between -size and size that is always the same for the same name: the scatter of real work."""
    digest = hashlib.sha256(name.encode()).digest()
    return size * (int.from_bytes(digest[:6]) / 2**47 - 1)


@dataclass(frozen=True)
class Act:
    """One thing told: when, by whom, from which device; `number` keeps acts of one moment in order."""

    when: dt.datetime
    number: int
    person: str
    tell: Callable[[Told], Any]
    happened_at: dt.datetime
    device: str


@dataclass
class Story:
    """Acts with their times, gathered in any order and told in the order of time."""

    acts: list["Act"] = field(default_factory=list)

    def at(
        self,
        when: dt.datetime,
        person: str,
        tell: Callable[[Told], Any],
        *,
        happened_at: dt.datetime | None = None,
        device: str = "",
    ) -> None:
        at_the_desk = "office-pc" if person == "EL" else "tablet-bay-1"
        self.acts.append(Act(when, len(self.acts), person, tell, happened_at or when, device or at_the_desk))

    def tell(self, accounts: dict[str, str]) -> None:
        for act in sorted(self.acts, key=lambda act: (act.when, act.number)):
            act.tell(
                Told(
                    entry_id=uuid.uuid5(NAMESPACE, f"act {act.number}"),
                    fingerprint=hashlib.sha256(f"act {act.number}".encode()).hexdigest(),
                    person=act.person,
                    account=accounts[act.person],
                    device=act.device,
                    tapped_at=act.when,
                    happened_at=act.happened_at,
                    booked_at=act.when + dt.timedelta(seconds=1),
                )
            )


def tell_demo_yard(password_for: Callable[[str], str]) -> None:
    """Tell the whole story into an empty book; `password_for` makes the password of each who signs in."""
    facts = json.loads((FIXTURES / "yard.json").read_text(encoding="utf-8"))
    demo = DemoYard(facts, password_for)
    demo.story.tell({person["initials"]: person["sign_in_name"] for person in facts["people"]})


def issue_demo_dossier(hull: Hull) -> DossierIssue:
    """The quality lead issues the dossier as it stands, on the evening of the story's last day."""
    evening = moment("2026-11-19", 17)
    told = Told(
        entry_id=uuid.uuid5(NAMESPACE, f"dossier {hull.number}"),
        fingerprint=hashlib.sha256(hull.number.encode()).hexdigest(),
        person="KJ",
        account="kester",
        device="office-pc",
        tapped_at=evening,
        happened_at=evening,
        booked_at=evening,
    )
    return issue_dossier(hull=hull, told=told)


def moment(day: str, hour: int, minute: int = 0, *, days: int = 0) -> dt.datetime:
    return dt.datetime.combine(dt.date.fromisoformat(day), dt.time(hour, minute), dt.UTC) + dt.timedelta(days=days)


def working_days(first: str, count: int) -> list[str]:
    day = dt.date.fromisoformat(first)
    found: list[str] = []
    while len(found) < count:
        if day.weekday() < 5:
            found.append(day.isoformat())
        day += dt.timedelta(days=1)
    return found


class DemoYard:
    """What the story has made so far: each act puts its row here, later acts take it from here."""

    def __init__(self, facts: dict[str, Any], password_for: Callable[[str], str]) -> None:
        self.facts = facts
        self.password_for = password_for
        self.story = Story()
        self.bays: dict[str, Bay] = {}
        self.instruments: dict[str, Instrument] = {}
        self.materials: dict[str, Material] = {}
        self.lots: dict[str, Lot] = {}
        self.hulls: dict[str, Hull] = {}
        self.parts: dict[str, Part] = {}
        self.revisions: dict[str, ScheduleRevision] = {}
        self.pours: dict[str, Pour] = {}
        self.mixes: dict[tuple[str, int], Mix] = {}
        self.system: ResinSystem
        self.boat_model: BoatModel
        self._open_the_yard()
        self._fill_the_store()
        self._draw_schedules()
        self._try_resin_and_cloth()
        for hull in facts["hulls"]:
            HullStory(self, hull).add()

    # ---- The yard

    def _open_the_yard(self) -> None:
        start = moment("2026-01-12", 8)
        story, facts = self.story, self.facts
        for number, person in enumerate(facts["people"]):
            story.at(start + dt.timedelta(minutes=number), "KJ", self._name(person))
        story.at(
            start + dt.timedelta(minutes=10),
            "KJ",
            lambda told: yard.name_yard(**facts["yard"], is_invented=True, told=told),
        )
        for number, bay in enumerate(facts["bays"]):
            story.at(start + dt.timedelta(minutes=12 + number), "KJ", self._add_bay(bay))
        for number, place in enumerate(facts["shed"]):
            story.at(start + dt.timedelta(minutes=14 + number), "KJ", self._place(place))
        for number, instrument in enumerate(facts["instruments"]):
            story.at(start + dt.timedelta(minutes=20 + number), "KJ", self._register(instrument))
        for number, limit in enumerate(facts["limits"]):
            story.at(start + dt.timedelta(minutes=40 + number), "KJ", self._set_limit(limit))

    def _name(self, person: dict[str, Any]) -> Callable[[Told], Any]:
        def tell(told: Told) -> None:
            yard.add_person(
                initials=person["initials"],
                full_name=person["full_name"],
                sign_in_name=person["sign_in_name"],
                password=self.password_for(person["sign_in_name"]) if person["signs_in"] else None,
                roles=[Role(role) for role in person["roles"]],
                told=told,
            )

        return tell

    def _add_bay(self, bay: dict[str, str]) -> Callable[[Told], Any]:
        def tell(told: Told) -> None:
            self.bays[bay["code"]] = yard.add_bay(**bay, told=told)

        return tell

    def _place(self, place: dict[str, Any]) -> Callable[[Told], Any]:
        return lambda told: hulls.place_in_shed(**{**place, "what": InShed(place["what"])}, told=told)

    def _register(self, instrument: dict[str, Any]) -> Callable[[Told], Any]:
        def tell(told: Told) -> None:
            self.instruments[instrument["code"]] = yard.register_instrument(
                **{**instrument, "kind": InstrumentKind(instrument["kind"])},
                calibrated_on=dt.date.fromisoformat(self.facts["calibrated_on"]),
                due_on=dt.date.fromisoformat(self.facts["due_on"]),
                certificate_number=f"CAL-26-{instrument['code']}",
                told=told,
            )

        return tell

    def _set_limit(self, limit: dict[str, Any]) -> Callable[[Told], Any]:
        return lambda told: yard.set_limit(
            **{**limit, "name": LimitName(limit["name"])}, source=self.facts["limits_source"], told=told
        )

    # ---- The store

    def _fill_the_store(self) -> None:
        self.story.at(moment("2026-02-09", 9), "EL", self._import_materials)
        self.story.at(moment("2026-02-09", 9, 30), "EL", self._add_system)
        for number, lot in enumerate(self.facts["lots"]):
            code, _, _, _, received_on, *_, is_released = lot
            self.story.at(moment(received_on, 10, number), "EL", self._receive(lot))
            self.story.at(moment(received_on, 11, number), "EL", self._certify(lot))
            if is_released:
                self.story.at(moment(received_on, 15, number), "KJ", self._decide(code, LotState.RELEASED, ""))
            else:
                words = "drum dented on arrival; gel cup wanted before release"
                self.story.at(moment(received_on, 15, number), "KJ", self._decide(code, LotState.HELD, words))

    def _import_materials(self, told: Told) -> None:
        with (FIXTURES / "materials.csv").open("rb") as sheet:
            materials.import_materials(materials=read_materials(sheet), told=told)
        self.materials = {material.code: material for material in Material.objects.all()}

    def _add_system(self, told: Told) -> None:
        system = self.facts["system"]
        self.system = materials.add_resin_system(
            code=system["code"],
            resin=self.materials[system["resin"]],
            catalyst=self.materials[system["catalyst"]],
            dose_low_phr=system["dose_low_phr"],
            dose_high_phr=system["dose_high_phr"],
            gel_times=[GivenGelTime(*cell) for cell in system["gel_times"]],
            source_kind=SourceKind(system["source_kind"]),
            source=system["source"],
            told=told,
        )

    def _receive(self, lot: list[Any]) -> Callable[[Told], Any]:
        code, material, batch, quantity, received_on, made_on, use_by, _ = lot

        def tell(told: Told) -> None:
            self.lots[code] = materials.receive_lot(
                code=code,
                material=self.materials[material],
                makers_batch=batch,
                supplier_note=f"DN-{batch[-4:]}",
                received_quantity=float(quantity),
                received_on=dt.date.fromisoformat(received_on),
                made_on=dt.date.fromisoformat(made_on) if made_on else None,
                use_by=dt.date.fromisoformat(use_by) if use_by else None,
                no_use_by=use_by is None,
                storage_place="cold store" if use_by else "dry store",
                told=told,
            )

        return tell

    def _certify(self, lot: list[Any]) -> Callable[[Told], Any]:
        code, _, batch, _, received_on, *_ = lot

        def tell(told: Told) -> None:
            materials.attach_certificate(
                lot=self.lots[code],
                kind="inspection certificate 3.1",
                number=f"IC-{batch}",
                dated_on=dt.date.fromisoformat(received_on),
                content=(FIXTURES / "certificates" / f"{code}.pdf").read_bytes(),
                sent_name=f"{code}.pdf",
                told=told,
            )

        return tell

    def _decide(self, code: str, state: LotState, words: str) -> Callable[[Told], Any]:
        return lambda told: materials.decide_lot(lot=self.lots[code], state=state, words=words, told=told)

    # ---- The schedules

    def _draw_schedules(self) -> None:
        self.story.at(moment("2026-02-12", 9), "KJ", self._add_model)
        self.story.at(moment("2026-02-12", 10), "EL", self._give_lines)
        self.story.at(moment("2026-02-13", 16), "KJ", self._sign("A", "2026-02-12"))
        self.story.at(moment("2026-04-28", 16), "KJ", self._sign("B", "2026-04-27"))

    def _add_model(self, told: Told) -> None:
        self.boat_model = hulls.add_boat_model(name=MODEL, length_m=8.4, beam_m=2.9, told=told)

    def _give_lines(self, told: Told) -> None:
        with (FIXTURES / "offsets-mb84.csv").open("rb") as table:
            offsets = read_offsets(table)
        hulls.give_offsets(
            boat_model=self.boat_model, lines_plan="MB84-LP-1 rev 2 (invented)", offsets=offsets, told=told
        )

    def _sign(self, letter: str, drawn_on: str) -> Callable[[Told], Any]:
        def tell(told: Told) -> None:
            revision = hulls.begin_revision(
                boat_model=self.boat_model, part_name=PART, drawn_by="EL", at=moment(drawn_on, 14)
            )
            with (FIXTURES / f"schedule-shell-{letter}.csv").open("rb") as table:
                drawn = read_schedule(table)
            hulls.write_revision(revision=revision, zones=drawn.zones, lines=drawn.lines)
            approval = f"design letter DL-84-{letter} (invented)"
            hulls.sign_revision(revision=revision, approval=approval, told=told)
            self.revisions[letter] = revision

        return tell

    # ---- What the yard tried before its first hull

    def _try_resin_and_cloth(self) -> None:
        for number, cup in enumerate(self.facts["gel_cups"]):
            gelled = moment("2026-02-18", 8 + 3 * (number % 3), 20, days=number // 3)
            self.story.at(gelled, "MO", self.gel_cup("R-0006", *cup))
        self.story.at(moment("2026-02-20", 14), "RT", self._trial_panel)

    def gel_cup(self, lot: str, dose_phr: float, temperature_c: float, gel_min: float) -> Callable[[Told], Any]:
        return lambda told: pours.log_gel_cup(
            system=self.system,
            resin_lot=self.lots[lot],
            catalyst_lot=self.lots["R-0007"],
            dose_phr=dose_phr,
            temperature_c=temperature_c,
            gel_min=gel_min,
            thermometer=self.instruments["T-01"],
            told=told,
        )

    def _trial_panel(self, told: Told) -> None:
        panel = self.facts["trial_panel"]
        pours.log_trial_panel(
            zone=self.revisions["A"].zones.get(name=panel["zone"]),
            medium=self.materials[panel["medium"]],
            system=self.system,
            resin_temperature_c=panel["resin_temperature_c"],
            station_pressure_mbar=panel["station_pressure_mbar"],
            gauge_kind=GaugeKind.ABSOLUTE,
            gauge_mbar=panel["gauge_mbar"],
            readings=[(minute, front_mm) for minute, front_mm in panel["readings"]],
            words=panel["words"],
            told=told,
        )


SHELVES = {
    "early": {
        "GM-225": "R-0001",
        "GB-800": "R-0002",
        "GQ-1200": "R-0003",
        "GU-600": "R-0004",
        "PV-80-20": "R-0005",
        "FM-1": "R-0009",
        "PP-1": "R-0010",
    },
    "late": {
        "GM-225": "R-0015",
        "GB-800": "R-0014",
        "GQ-1200": "R-0016",
        "GU-600": "R-0017",
        "PV-80-20": "R-0018",
        "FM-1": "R-0020",
        "PP-1": "R-0021",
    },
}
STAGES = ("lay-up", "pouring", "inspection", "complete", "delivered")
ZONES = ("keel", "bottom", "topsides", "transom")
PROBES = {
    "keel, station 5": GivenPlace(HullSide.STARBOARD, "5", 40.0),
    "topsides, station 5, port": GivenPlace(HullSide.PORT, "5", 1600.0),
}
TRIED_AT = {
    "keel": GivenPlace(HullSide.PORT, "5", 160.0),
    "bottom": GivenPlace(HullSide.PORT, "5", 720.0),
    "topsides": GivenPlace(HullSide.PORT, "5", 1600.0),
    "transom": GivenPlace(HullSide.PORT, "10", 720.0),
}
DRY_AT = GivenPlace(HullSide.PORT, "6", 1480.0)
PAIL_KG = 18.2
DOSE_PHR = 1.05
# Hulls whose pours are told minute by minute: the first ones were told on paper only.
DAYS_TOLD = ("MB84-03", "MB84-04", "MB84-05")
CLOSED_AT = 78.0
LIMIT_SHARE = 0.9


@dataclass(frozen=True)
class PailStory:
    """When a pail is mixed and when it is empty, in minutes from the beginning of the pour; its inlet and fill."""

    mixed: float
    empty: float
    inlet: int
    share: float = 1.0


# As the front asks for them: one to each inlet before it is opened, half pails at the end, where little is drawn.
PAILS = (
    PailStory(0.5, 13.3, 1),
    PailStory(4.3, 13.8, 2),
    PailStory(9.5, 41.0, 1),
    PailStory(13.2, 42.5, 2),
    PailStory(36.0, 50.0, 3),
    PailStory(40.0, 50.8, 4),
    PailStory(45.0, 66.0, 3, share=0.5),
    PailStory(48.8, 69.0, 4, share=0.5),
)
PAILS_BY_NOW = PAILS[:4]


class HullStory:
    """One hull of the story, as far as it has come."""

    def __init__(self, demo: DemoYard, facts: dict[str, Any]) -> None:
        self.demo = demo
        self.story = demo.story
        self.facts = facts
        self.number: str = facts["number"]
        self.lay_up_days = working_days(facts["lay_up"], 4)

    @property
    def part(self) -> Part:
        return self.demo.parts[self.number]

    def instrument(self, code: str) -> Instrument:
        return self.demo.instruments[code]

    def drawn_lines(self) -> list[dict[str, str]]:
        drawn = (FIXTURES / f"schedule-shell-{self.facts['revision']}.csv").read_text(encoding="utf-8")
        return list(csv.DictReader(io.StringIO(drawn)))

    def reached(self, stage: str) -> bool:
        return STAGES.index(self.facts["stage"]) >= STAGES.index(stage)

    def add(self) -> None:
        self._lay_down()
        self._log_climate()
        self._lay_up()
        if self.reached("pouring"):
            self._test_the_bag()
            self._pour()
        if self.reached("inspection"):
            self._cure()
            self._inspect()
        if self.reached("complete"):
            self._finish()

    # ---- Laid down and laid up

    def _lay_down(self) -> None:
        when = moment(self.facts["laid_down"], 9)
        self.story.at(when, "KJ", self._lay_down_hull)
        self.story.at(when + dt.timedelta(minutes=20), "KJ", self._release(0, "plans and procedures in force seen"))
        self.story.at(
            when + dt.timedelta(minutes=30),
            "KJ",
            lambda told: hulls.take_into_force(
                part=self.part, revision=self.demo.revisions[self.facts["revision"]], told=told
            ),
        )
        before = moment(self.facts["lay_up"], 7, 30)
        self.story.at(before, "KJ", self._release(1, "all lots seen, released, certificates in"))
        self.story.at(
            before + dt.timedelta(minutes=15), "KJ", self._release(2, "mould, release, gelcoat film and skin coat seen")
        )

    def _lay_down_hull(self, told: Told) -> None:
        hull = hulls.lay_down_hull(
            number=self.number,
            boat_model=self.demo.boat_model,
            mould=self.facts.get("mould", "M-84"),
            pull_number=self.facts.get("pull", int(self.number[-2:])),
            bay=self.demo.bays["1"],
            build_regime=BuildRegime(self.facts["regime"]),
            customer_reference=self.facts["customer"],
            laid_down_on=dt.date.fromisoformat(self.facts["laid_down"]),
            part_names=[PART],
            told=told,
        )
        self.demo.hulls[self.number] = hull
        self.demo.parts[self.number] = hull.parts.get()

    def _release(self, number: int, words: str) -> Callable[[Told], Any]:
        return lambda told: hulls.release_hold_point(
            hull=self.demo.hulls[self.number], number=number, words=words, missing="", told=told
        )

    def _log_climate(self) -> None:
        days = self.lay_up_days if self.facts["pour"] is None else [*self.lay_up_days, self.facts["pour"]]
        for day in days:
            if self.facts["pour"] is None and day > "2026-11-18":
                continue
            for hour in (7, 11, 15):
                self.story.at(moment(day, hour, 5), CREW[hour % 3], self._climate(f"{self.number} {day} {hour}", hour))
        if self.reached("inspection"):
            for day in working_days(self.facts["pour"], 6)[1:]:
                for hour in (7, 15):
                    self.story.at(
                        moment(day, hour, 5), CREW[hour % 3], self._climate(f"{self.number} {day} {hour}", hour)
                    )

    def _climate(self, name: str, hour: int) -> Callable[[Told], Any]:
        air = round(19.6 + self.facts["warmth"] + 0.15 * (hour - 7) + wobble(name, 0.4), 1)
        return lambda told: yard.log_climate(
            bay=self.demo.bays["1"],
            place="mould skin, midships",
            air_temperature_c=air,
            humidity_percent=float(round(54 + wobble(f"{name} humidity", 6))),
            surface_temperature_c=round(air - 0.7 + wobble(f"{name} surface", 0.2), 1),
            thermometer=self.instrument("T-01"),
            hygrometer=self.instrument("H-01"),
            told=told,
        )

    def _lay_up(self) -> None:
        lines = self.drawn_lines()
        a_day = math.ceil(len(lines) / 4)
        for place, line in enumerate(lines):
            day = self.lay_up_days[place // a_day]
            if self.facts["stage"] == "lay-up" and place >= 13:
                break
            when = moment(day, 8, 20) + dt.timedelta(minutes=45 * (place % a_day))
            # Now and then gloves come off only after the next ply is down, and the entry is late.
            written = when + dt.timedelta(minutes=17 if place == 9 else 0)
            tell = self._lay(line, CREW[place % 3], CREW[(place + 1) % 3])
            self.story.at(written, CREW[place % 3], tell, happened_at=when)
        if self.facts["stage"] == "complete":
            doubled = moment(self.lay_up_days[0], 13, 40)
            self.story.at(doubled, "MO", self._lay_beside)
            self.story.at(doubled + dt.timedelta(minutes=6), "MO", self._strike_out_what_was_laid_beside)
        core_day = self.lay_up_days[min(3, 12 // a_day)]
        if self.facts["stage"] != "lay-up":
            self.story.at(
                moment(core_day, 7, 40), "KJ", self._release(3, "outer skin laid and second-checked, laps seen")
            )
            self.story.at(moment(self.lay_up_days[3], 15, 30), "MO", self._lay_feed_lines)
            self.story.at(
                moment(self.lay_up_days[3], 16), "KJ", self._release(4, "inner skin and all lines laid, tools counted")
            )

    def _lay(self, given: dict[str, str], laid_by: str, second_person: str) -> Callable[[Told], Any]:
        def tell(told: Told) -> None:
            revision = self.demo.revisions[self.facts["revision"]]
            line = revision.lines.select_related("zone", "material").get(number=int(given["line"]))
            lap = 1.0 if given["material"].startswith("PV") else 1.27 / (1.27 - float(given["lap_mm"]) / 1000)
            offcut = 1.03 + wobble(f"{self.number} line {given['line']}", 0.02)
            hulls.log_laying(
                part=self.part,
                zone=line.zone,
                line=line,
                outcome=LayingOutcome.LAID,
                lot=self.demo.lots[SHELVES[self.facts["shelf"]][given["material"]]],
                quantity=round(line.zone.area_m2 * lap * offcut, 1),
                laid_by=laid_by,
                second_person=second_person,
                deviation="",
                told=told,
            )

        return tell

    def _lay_beside(self, told: Told) -> None:
        line = self.demo.revisions[self.facts["revision"]].lines.select_related("zone").get(number=5)
        self.laid_beside = hulls.log_laying(
            part=self.part,
            zone=line.zone,
            line=None,
            outcome=LayingOutcome.EXTRA,
            lot=self.demo.lots[SHELVES[self.facts["shelf"]]["GB-800"]],
            quantity=1.2,
            laid_by="MO",
            second_person="RT",
            deviation="patch at the stem, taken for hull MB84-03",
            told=told,
        )

    def _strike_out_what_was_laid_beside(self, told: Told) -> None:
        reason = "the patch went into the deck mould, not into this shell"
        materials.strike_out(entry=self.laid_beside.entry, reason=reason, told=told)

    def _lay_feed_lines(self, told: Told) -> None:
        laid = self.demo.facts["feed_lines"]
        pours.log_feed_layout(
            part=self.part,
            lines=[GivenLine(**{**line, "side": Side(line["side"])}) for line in laid["lines"]],
            inlets=[GivenInlet(**{**inlet, "side": Side(inlet["side"])}) for inlet in laid["inlets"]],
            stations=[GivenStation(**station) for station in laid["stations"]],
            words=laid["words"],
            told=told,
        )

    # ---- The bag and the pour

    def _test_the_bag(self) -> None:
        day = self.facts["pour"]
        if self.facts.get("first_hold_fails"):
            self.story.at(
                moment(day, 6, 35),
                "RT",
                self._hold_test("first", 0.92, "seam at the port flange, station 6, taped again"),
            )
        self.story.at(moment(day, 8, 5), "RT", self._hold_test("last", 0.22, ""))
        if "day_cup" in self.facts:
            cup = self.demo.gel_cup(self.facts["resin_lot"], *self.facts["day_cup"])
            self.story.at(moment(day, 8, 15), "MO", cup)
        self.story.at(moment(day, 8, 20), "KJ", self._set_plan)
        self.story.at(moment(day, 8, 30), "KJ", self._read_pour_plan)
        self.story.at(moment(day, 8, 40), "KJ", self._release(5, "hold test, lots, doses, crew and stop rule read out"))

    def _hold_test(self, name: str, rate_mbar_min: float, words: str) -> Callable[[Told], Any]:
        rate = rate_mbar_min + wobble(f"{self.number} {name} rate", 0.04)
        readings = [
            (float(minute), round(14.2 + rate * minute + wobble(f"{self.number} {name} {minute}", 0.12), 1))
            for minute in range(0, 26, 2)
        ]
        return lambda told: pours.log_hold_test(
            part=self.part,
            gauge=self.instrument("G-01"),
            gauge_kind=GaugeKind.ABSOLUTE,
            readings=readings,
            station_pressure_start_mbar=None,
            station_pressure_end_mbar=None,
            air_temperature_start_c=round(19.8 + self.facts["warmth"], 1),
            air_temperature_end_c=round(20.0 + self.facts["warmth"], 1),
            words=words,
            told=told,
        )

    def _set_plan(self, told: Told) -> None:
        drawing = "laying-out drawing FL-84-2 (invented)"
        pail = "measured on the yard's own pails"
        practice = "common practice"

        def drawn(value: float) -> KnownValue:
            return KnownValue(value, SourceKind.YARD, drawing)

        def own(value: float) -> KnownValue:
            return KnownValue(value, SourceKind.YARD, pail)

        def usual(value: float) -> KnownValue:
            return KnownValue(value, SourceKind.DEFAULT, practice)

        inputs = ResinPlanInputs(
            medium=self.demo.materials["FM-1"],
            medium_coverage_m2=drawn(31.0),
            peel_ply=self.demo.materials["PP-1"],
            peel_ply_coverage_m2=drawn(36.0),
            channel_length_m=drawn(26.0),
            channel_bore_mm=KnownValue(14.0, SourceKind.DATA_SHEET, "invented data sheet LC-7 rev 1"),
            hose_length_m=drawn(16.0),
            hose_bore_mm=KnownValue(12.0, SourceKind.DATA_SHEET, "invented data sheet LC-8 rev 1"),
            flange_length_m=drawn(19.0),
            overrun_m=drawn(0.06),
            brake_width_m=drawn(0.12),
            trap_share_percent=usual(1.0),
            pail_kg=own(PAIL_KG),
            pail_diameter_mm=own(290.0),
            pail_height_mm=own(360.0),
            pail_film_mm=usual(0.2),
            heel_mm=own(20.0),
            cups_per_pail_kg=usual(0.2),
            waste_fraction=usual(0.05),
            area_relative_sd=usual(0.02),
            cost_of_running_out=KnownValue(20000.0, SourceKind.YARD, "a shell lost, the yard's own reckoning"),
            cost_of_surplus=KnownValue(200.0, SourceKind.YARD, "a drum too many, the yard's own reckoning"),
            container_kg=KnownValue(25.0, SourceKind.DATA_SHEET, "invented data sheet SR-10 rev 7"),
            contingency_containers=usual(1.0),
        )
        pours.set_resin_plan(part=self.part, system=self.demo.system, inputs=inputs, told=told)

    def _read_pour_plan(self, told: Told) -> None:
        said = self.demo.facts["pour_plan"]
        inputs = PourPlanInputs(
            dose_phr=DOSE_PHR,
            coldest_c=round(19.0 + self.facts["warmth"], 1),
            hottest_c=round(20.6 + self.facts["warmth"], 1),
            station_pressure_mbar=1012.0,
            gauge_kind=GaugeKind.ABSOLUTE,
            gauge_mbar=16.0,
            doubling_min=None,
            places=tuple((who, words) for who, words in said["places"]),
            stops=tuple(said["stops"]),
            read_to=("KJ", *CREW),
            **said["figures"],
        )
        view = worked_out_pour_plan(self.part, inputs, timezone.localdate(told.happened_at))
        pours.read_pour_plan(view=view, told=told)

    def _pour(self) -> None:
        start = moment(self.facts["pour"], 9, 2)
        self.story.at(start, "KJ", self._begin_pour)
        pails = PAILS_BY_NOW if self.facts["stage"] == "pouring" else PAILS
        for number, pail in enumerate(pails, start=1):
            mixed = start + dt.timedelta(minutes=pail.mixed)
            self.story.at(mixed, CREW[number % 3], self._mix(number))
        if self.facts["stage"] == "complete":
            mixed = start + dt.timedelta(minutes=PAILS[3].mixed)
            self.story.at(mixed + dt.timedelta(minutes=8), "KJ", self._put_pail_four_right, happened_at=mixed)
        if self.facts["stage"] == "pouring":
            again = start + dt.timedelta(minutes=pails[-1].mixed, seconds=20)
            self.story.at(again, "RT", self._mix(len(pails), keyed_otherwise_kg=0.06), device="tablet-bay-1b")
        if self.number in DAYS_TOLD:
            PourDayStory(self, start, pails).add()
        if self.facts["stage"] == "pouring":
            return
        self.story.at(start + dt.timedelta(minutes=CLOSED_AT), "KJ", self._close_pour)
        self.story.at(start + dt.timedelta(minutes=108), "MO", self._gel(1, GelPlace.CUP))
        self.story.at(start + dt.timedelta(minutes=114), "MO", self._gel(None, GelPlace.PART))
        when = moment(self.facts["pour"], 13, 30)
        for number, (place, mass, doubt, scale) in enumerate(self._left_over()):
            self.story.at(when + dt.timedelta(minutes=4 * number), "SB", self._remainder(place, mass, doubt, scale))
        self.story.at(
            moment(self.facts["pour"], 15, 30), "KJ", self._release(6, "gel told everywhere, peak passed, vacuum held")
        )

    def _begin_pour(self, told: Told) -> None:
        self.demo.pours[self.number] = pours.begin_pour(part=self.part, told=told)

    def _pail_masses(self, pail: int) -> tuple[float, float]:
        resin = PAIL_KG * PAILS[pail - 1].share * self.facts["ratio"] + wobble(f"{self.number} pail {pail}", 0.12)
        dose = DOSE_PHR + wobble(f"{self.number} dose {pail}", 0.02)
        return round(resin, 2), round(resin * dose / 100, 3)

    def _mix(self, pail: int, *, keyed_otherwise_kg: float = 0.0) -> Callable[[Told], Any]:
        resin_kg, catalyst_kg = self._pail_masses(pail)
        if self.facts["stage"] == "complete" and pail == 4:
            keyed_otherwise_kg = -0.9  # two digits changed places; put right eight minutes later

        def tell(told: Told) -> None:
            self.demo.mixes[self.number, pail] = self._logged_mix(
                pail, round(resin_kg + keyed_otherwise_kg, 2), catalyst_kg, told
            )

        return tell

    def _put_pail_four_right(self, told: Told) -> None:
        resin_kg, catalyst_kg = self._pail_masses(4)
        wrong = self.demo.mixes[self.number, 4]
        reason = "read back from the scale: two digits had changed places"
        self.demo.mixes[self.number, 4] = self._logged_mix(
            4, resin_kg, catalyst_kg, told, corrects=wrong, reason=reason
        )

    def _logged_mix(self, pail: int, resin_kg: float, catalyst_kg: float, told: Told, **correction: Any) -> Mix:
        return pours.log_mix(
            pour=self.demo.pours[self.number],
            pail_number=pail,
            components=[
                GivenComponent(ComponentRole.RESIN, self.demo.lots[self.facts["resin_lot"]], resin_kg),
                GivenComponent(ComponentRole.CATALYST, self.demo.lots["R-0007"], catalyst_kg),
            ],
            resin_temperature_c=round(19.4 + self.facts["warmth"] + wobble(f"{self.number} resin {pail}", 0.3), 1),
            scale=self.instrument("S-01"),
            catalyst_scale=self.instrument("S-02"),
            thermometer=self.instrument("T-01"),
            inlet=str(PAILS[pail - 1].inlet),
            mixed_by=CREW[pail % 3],
            second_person=CREW[(pail + 1) % 3],
            told=told,
            **correction,
        )

    def _close_pour(self, told: Told) -> None:
        pours.close_pour(pour=self.demo.pours[self.number], words="front through on both sides, inlets shut", told=told)

    def _gel(self, pail: int | None, at: GelPlace) -> Callable[[Told], Any]:
        return lambda told: pours.log_gel(
            pour=self.demo.pours[self.number],
            mix=self.demo.mixes[self.number, pail] if pail else None,
            at=at,
            place="" if pail else "flange, station 5, both sides",
            temperature_c=round(20.4 + self.facts["warmth"], 1),
            told=told,
        )

    def _left_over(self) -> list[tuple[RemainderPlace, float, float, str]]:
        """What is weighed after the bag is off: gross less dry where cloth comes off with it."""
        name = self.number
        return [
            (RemainderPlace.MEDIUM, round(28.4 + wobble(f"{name} medium", 1.2), 1), 0.6, "S-03"),
            (RemainderPlace.HOSES, round(1.9 + wobble(f"{name} hoses", 0.1), 2), 0.1, "S-01"),
            (RemainderPlace.FLANGE, round(1.6 + wobble(f"{name} flange", 0.2), 2), 0.2, "S-01"),
            (RemainderPlace.TRAP, round(1.1 + wobble(f"{name} trap", 0.4), 2), 0.05, "S-01"),
            (RemainderPlace.CUPS, round(1.0 + wobble(f"{name} cups", 0.2), 2), 0.2, "S-01"),
            (RemainderPlace.PAIL, round(2.6 + wobble(f"{name} pails", 0.4), 2), 0.1, "S-01"),
        ]

    def _remainder(self, place: RemainderPlace, mass_kg: float, doubt_kg: float, scale: str) -> Callable[[Told], Any]:
        return lambda told: pours.log_remainder(
            pour=self.demo.pours[self.number],
            mix=None,
            place=place,
            mass_kg=mass_kg,
            standard_uncertainty_kg=doubt_kg,
            scale=self.instrument(scale),
            told=told,
        )

    # ---- Cure and inspection

    def _cure(self) -> None:
        gel = moment(self.facts["pour"], 10, 58)
        for place, peak in (("keel, station 5", 46.0), ("topsides, station 5, port", 38.0)):
            for half_hours in range(13):
                hours = half_hours / 2
                rise = (peak - 20.0) * (hours / 1.6) * math.exp(1 - hours / 1.6)
                name = f"{self.number} {place} {half_hours}"
                celsius = round(20.2 + self.facts["warmth"] + rise + wobble(name, 0.3), 1)
                when = gel + dt.timedelta(minutes=30 * half_hours + (2 if "port" in place else 0))
                self.story.at(when, "MO", self._cure_reading(place, celsius))
        demould = working_days(self.facts["pour"], 5)[4]
        self.story.at(
            moment(demould, 9), "KJ", self._release(7, "three days at 18 °C and above, hardness tried at the flange")
        )
        self.story.at(moment(demould, 10), "KJ", lambda told: cure.log_demould(part=self.part, words="", told=told))
        if stands := self.facts.get("stands"):
            self.story.at(
                moment(demould, 14),
                "EL",
                lambda told: hulls.place_in_shed(
                    what=InShed.HULL, name=self.number, length_m=8.4, width_m=2.9, **stands, told=told
                ),
            )

    def _cure_reading(self, place: str, celsius: float) -> Callable[[Told], Any]:
        return lambda told: cure.log_cure_reading(
            part=self.part,
            place=place,
            temperature_c=celsius,
            thermometer=self.instrument("T-01"),
            at=PROBES[place],
            told=told,
        )

    def _inspect(self) -> None:
        day = working_days(self.facts["pour"], 7)[6]
        for number, zone in enumerate(ZONES):
            self.story.at(moment(day, 9, 12 * number), "RT", self._hardness(zone))
        for number, (what, mass, doubt, scale, source) in enumerate(self._weights()):
            self.story.at(moment(day, 11, 5 * number), "SB", self._weigh(what, mass, doubt, scale, source))
        for number, zone in enumerate(ZONES):
            self.story.at(moment(day, 13, 15 * number), "RT", self._look(zone))

    def _hardness(self, zone: str) -> Callable[[Told], Any]:
        soft = self.facts["stage"] == "inspection" and zone == "topsides"
        middle = 30.5 if soft else 43.0 + wobble(f"{self.number} {zone}", 1.5)
        count = 30 if soft else 22
        readings = [
            (
                float(
                    round(
                        middle
                        + wobble(f"{self.number} {zone} {n}", 3.6)
                        + wobble(f"{self.number} {zone} {n} more", 3.6)
                    )
                ),
                "",
            )
            for n in range(count)
        ]
        return lambda told: inspection.log_hardness(
            part=self.part,
            zone_name=zone,
            place="inside, port, station 4 to 6",
            surface=Surface.LAMINATE,
            tester=self.instrument("I-01"),
            disc_low=43.0,
            disc_high=48.0,
            disc_reading=46.0,
            part_temperature_c=round(20.0 + self.facts["warmth"], 1),
            required_mean=38.0 * LIMIT_SHARE,
            required_source="0.9 of the maker's 38 (invented data sheet SR-10 rev 7), procedure LP-1 rev 3",
            readings=readings,
            at=TRIED_AT[zone],
            told=told,
        )

    def _weights(self) -> Iterator[tuple[WeighedThing, float, float, str | None, str]]:
        mixed = sum(sum(self._pail_masses(pail)) for pail in range(1, len(PAILS) + 1))
        found = sum(mass for _, mass, _, _ in self._left_over())
        lost = 0.6 + wobble(f"{self.number} lost", 0.5)
        zones = {"keel": 4.8, "bottom": 13.2, "topsides": 14.8, "transom": 2.4}
        cloth = {"GM-225": 0.225, "GB-800": 0.8, "GQ-1200": 1.2, "GU-600": 0.6}
        lines = [(zones[line["zone"]], line["material"], float(line["lap_mm"])) for line in self.drawn_lines()]
        fibre = sum(area * cloth[code] * 1.27 / (1.27 - lap / 1000) for area, code, lap in lines if code in cloth)
        core = sum(area * 0.020 * 80.0 for area, code, _ in lines if code not in cloth)
        gelcoat, inserts = 26.5 + wobble(f"{self.number} gelcoat", 0.8), 6.2
        shell = mixed - found - lost + fibre + core + gelcoat + inserts
        yield WeighedThing.SHELL, round(shell * 2) / 2, 1.5, "S-03", "weighed, slings tared, mean of three"
        yield WeighedThing.GELCOAT, round(gelcoat, 1), 1.0, "S-01", "gelcoat and skin coat mixed less left over"
        yield (
            WeighedThing.FIBRE,
            round(fibre, 1),
            1.2,
            None,
            "areas of the schedule with laps, areal weights of the certificates",
        )
        yield (
            WeighedThing.CORE,
            round(core, 1),
            0.8,
            None,
            "areas of the schedule, thickness and density of the certificate",
        )
        yield WeighedThing.INSERTS, inserts, 0.2, "S-01", "weighed before bonding in"

    def _weigh(
        self, what: WeighedThing, mass_kg: float, doubt_kg: float, scale: str | None, source: str
    ) -> Callable[[Told], Any]:
        return lambda told: inspection.log_weighing(
            part=self.part,
            what=what,
            mass_kg=mass_kg,
            standard_uncertainty_kg=doubt_kg,
            scale=self.instrument(scale) if scale else None,
            source=source,
            told=told,
        )

    def _look(self, zone: str) -> Callable[[Told], Any]:
        dry = self.facts["stage"] == "inspection" and zone == "topsides"

        def tell(told: Told) -> None:
            inspection.log_finding(
                part=self.part,
                kind=FindingKind.DRY_SPOT if dry else FindingKind.NOTHING,
                zone_name=zone,
                place="inside" if dry else "both sides, inside and outside, tapped",
                at=DRY_AT if dry else None,
                length_mm=140.0 if dry else None,
                width_mm=60.0 if dry else None,
                words="dull to the coin; fibre dry to the touch" if dry else "",
                told=told,
            )

        return tell

    # ---- Complete and delivered

    def _finish(self) -> None:
        days = working_days(self.facts["pour"], 21)
        self.story.at(moment(days[8], 9), "KJ", self._release(8, "no post-cure asked for by the procedure"))
        self.story.at(moment(days[9], 9), "KJ", self._release(9, "inspected both sides before trim and paint"))
        self.story.at(moment(days[20], 9), "KJ", self._release(10, "tabbing and hull-deck joint seen"))
        finished = self.facts["finished"]
        self.story.at(moment(finished, 9), "KJ", self._give_number)
        self.story.at(moment(finished, 10), "KJ", self._release(11, "framing fitted, number affixed"))
        self.story.at(moment(finished, 16), "KJ", self._release(12, "file read through"))
        if self.reached("delivered"):
            left = self.facts["left"]
            self.story.at(
                moment(left, 12),
                "EL",
                lambda told: hulls.leave_yard(
                    hull=self.demo.hulls[self.number],
                    left_on=dt.date.fromisoformat(left),
                    delivered_to=self.facts["customer"],
                    told=told,
                ),
            )

    def _give_number(self, told: Told) -> None:
        hulls.give_craft_number(hull=self.demo.hulls[self.number], number=self.facts["craft_number"], told=told)


@dataclass(frozen=True)
class FrontStory:
    """How the front of one side runs at one station: away from the keel, and from the chine line on once that opens.

    It slows as it goes: the way grows as the root of the time (Darcy's law at a steady pull, constant permeability).
    """

    flange_mm: float
    pace: float
    second_line_mm: float = 1150.0
    first_mm_root_min: float = 194.0
    second_mm_root_min: float = 182.0

    def minutes_to_the_second_line(self) -> float:
        return self.pace * (self.second_line_mm / self.first_mm_root_min) ** 2

    def minute_at(self, girth_mm: float, second_line_opened: float) -> float:
        """Minutes since the keel inlets were opened."""
        stood_mm = max(self.second_line_mm, self.first_mm_root_min * math.sqrt(second_line_opened / self.pace))
        if girth_mm <= stood_mm:
            return self.pace * (girth_mm / self.first_mm_root_min) ** 2
        ways = [(mm - self.second_line_mm) / self.second_mm_root_min for mm in (stood_mm, girth_mm)]
        return second_line_opened + self.pace * (ways[1] ** 2 - ways[0] ** 2)


class PourDayStory:
    """What was logged while resin ran, minute by minute from the beginning of the pour."""

    def __init__(self, hull: HullStory, start: dt.datetime, pails: Sequence[PailStory]) -> None:
        self.hull = hull
        self.start = start
        self.pails = pails
        self.is_open = hull.facts["stage"] == "pouring"
        self.until = 19.0 if self.is_open else CLOSED_AT
        self.every_mm = 200.0 if hull.number != "MB84-04" else 400.0
        self.fronts = {
            (station["name"], side): FrontStory(
                station["girth_mm"], 1 + wobble(f"{hull.number} front {station['name']} {side}", 0.1)
            )
            for station in hull.demo.facts["feed_lines"]["stations"]
            for side in HullSide
        }
        self.trouble: Trouble

    @property
    def pour(self) -> Pour:
        return self.hull.demo.pours[self.hull.number]

    def _at(self, minute: float, person: str, tell: Callable[[Told], Any]) -> None:
        if minute <= self.until:
            self.hull.story.at(self.start + dt.timedelta(seconds=round(60 * minute)), person, tell)

    def add(self) -> None:
        self._at(1, "KJ", lambda told: pours.try_sound(pour=self.pour, heard=True, told=told))
        self._open_and_shut()
        self._follow_the_front()
        self._read()
        self._empty_the_pails()
        self._say_what_went_wrong()

    def _open_and_shut(self) -> None:
        for inlet, minute, move in (
            (1, 5.0, InletMove.OPENED),
            (2, 5.4, InletMove.OPENED),
            (3, self.second_line_opens, InletMove.OPENED),
            (4, self.second_line_opens + 0.3, InletMove.OPENED),
            (1, self.second_line_opens + 8, InletMove.SHUT),
            (2, self.second_line_opens + 8.2, InletMove.SHUT),
            (3, CLOSED_AT - 0.8, InletMove.SHUT),
            (4, CLOSED_AT - 0.6, InletMove.SHUT),
        ):
            self._at(minute, "KJ", self._move(inlet, move))

    def _move(self, inlet: int, move: InletMove) -> Callable[[Told], Any]:
        return lambda told: pours.move_inlet(pour=self.pour, inlet_number=inlet, move=move, told=told)

    @property
    def second_line_opens(self) -> float:
        """As soon as the last front has come to it."""
        return 5.5 + max(front.minutes_to_the_second_line() for front in self.fronts.values())

    def _follow_the_front(self) -> None:
        for (station, side), front in self.fronts.items():
            marks = [self.every_mm * step for step in range(1, int(front.flange_mm // self.every_mm) + 1)]
            for girth_mm in sorted({*marks, front.second_line_mm, front.flange_mm}):
                minute = 5.0 + front.minute_at(girth_mm, self.second_line_opens - 5.0)
                landmark = {front.second_line_mm: "line 2", front.flange_mm: "flange"}.get(girth_mm, "")
                self._at(minute, "KJ", self._front(station, side, girth_mm, landmark))

    def _front(self, station: str, side: HullSide, girth_mm: float, landmark: str) -> Callable[[Told], Any]:
        return lambda told: pours.log_front(
            pour=self.pour, station=station, side=side, girth_mm=girth_mm, landmark=landmark, told=told
        )

    def _read(self) -> None:
        for number, minute in enumerate(range(5, int(CLOSED_AT), 10)):
            leaks = self.hull.number == "MB84-03" and minute == 35
            shown = 14.3 + (4.6 if leaks else 0.0) + wobble(f"{self.hull.number} bag {minute}", 0.4)
            self._at(minute + 0.2, "RT", self._pressure(round(shown, 1)))
            if number % 2 == 0:
                warmer = 20.6 + self.hull.facts["warmth"] + 0.03 * minute
                self._at(minute + 0.6, "RT", self._laminate(round(warmer, 1)))

    def _pressure(self, shown: float) -> Callable[[Told], Any]:
        return lambda told: pours.log_bag_pressure(
            pour=self.pour,
            gauge=self.hull.instrument("G-01"),
            gauge_kind=GaugeKind.ABSOLUTE,
            gauge_mbar=shown,
            station_pressure_mbar=None,
            place="",
            told=told,
        )

    def _laminate(self, celsius: float) -> Callable[[Told], Any]:
        return lambda told: pours.log_pour_temperature(
            pour=self.pour,
            what=ReadingOf.LAMINATE,
            thermometer=self.hull.instrument("T-01"),
            temperature_c=celsius,
            place="keel, station 5",
            told=told,
        )

    def _empty_the_pails(self) -> None:
        for number, pail in enumerate(self.pails, start=1):
            self._at(pail.empty, CREW[number % 3], self._end(number))

    def _end(self, pail: int) -> Callable[[Told], Any]:
        return lambda told: pours.end_pail(
            mix=self.hull.demo.mixes[self.hull.number, pail], how=PailEnded.EMPTY, told=told
        )

    def _say_what_went_wrong(self) -> None:
        if self.hull.number == "MB84-03":
            self._at(33.0, "RT", self._trouble(TroubleKind.LEAK, "5", HullSide.PORT, 2020.0))
            self._at(35.4, "RT", self._take_alarm)
            self._at(
                37.0, "RT", self._mend("seam at the port flange taped again, hiss gone; 14 mbar after two minutes")
            )
            words = "hose to inlet 4 kinked behind the trestle; straightened before it was opened"
            self._at(40.0, "MO", lambda told: pours.note_in_pour(pour=self.pour, words=words, told=told))
        elif self.hull.number == "MB84-04":
            self._at(66.0, "KJ", self._trouble(TroubleKind.DRY_CORNER, "8", HullSide.PORT, 1480.0))
            self._at(71.0, "KJ", self._mend("vent at station 8 throttled, the corner wetted slowly from below"))

    def _trouble(self, kind: TroubleKind, station: str, side: HullSide, girth_mm: float) -> Callable[[Told], Any]:
        def tell(told: Told) -> None:
            self.trouble = pours.log_trouble(
                pour=self.pour, kind=kind, station=station, side=side, girth_mm=girth_mm, told=told
            )

        return tell

    def _mend(self, words: str) -> Callable[[Told], Any]:
        return lambda told: pours.mend_trouble(trouble=self.trouble, words=words, told=told)

    def _take_alarm(self, told: Told) -> None:
        pours.take_alarm(pour=self.pour, code="bag pressure", rank=AlarmRank.NOW, told=told)
