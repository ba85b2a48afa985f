"""The pour day as one sheet: everything its page draws, and all that the tablet needs to go on without the book."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.urls import reverse
from django.utils import timezone

from hullbook.calc.dose import catalyst_grams
from hullbook.calc.gel import GelTable
from hullbook.calc.pour_plan import pails_for
from hullbook.materials.models import ResinSystem
from hullbook.materials.selectors import StockLine, stock
from hullbook.pours.enums import ComponentRole, GelPlace, InletMove, ReadingOf
from hullbook.pours.models import HoldReading, Mix, Pour, PourReading
from hullbook.pours.selectors.day import InletState, PailOfDay, PourDay, TroubleView, pour_day, when_it_opens
from hullbook.pours.selectors.flow import pour_plan_sheet
from hullbook.pours.selectors.hold import last_hold_test
from hullbook.pours.selectors.plan import second_part
from hullbook.pours.selectors.pour import gel_clock
from hullbook.pours.selectors.questions import (
    READING_EVERY_MIN,
    OpenQuestion,
    open_questions,
    trouble_place,
)
from hullbook.pours.selectors.tried import gel_table_of_day
from hullbook.records.models import TypedRow
from hullbook.records.selectors import book_head
from hullbook.yard.enums import InstrumentKind, LimitName
from hullbook.yard.models import ClimateReading
from hullbook.yard.selectors import InstrumentCard, climate_in, crew, instrument_cards, limits_in_force

CLIMATE_BEFORE = dt.timedelta(hours=4)
CLIMATE_AFTER = dt.timedelta(hours=12)
GRAMS = 1000.0


@dataclass(frozen=True)
class PourSheet:
    """What `pours:sheet` answers; see each function below for what its part holds. Times UTC, kg, mbar absolute."""

    pour: dict[str, Any]
    now: str
    book: dict[str, Any]
    plan: dict[str, Any]
    pour_plan: dict[str, Any] | None
    girth: dict[str, Any]
    feed_lines: list[dict[str, Any]]
    inlets: list[dict[str, Any]]
    pails: list[dict[str, Any]]
    moves: list[dict[str, Any]]
    fronts: list[dict[str, Any]]
    readings: list[dict[str, Any]]
    troubles: list[dict[str, Any]]
    stopped: dict[str, Any] | None
    sound: dict[str, Any] | None
    alarms_taken: list[dict[str, Any]]
    notes: list[dict[str, Any]]
    gels: list[dict[str, Any]]
    mix: dict[str, Any]
    instruments: dict[str, Any]
    last: dict[str, Any]
    crew: list[dict[str, Any]]
    urls: dict[str, str]
    questions: list[dict[str, Any]]
    next: dict[str, str]


def pour_sheet(pour: Pour, now: dt.datetime) -> dict[str, Any]:
    """A pour as it stands, for its page and for the tablet that goes on without the book.

    The number of queries does not grow with what was logged. What only the devices know, numbers that are missing, is
    not in it: see `number_gaps`.
    """
    # Read first: what is booked meanwhile may be in the sheet beyond this number, but nothing up to it can be missing.
    head = book_head()
    day = pour_day(pour)
    system = pour.plan.system
    table = gel_table_of_day(system, timezone.localdate(pour.entry.happened_at))
    on = timezone.localdate(now)
    cards = instrument_cards(on)
    climate = _climate(day)
    questions = open_questions(day)
    readings = [*(_reading(row) for row in day.readings), *(_shed(row) for row in climate)]
    readings.sort(key=lambda one: (one["at"], one["entry"]))
    return asdict(
        PourSheet(
            pour=_pour(day),
            now=iso(now),
            book={"number": head.entries, "hash": head.head},
            plan=_plan(day),
            pour_plan=pour_plan_sheet(pour.part, now),
            girth=_girth(day),
            feed_lines=_feed_lines(day),
            inlets=[_inlet(inlet) for inlet in day.inlets],
            pails=_pails(day, table),
            moves=[_by(row) | {"entry": row.pk, "inlet": row.inlet_number, "move": row.move} for row in day.moves],
            fronts=[_front(row) for row in day.fronts],
            readings=readings,
            troubles=[_trouble(view) for view in day.troubles],
            stopped=_by(day.stopped) | {"id": str(day.stopped.entry.entry_id)} if day.stopped else None,
            sound=_by(day.sound) | {"heard": day.sound.heard} if day.sound else None,
            alarms_taken=[_by(row) | {"code": row.code, "rank": row.rank} for row in day.alarms],
            notes=[_by(row) | {"entry": row.pk, "words": row.words} for row in day.notes],
            gels=[
                _by(row)
                | {
                    "place": row.place or GelPlace(row.at).label,
                    "where": row.at,
                    "pail": row.mix.pail_number if row.mix else None,
                }
                for row in day.gels
            ],
            mix=_mix(day, system, table, cards, on),
            instruments={
                "gauges": _cards(cards, InstrumentKind.GAUGE),
                "thermometers": _cards(cards, InstrumentKind.THERMOMETER, InstrumentKind.LOGGER),
            },
            last=_last(day, readings),
            crew=[{"initials": person.initials, "name": person.full_name} for person in crew()],
            urls=_urls(pour),
            questions=[_question(question) for question in questions],
            next=asdict(next_act(day, questions)),
        )
    )


def iso(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _at(at: dt.datetime | None) -> str | None:
    return None if at is None else iso(at)


def _by(row: TypedRow) -> dict[str, Any]:
    return {"at": iso(row.entry.happened_at), "by": row.entry.person}


# ---- The pour and its plan


def _pour(day: PourDay) -> dict[str, Any]:
    pour = day.pour
    return {
        "hull": pour.part.hull.number,
        "part": pour.part.name,
        "number": pour.number,
        "begun_at": iso(pour.entry.happened_at),
        "begun_by": pour.entry.person,
        "first_inlet_at": _at(day.first_inlet_at),
        "closed_at": _at(day.closing.entry.happened_at if day.closing else None),
        "entry": pour.pk,
    }


def _plan(day: PourDay) -> dict[str, Any]:
    plan = day.pour.plan
    pail_kg = plan.inputs.get(name="pail_kg").value
    highest = {limit.name: limit.high for limit in limits_in_force()}
    return {
        "mean_kg": plan.mean_kg,
        "enough_kg": plan.upper_kg,
        "pail_kg": pail_kg,
        "pails": pails_for(plan.mean_kg, pail_kg),
        "dose_low_phr": plan.system.dose_low_phr,
        "dose_high_phr": plan.system.dose_high_phr,
        "second_part": second_part(plan.system),
        "vacuum_limit_mbar": highest.get(LimitName.POUR_RISE),
        "peak_limit_c": highest.get(LimitName.LAMINATE_PEAK),
        "reading_every_min": READING_EVERY_MIN,
    }


def _girth(day: PourDay) -> dict[str, Any]:
    zones = [
        {"name": zone.name, "from_mm": zone.girth_from_mm, "to_mm": zone.girth_to_mm, "side": zone.side}
        for zone in day.pour.plan.revision.zones.order_by("position")
    ]
    stations = day.layout.stations if day.layout else ()
    widest = [zone["to_mm"] for zone in zones]
    return {
        "flange_mm": day.layout.flange_mm if day.layout else max(widest, default=0.0),
        "stations": [
            {"name": station.name, "place": str(station), "girth_mm": station.girth_mm} for station in stations
        ],
        "zones": zones,
    }


def _feed_lines(day: PourDay) -> list[dict[str, Any]]:
    return [
        {
            "number": line.number,
            "name": line.name,
            "girth_mm": line.girth_mm,
            "side": line.side,
            "opens_after": line.opens_after,
            "opens_words": line.opens_words,
            "opens_front_mm": line.opens_front_mm,
        }
        for line in (day.layout.lines if day.layout else ())
    ]


def _inlet(inlet: InletState) -> dict[str, Any]:
    return {
        "number": inlet.number,
        "line": inlet.line.number,
        "side": inlet.side,
        "state": inlet.state,
        "since": _at(inlet.since),
        "entry": inlet.entry,
        "was_opened": inlet.was_opened,
    }


# ---- Pails


def _pails(day: PourDay, table: GelTable | str) -> list[dict[str, Any]]:
    """Each with its gel clock counted from its own mixing; `mark` says what is open about it."""
    twice = {pail.mix.pk for _, pails in day.same_number() for pail in pails}
    return [
        _pail(pail, table, day.temperatures_of(pail.mix), "one pail or two?" if pail.mix.pk in twice else "")
        for pail in day.pails
    ]


def _pail(
    pail: PailOfDay, table: GelTable | str, temperatures: Sequence[tuple[float, float]], mark: str
) -> dict[str, Any]:
    mix = pail.mix
    by_role = {role: [one for one in pail.components if one.role == role] for role in ComponentRole}
    resins, catalysts = by_role[ComponentRole.RESIN], by_role[ComponentRole.CATALYST]
    judged = [one for one in mix.entry.judgements.all() if one.level in ("conditional fail", "fail")]
    gel = gel_clock(table, mix.dose_phr, temperatures, 0.0)
    return {
        "number": mix.pail_number,
        "entry": mix.pk,
        "id": str(mix.entry.entry_id),
        "mixed_at": iso(mix.entry.happened_at),
        "mixed_by": mix.mixed_by,
        "resin_kg": sum(one.mass_kg for one in resins),
        "catalyst_g": GRAMS * sum(one.mass_kg for one in catalysts),
        "mixed_kg": pail.mixed_kg,
        "percent": mix.dose_phr,
        "temperature_c": mix.resin_temperature_c,
        "temperatures": temperatures,
        "inlet": mix.inlet,
        "lot": ", ".join(dict.fromkeys(one.lot.code for one in resins)),
        "gel": {
            "low_at": _minutes_after(mix, gel.low_minutes),
            "mid_at": _minutes_after(mix, gel.mid_minutes),
            "high_at": _minutes_after(mix, gel.high_minutes),
            "words": gel.words,
        },
        "state": str(pail.state),
        "ended_at": _at(pail.ended_at),
        "left_kg": pail.left_kg,
        "mark": mark or ", ".join(f"{one.code.replace('.', ' ')}: {one.level}" for one in judged),
    }


def _minutes_after(mix: Mix, minutes: float | None) -> str | None:
    return None if minutes is None else iso(mix.entry.happened_at + dt.timedelta(minutes=minutes))


# ---- What was logged while resin ran


def _front(row: Any) -> dict[str, Any]:
    return _by(row) | {
        "entry": row.pk,
        "station": row.station,
        "side": row.side,
        "girth_mm": row.girth_mm,
        "words": row.landmark,
    }


def _reading(row: PourReading) -> dict[str, Any]:
    is_pressure = row.what == ReadingOf.BAG_PRESSURE
    return _by(row) | {
        "entry": row.pk,
        "what": row.what,
        "value": row.bag_pressure_mbar_abs if is_pressure else row.temperature_c,
        "unit": "mbar" if is_pressure else "°C",
        "place": row.place,
        "instrument": row.instrument.code,
        "instrument_id": row.instrument_id,
        "gauge_kind": row.gauge_kind,
        "gauge_mbar": row.gauge_mbar,
        "station_pressure_mbar": row.station_pressure_mbar,
    }


def _climate(day: PourDay) -> Iterable[ClimateReading]:
    until = day.closing.entry.happened_at + CLIMATE_AFTER if day.closing else None
    return climate_in(day.pour.part.hull.bay, day.pour.entry.happened_at - CLIMATE_BEFORE, until)


def _shed(row: ClimateReading) -> dict[str, Any]:
    return _by(row) | {
        "entry": row.pk,
        "what": "shed",
        "value": row.air_temperature_c,
        "unit": "°C",
        "place": row.place,
        "instrument": row.thermometer.code,
        "instrument_id": row.thermometer_id,
        "humidity_percent": row.humidity_percent,
    }


def _last(day: PourDay, readings: list[dict[str, Any]]) -> dict[str, Any]:
    """The last reading of each kind; before the first one, the bag's pressure at the end of the last hold test."""
    last = {reading["what"]: reading for reading in readings}
    test = last_hold_test(day.pour.part)
    if ReadingOf.BAG_PRESSURE not in last and test is not None:
        read: HoldReading = test.readings.order_by("-position")[0]
        minutes = dt.timedelta(minutes=read.minute)
        last[ReadingOf.BAG_PRESSURE] = _by(test) | {
            "entry": test.pk,
            "what": ReadingOf.BAG_PRESSURE,
            "at": iso(test.entry.happened_at + minutes),
            "value": read.bag_pressure_mbar_abs,
            "unit": "mbar",
            "place": "",
            "instrument": test.gauge.code,
            "instrument_id": test.gauge_id,
            "gauge_kind": test.gauge_kind,
            "gauge_mbar": read.shown_mbar,
            "station_pressure_mbar": test.station_pressure_end_mbar,
        }
    return {str(what): reading for what, reading in last.items()}


def _trouble(view: TroubleView) -> dict[str, Any]:
    row = view.trouble
    offset = None
    if row.new_gauge_mbar_abs is not None and row.old_gauge_mbar_abs is not None:
        offset = row.new_gauge_mbar_abs - row.old_gauge_mbar_abs
    return _by(row) | {
        "entry": row.pk,
        "id": str(row.entry.entry_id),
        "kind": row.kind,
        "words": row.words,
        "place": trouble_place(row),
        "station": row.station or None,
        "side": row.side or None,
        "girth_mm": row.girth_mm,
        "inlet": row.inlet_number,
        "pail": row.mix.pail_number if row.mix else None,
        "gauge": row.gauge.code if row.gauge else None,
        "gauge_offset_mbar": offset,
        "mended_at": _at(view.mended.entry.happened_at if view.mended else None),
        "mended_words": view.mended.words if view.mended else "",
    }


# ---- What the next entry may be made with


def _mix(
    day: PourDay, system: ResinSystem, table: GelTable | str, cards: list[InstrumentCard], on: dt.date
) -> dict[str, Any]:
    """Lots and instruments to choose from, the grams that go with a kilogram, and what the last pail was made with."""
    lines = stock(on)
    second = second_part(system)
    low, high = system.dose_low_phr, system.dose_high_phr
    scales = _cards(cards, InstrumentKind.SCALE)
    return {
        "lots": _lots(lines, system.resin_id),
        "catalyst_lots": _lots(lines, system.catalyst_id),
        "scales": scales,
        "catalyst_scales": sorted(scales, key=lambda one: float(one["resolution"])),
        "thermometers": _cards(cards, InstrumentKind.THERMOMETER, InstrumentKind.LOGGER),
        "grams_per_kg": {
            "low": catalyst_grams(1.0, low, second),
            "mid": catalyst_grams(1.0, (low + high) / 2, second),
            "high": catalyst_grams(1.0, high, second),
        },
        "gel_table": None if isinstance(table, str) else asdict(table),
        "gel_words": table if isinstance(table, str) else "",
        "next_pail": day.next_pail_number,
        "before": _before(day),
    }


def _before(day: PourDay) -> dict[str, Any] | None:
    """What the next pail most likely shares with the last: never what is measured, nor who read the scale."""
    if not day.pails:
        return None
    mix, components = day.pails[-1].mix, day.pails[-1].components
    lots = {component.role: component.lot_id for component in components}
    return {
        "resin_lot": lots.get(ComponentRole.RESIN),
        "catalyst_lot": lots.get(ComponentRole.CATALYST),
        "scale": mix.scale_id,
        "catalyst_scale": mix.catalyst_scale_id,
        "thermometer": mix.thermometer_id,
        "inlet": mix.inlet,
        "mixed_by": mix.mixed_by,
    }


def _lots(lines: list[StockLine], material: int) -> list[dict[str, Any]]:
    """What is there of a material, fit for use first; one that is not says why."""
    there = [line for line in lines if line.lot.material_id == material and (line.left > 0 or line.is_usable)]
    return [
        {
            "id": line.lot.pk,
            "code": line.lot.code,
            "words": line.words,
            "kg_left": line.left,
            "use_by": None if line.lot.use_by is None else line.lot.use_by.isoformat(),
            "state": "out of date" if line.out_of_date else line.state.value,
            "is_fit": line.is_usable,
        }
        for line in sorted(there, key=lambda line: not line.is_usable)
    ]


def _cards(cards: list[InstrumentCard], *kinds: InstrumentKind) -> list[dict[str, Any]]:
    return [
        {
            "id": card.instrument.pk,
            "code": card.instrument.code,
            "name": card.instrument.name,
            "resolution": card.instrument.resolution,
            "unit": card.instrument.unit,
            "words": card.words,
            "in_date": card.in_date,
        }
        for card in cards
        if card.instrument.kind in kinds
    ]


PAGES = {
    "mix": "mix-log",
    "inlet": "inlet-log",
    "front": "front-log",
    "reading": "reading-log",
    "trouble": "trouble-log",
    "mended": "mended",
    "pail_end": "pail-end",
    "note": "note",
    "sound": "sound",
    "alarm": "alarm",
    "answer": "answer",
    "gel": "gel-log",
    "left_over": "remainder-log",
    "close": "close",
    "sheet": "sheet",
    "day": "day",
    "gaps": "gaps",
    "questions": "questions",
    "pour": "pour",
}


def _urls(pour: Pour) -> dict[str, str]:
    """Where each thing is logged. `strike_out` ends with the number of the entry in place of the 0."""
    hull, part = pour.part.hull.number, pour.part.name
    pages = {name: reverse(f"pours:{page}", args=[hull, part, pour.number]) for name, page in PAGES.items()}
    return pages | {
        "layout": reverse("pours:layout-log", args=[hull, part]),
        "climate": reverse("yard:climate-log"),
        "strike_out": reverse("hulls:strike-out", args=[hull, 0]),
    }


def _question(question: OpenQuestion) -> dict[str, Any]:
    return {
        "code": question.code,
        "sentence": question.sentence,
        "since": iso(question.since),
        "answers": [
            {"words": one.words, "url": one.url, "fields": dict(one.fields), "asks": bool(one.asks)}
            for one in question.answers
        ],
    }


# ---- What the plan wants next


@dataclass(frozen=True)
class NextAct:
    """The act, as the key names it, and why it is the next one."""

    act: str
    words: str
    why: str
    inlet: int | None = None


def next_act(day: PourDay, questions: list[OpenQuestion]) -> NextAct:
    """What comes next by the plan and the fronts logged. It stops nobody from doing something else."""
    if day.closing is not None:
        return _after_the_clamp(day, questions)
    if day.stopped is not None:
        since = timezone.localtime(day.stopped.entry.happened_at)
        return NextAct("mended", "Going on again", f"all stop since {since:%H:%M}, {day.stopped.entry.person}")
    if day.sound is None:
        return NextAct("sound", "Try the sound", "three knocks, heard all over the shed before resin runs")
    if day.is_through:
        return _through(day)
    if not day.pails and day.left_to_mix_kg > 0:
        return NextAct("mix", "Mix pail 1", "an inlet opened before there is resin at it draws air")
    if (inlet := _inlet_to_open(day)) is not None:
        return NextAct("inlet", f"Open inlet {inlet.number}", _why_opened(inlet), inlet.number)
    if day.left_to_mix_kg > 0:
        words = f"{day.left_to_mix_kg:.1f} kg left to mix by the plan"
        return NextAct("mix", f"Mix pail {day.next_pail_number}", words)
    if day.layout is None:
        return NextAct("close", "Close the pour", "all that was planned is mixed; front through, inlets shut?")
    return NextAct("front", "Front reached", "all that was planned is mixed; the front is not through everywhere")


def _inlet_to_open(day: PourDay) -> InletState | None:
    waiting = (inlet for inlet in day.inlets if inlet.state == InletMove.SHUT and not inlet.was_opened)
    return next((inlet for inlet in waiting if day.may_open(inlet.line)), None)


def _why_opened(inlet: InletState) -> str:
    line = inlet.line
    if line.opens_front_mm is None:
        return f"feed line {line.number}, {line.name}, opens at the start"
    return when_it_opens(line)


def _through(day: PourDay) -> NextAct:
    still_open = next((inlet for inlet in day.inlets if inlet.state == InletMove.OPENED), None)
    if still_open is not None:
        why = "the front is through everywhere"
        return NextAct("inlet", f"Shut inlet {still_open.number}", why, still_open.number)
    return NextAct("close", "Close the pour", "front through everywhere, all inlets shut")


def _after_the_clamp(day: PourDay, questions: list[OpenQuestion]) -> NextAct:
    unended = next((pail for pail in day.pails if pail.state == "feeding"), None)
    if unended is not None:
        number = unended.mix.pail_number
        return NextAct("pail_end", f"Pail {number}: empty or dumped", "a pail left standing gets hot by itself")
    if questions:
        count = len(questions)
        return NextAct("questions", "Open questions", f"{count} left open, the oldest first")
    if not any(gel.at == GelPlace.PART for gel in day.gels):
        return NextAct("gel", "Gel, now", "the resin trap and the far flange first")
    return NextAct("questions", "Nothing left open", "closed, gelled, and no question is open")
