"""What is keyed or sent about hulls, schedules and lay-up."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import IO, Any

from django import forms
from django.utils import timezone

from hullbook.calc.craft_number import CraftNumber
from hullbook.calc.errors import InputRefused
from hullbook.calc.hull_lines import LINE_NAME, LINES_IN_WORDS, HullLines, Offset, hull_lines
from hullbook.calc.ranges import check_hard
from hullbook.hulls.enums import BuildRegime, HullSide, InShed, LayingOutcome, PaperKind, Side
from hullbook.hulls.models import BoatModel, CraftNumberGiven, Hull, Laying, ScheduleLine, ScheduleRevision, Zone
from hullbook.hulls.selectors import LaidLine, boat_models, highest_pull, hull_with_serial, skin_places
from hullbook.hulls.services import (
    MOST_LINES,
    MOST_OFFSETS,
    STATION_NAME,
    GivenLine,
    GivenPlace,
    GivenZone,
    read_angle,
    read_number_of,
)
from hullbook.materials.enums import MaterialKind
from hullbook.materials.models import Lot, Material
from hullbook.materials.selectors import StockLine, materials, stock
from hullbook.quantities.fields import QuantityField
from hullbook.quantities.reading import plain_cell, read_quantity
from hullbook.quantities.showing import neutral_cell, show
from hullbook.quantities.tables import ranges
from hullbook.records.models import TypedRow
from hullbook.records.services import Refused
from hullbook.web.forms import LogForm, OneOfField, Question
from hullbook.web.tables import MOST_SENTENCES, read_table
from hullbook.yard.forms import DayField, not_ahead
from hullbook.yard.models import Bay
from hullbook.yard.selectors import bays, crew, yard_in_force


def _words(rows: int = 3) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


# Hulls


class BoatModelForm(LogForm):
    act = "Add the model"

    name = forms.CharField(max_length=40, label="Name", help_text="As it is called in the yard: MB84.")
    length_m = QuantityField(range_key="length_m", label="Length of hull")
    beam_m = QuantityField(range_key="length_m", label="Beam")


class LayDownForm(LogForm):
    act = "Lay down the hull"

    number = forms.CharField(
        max_length=20, label="Hull number", help_text="As MB84-03. It is painted on the mould and never changes."
    )
    boat_model = OneOfField(queryset=BoatModel.objects.none(), label="Model")
    mould = forms.CharField(max_length=40, label="Mould")
    pull_number = forms.IntegerField(
        min_value=1, max_value=9999, label="Pull", help_text="How many hulls this mould has made, this one included."
    )
    bay = OneOfField(queryset=Bay.objects.none(), label="Bay")
    build_regime = forms.ChoiceField(choices=BuildRegime.choices, label="Built as")
    customer_reference = forms.CharField(
        max_length=80, required=False, label="Customer reference", help_text="A number; no names of persons."
    )
    laid_down_on = DayField(label="Laid down on")
    part_names = forms.CharField(label="Parts", widget=_words(4), help_text="One a line, as Hull shell.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["boat_model"].queryset = boat_models()  # type: ignore[attr-defined]
        self.fields["bay"].queryset = bays()  # type: ignore[attr-defined]

    def clean_laid_down_on(self) -> date | None:
        return not_ahead(self.cleaned_data["laid_down_on"])

    def clean_part_names(self) -> list[str]:
        return str(self.cleaned_data["part_names"]).splitlines()

    def ask_about(self) -> list[Question]:
        mould, pull = self.cleaned_data["mould"], self.cleaned_data["pull_number"]
        made = highest_pull(mould)
        if made is None or pull == made + 1:
            return []
        sentence = (
            f"Mould {mould} has made {made} by the book, so this would be {made + 1}, not {pull}. Is {pull} right?"
        )
        return [Question("pull_number", str(self.data[self.add_prefix("pull_number")]), sentence, str(made + 1))]


class CraftNumberForm(LogForm):
    """The craft identification number of one hull; what is unusual about it is asked about."""

    act = "Give the number"

    number = forms.CharField(
        max_length=30,
        label="Craft identification number",
        help_text="Twelve characters, or two letters of the country, a hyphen and twelve more.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )

    def __init__(self, *args: Any, hull: Hull, corrects: CraftNumberGiven | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.hull = hull
        self.read: CraftNumber | None = None
        if corrects is not None:
            self.act = "Correct the number"
            self.fields["reason"] = forms.CharField(max_length=400, label="What was wrong", widget=_words())
            self.order_fields(["number", "reason", "happened_at"])

    def clean_number(self) -> str:
        number = str(self.cleaned_data["number"])
        yard = yard_in_force()
        codes = yard.builder_codes.split() if yard else []
        try:
            self.read = read_number_of(self.hull, number, today=timezone.localdate(), known_builder_codes=codes)
        except InputRefused as refused:
            raise forms.ValidationError(f"{refused}.", code=refused.key) from refused
        return number

    def ask_about(self) -> list[Question]:
        if self.read is None:
            return []
        read = self.read
        asked = [Question(f"number-{note.code}", read.text_tidied, note.sentence) for note in read.notes]
        other = hull_with_serial(f"{read.builder_code}{read.serial}", self.hull)
        if other is not None:
            sentence = (
                f"Hull {other.number} has {read.builder_code} serial {read.serial} already. Is this one right too?"
            )
            asked.append(Question("number-E12", read.text_tidied, sentence))
        return asked


class LeaveYardForm(LogForm):
    act = "The hull has left"

    left_on = DayField(label="Left the yard on")
    delivered_to = forms.CharField(
        max_length=80,
        required=False,
        label="Delivered to",
        help_text="A place or an order number; no names of persons.",
    )

    def clean_left_on(self) -> date | None:
        return not_ahead(self.cleaned_data["left_on"])


class HoldPointForm(LogForm):
    act = "Release the hold point"

    words = forms.CharField(max_length=400, required=False, label="Words", widget=_words())
    missing = forms.CharField(
        max_length=2000,
        required=False,
        label="Missing at this moment",
        widget=_words(5),
        help_text="What is not there yet and why work goes on all the same. It stays with the release.",
    )


class StrikeOutForm(LogForm):
    act = "Strike it out"

    reason = forms.CharField(
        max_length=400, label="Why", widget=_words(), error_messages={"required": "Say why the entry is struck out."}
    )


# Schedules


class BeginRevisionForm(forms.Form):
    """A new draft: of which part, and from which revision it starts."""

    part_name = forms.CharField(max_length=40, label="Part", help_text="As the part of a hull is called: Hull shell.")
    based_on = OneOfField(
        queryset=ScheduleRevision.objects.none(), required=False, label="Start from", empty_label="an empty page"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        revisions = ScheduleRevision.objects.select_related("boat_model").order_by(
            "boat_model__name", "part_name", "-pk"
        )
        self.fields["based_on"].queryset = revisions  # type: ignore[attr-defined]


class SignForm(LogForm):
    approval = forms.CharField(
        max_length=120,
        label="It follows",
        help_text="The designer's drawing with its revision, or the plan approval letter.",
        error_messages={"required": "Name the designer's drawing or the approval letter it follows."},
    )

    def __init__(self, *args: Any, revision: ScheduleRevision, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.act = f"Sign rev {revision.letter}"


class TakeIntoForceForm(LogForm):
    act = "Build to this revision"

    revision = OneOfField(queryset=ScheduleRevision.objects.none(), label="Revision", empty_label=None)

    def __init__(self, *args: Any, signed: Sequence[ScheduleRevision], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = ScheduleRevision.objects.filter(pk__in=[revision.pk for revision in signed]).order_by("-pk")
        self.fields["revision"].queryset = choices  # type: ignore[attr-defined]
        self.fields["revision"].label_from_instance = lambda revision: f"rev {revision.letter}"  # type: ignore[attr-defined]


class ZoneRow(forms.Form):
    name = forms.CharField(max_length=40, label="Zone")
    area_m2 = QuantityField(range_key="area_m2", is_measured=False, label="Area")
    girth_from_mm = QuantityField(range_key="half_girth_mm", is_measured=False, label="Half-girth from")
    girth_to_mm = QuantityField(range_key="half_girth_mm", is_measured=False, label="Half-girth to")
    station_from = QuantityField(range_key="station", is_measured=False, label="From station")
    station_to = QuantityField(range_key="station", is_measured=False, label="To station")
    side = forms.ChoiceField(choices=Side.choices, initial=Side.BOTH, label="Side")


class LineRow(forms.Form):
    number = forms.DecimalField(
        min_value=0,
        max_value=99999,
        decimal_places=2,
        label="Line",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    zone = forms.CharField(max_length=40, label="Zone", widget=forms.TextInput(attrs={"list": "zones"}))
    material = forms.CharField(max_length=30, label="Material", widget=forms.TextInput(attrs={"list": "materials"}))
    angle_deg = forms.CharField(max_length=12, required=False, label="Angle")
    lap_mm = QuantityField(range_key="lap_mm", required=False, is_measured=False, label="Lap")
    is_structural = forms.BooleanField(required=False, initial=True, label="Structural")


ON_PAGE_ZONES = 40
ON_PAGE_LINES = 150
EMPTY_ROWS = 4


class ScheduleForm:
    """A draft as a table on one page: its zones, then its lines in the order they go into the mould."""

    def __init__(self, data: Any = None, *, zones: Sequence[Zone] = (), lines: Sequence[ScheduleLine] = ()) -> None:
        self.zones = _rows_of(ZoneRow, ON_PAGE_ZONES)(
            data, prefix="zones", initial=[_zone_initial(zone) for zone in zones]
        )
        self.lines = _rows_of(LineRow, ON_PAGE_LINES)(
            data, prefix="lines", initial=[_line_initial(line) for line in lines]
        )
        self.problems: list[str] = []

    def is_valid(self) -> bool:
        return self.zones.is_valid() & self.lines.is_valid()

    def given(self) -> tuple[list[GivenZone], list[GivenLine]]:
        """Zones and lines as the service takes them, lines numbered anew in their order; Refused names a material."""
        known = schedule_materials()
        kept = sorted((row for row in _kept(self.lines)), key=lambda row: row["number"])
        unknown = {row["material"]: f'There is no material "{row["material"]}" for a schedule.' for row in kept}
        for code in known:
            unknown.pop(code, None)
        if unknown:
            raise Refused(unknown)
        lines = [
            GivenLine(
                number=number,
                zone=row["zone"],
                material=known[row["material"]],
                angle_deg=row["angle_deg"],
                lap_mm=row["lap_mm"] or 0.0,
                is_structural=row["is_structural"],
            )
            for number, row in enumerate(kept, start=1)
        ]
        return [GivenZone(**row) for row in _kept(self.zones)], lines


def _rows_of(row: type[forms.Form], most: int) -> type[forms.BaseFormSet]:
    return forms.formset_factory(
        row, extra=EMPTY_ROWS, can_delete=True, max_num=most, absolute_max=most + EMPTY_ROWS, validate_max=True
    )


def _kept(rows: forms.BaseFormSet) -> list[dict[str, Any]]:
    filled = [row.cleaned_data for row in rows if row.cleaned_data and not row.cleaned_data["DELETE"]]
    return [{name: value for name, value in row.items() if name != "DELETE"} for row in filled]


def _zone_initial(zone: Zone) -> dict[str, Any]:
    numbers = {name: _plain(getattr(zone, name)) for name in ZONE_NUMBERS}
    return {"name": zone.name, "side": zone.side, **numbers}


def _line_initial(line: ScheduleLine) -> dict[str, Any]:
    return {
        "number": line.number,
        "zone": line.zone.name,
        "material": line.material.code,
        "angle_deg": line.angle_deg,
        "lap_mm": _plain(line.lap_mm),
        "is_structural": line.is_structural,
    }


def _plain(value: float) -> str:
    return f"{value:.15g}"


def schedule_materials() -> dict[str, Material]:
    """What a schedule can name, by code."""
    sheets = materials([MaterialKind.REINFORCEMENT, MaterialKind.CORE])
    return {sheet.material.code: sheet.material for sheet in sheets}


# A schedule as a CSV file

ZONE_NUMBERS = {
    "area_m2": "area_m2",
    "girth_from_mm": "half_girth_mm",
    "girth_to_mm": "half_girth_mm",
    "station_from": "station",
    "station_to": "station",
}
SCHEDULE_CSV_COLUMNS = (
    "line",
    "zone",
    *ZONE_NUMBERS,
    "side",
    "material",
    "angle_deg",
    "lap_mm",
    "structural",
)
LARGEST_CSV_BYTES = 2 * 1024 * 1024
YES_NO = {"yes": True, "no": False}


class ScheduleCsvForm(forms.Form):
    """A whole schedule as one CSV file; its zones and lines take the place of what the draft held."""

    act = "Take the schedule in"

    file = forms.FileField(
        label="The schedule",
        help_text=f"A CSV file in UTF-8 with commas, at most {MOST_LINES} lines and {LARGEST_CSV_BYTES // 1024**2} MB.",
        error_messages={"required": "Choose the file.", "empty": "The file is empty."},
    )

    def clean_file(self) -> "GivenSchedule":
        return read_schedule(self.cleaned_data["file"])


@dataclass(frozen=True)
class GivenSchedule:
    zones: list[GivenZone]
    lines: list[GivenLine]


def schedule_csv(revision: ScheduleRevision) -> str:
    """A revision as a CSV file that `read_schedule` takes back to the letter."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(SCHEDULE_CSV_COLUMNS)
    for line in revision.lines.select_related("zone", "material").order_by("number"):
        zone = line.zone
        writer.writerow(
            [
                line.number,
                neutral_cell(zone.name),
                *(_plain(getattr(zone, name)) for name in ZONE_NUMBERS),
                zone.side,
                neutral_cell(line.material.code),
                neutral_cell(line.angle_deg),
                _plain(line.lap_mm),
                "yes" if line.is_structural else "no",
            ]
        )
    return out.getvalue()


def read_schedule(file: IO[bytes]) -> GivenSchedule:
    """Zones and lines of a CSV file; ValidationError names what is wrong by row and column."""
    known = schedule_materials()
    zones: dict[str, tuple[int, GivenZone]] = {}
    lines: list[GivenLine] = []
    problems: list[str] = []
    limits = {"largest_bytes": LARGEST_CSV_BYTES, "most_lines": MOST_LINES}
    for number, row in read_table(file, SCHEDULE_CSV_COLUMNS, **limits):
        try:
            zone, line = _read_row({name: cell.strip() for name, cell in row.items()}, known)
        except InputRefused as refused:
            problems.append(
                f"Row {number}, column {refused.field}: {refused.given} is not accepted; {refused.accepted}."
            )
        else:
            lines.append(line)
            first, same = zones.setdefault(zone.name, (number, zone))
            problems += [
                f"Row {number}, column {name}: zone {zone.name} has {given} here, {had} in row {first}; give one."
                for name, given, had in _disagreements(zone, same)
            ]
        if len(problems) >= MOST_SENTENCES:
            problems = [*problems[:MOST_SENTENCES], "There may be more; mend these first."]
            break
    if problems:
        raise forms.ValidationError(problems)
    if not lines:
        raise forms.ValidationError("There is no line in it, only the names of the columns.")
    for line_number, count in Counter(line.number for line in lines).items():
        if count > 1:
            raise forms.ValidationError(
                f"Line {line_number} is there {count} times; each line has a number of its own."
            )
    return GivenSchedule([zone for _, zone in zones.values()], lines)


def _read_row(row: dict[str, str], known: dict[str, Material]) -> tuple[GivenZone, GivenLine]:
    texts = {name: _text(row[name], name) for name in ("zone", "side", "material", "structural")}
    if not texts["zone"]:
        raise InputRefused("missing", "zone", "nothing", "name the zone")
    if texts["material"] not in known:
        raise InputRefused(
            "impossible", "material", f'"{texts["material"][:40]}"', "give the code of a cloth or core in the store"
        )
    zone = GivenZone(
        name=texts["zone"],
        side=_one_of(texts["side"] or Side.BOTH, Side.values, "side"),
        **{name: _number(row[name], name, range_key) for name, range_key in ZONE_NUMBERS.items()},
    )
    angle = row["angle_deg"].removeprefix("'")
    try:
        angle = read_angle(angle, "angle_deg")
    except Refused as refused:
        raise InputRefused(
            "impossible", "angle_deg", f'"{angle[:40]}"', "give 0, 90, +-45 or 0/90, or leave it empty"
        ) from refused
    line = GivenLine(
        number=_line_number(row["line"]),
        zone=zone.name,
        material=known[texts["material"]],
        angle_deg=angle,
        lap_mm=_number(row["lap_mm"] or "0", "lap_mm", "lap_mm"),
        is_structural=YES_NO[_one_of(texts["structural"].lower(), YES_NO, "structural")],
    )
    return zone, line


def _text(cell: str, column: str) -> str:
    if "\0" in cell:
        raise InputRefused("impossible", column, "a NUL character", "give letters, figures and marks")
    return plain_cell(cell, field=column)


def _number(cell: str, column: str, range_key: str) -> float:
    bounds = ranges()[range_key]
    return check_hard(column, read_quantity(cell, field=column, stored_unit=bounds.unit).value, bounds)


def _line_number(cell: str) -> int:
    if not (cell.isascii() and cell.isdigit() and 0 < int(cell) <= MOST_LINES):
        raise InputRefused("not_a_number", "line", f'"{cell[:40]}"', f"give a whole number from 1 to {MOST_LINES}")
    return int(cell)


def _one_of(text: str, accepted: Iterable[str], column: str) -> str:
    if text not in accepted:
        raise InputRefused("impossible", column, f'"{text[:40]}"', f"give {', '.join(accepted)}")
    return text


def _disagreements(zone: GivenZone, same: GivenZone) -> list[tuple[str, str, str]]:
    names = (*ZONE_NUMBERS, "side")
    return [
        (name, str(getattr(zone, name)), str(getattr(same, name)))
        for name in names
        if getattr(zone, name) != getattr(same, name)
    ]


# A model's lines as a CSV file

OFFSET_NUMBERS = {"x_mm": "offset_x_mm", "half_breadth_mm": "half_breadth_mm", "height_mm": "offset_height_mm"}
OFFSETS_CSV_COLUMNS = ("station", "x_mm", "line", "half_breadth_mm", "height_mm")


class OffsetsForm(LogForm):
    """A model's lines as one CSV file; they stand in the place of those given before."""

    act = "Take the lines in"

    lines_plan = forms.CharField(
        max_length=120, label="Read from", help_text="The lines plan with its revision, as MB84-LP-1 rev 2."
    )
    file = forms.FileField(
        label="The table of offsets",
        help_text=f"A CSV file in UTF-8 with commas, at most {MOST_OFFSETS} rows and "
        f"{LARGEST_CSV_BYTES // 1024**2} MB. Lengths in mm.",
        error_messages={"required": "Choose the file.", "empty": "The file is empty."},
    )

    def clean_file(self) -> list[Offset]:
        return read_offsets(self.cleaned_data["file"])

    def given(self) -> dict[str, Any]:
        return {"lines_plan": self.cleaned_data["lines_plan"], "offsets": self.cleaned_data["file"]}


def offsets_csv(lines: HullLines) -> str:
    """A model's lines as a CSV file that `read_offsets` takes back to the letter."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(OFFSETS_CSV_COLUMNS)
    for section in lines.sections:
        for point in section.points:
            station = neutral_cell(point.station)
            writer.writerow(
                [station, _plain(point.x_mm), point.line, _plain(point.half_breadth_mm), _plain(point.height_mm)]
            )
    return out.getvalue()


def read_offsets(file: IO[bytes]) -> list[Offset]:
    """Offsets of a CSV file, one point a row; ValidationError names what is wrong by row and column."""
    offsets: list[Offset] = []
    problems: list[str] = []
    first_rows: dict[tuple[str, str], int] = {}
    places: dict[str, tuple[int, float]] = {}
    limits = {"largest_bytes": LARGEST_CSV_BYTES, "most_lines": MOST_OFFSETS}
    for number, row in read_table(file, OFFSETS_CSV_COLUMNS, **limits):
        try:
            offset = _read_offset({name: cell.strip() for name, cell in row.items()})
            first, x_mm = places.setdefault(offset.station, (number, offset.x_mm))
            if x_mm != offset.x_mm:
                raise InputRefused(
                    "inconsistent", "x_mm", f"{offset.x_mm:g}", f"row {first} has station {offset.station} at {x_mm:g}"
                )
            first = first_rows.setdefault((offset.station, offset.line), number)
            if first != number:
                given = f"{offset.line} at station {offset.station}"
                raise InputRefused("inconsistent", "line", given, f"row {first} has it already; give it once")
        except InputRefused as refused:
            problems.append(
                f"Row {number}, column {refused.field}: {refused.given} is not accepted; {refused.accepted}."
            )
        else:
            offsets.append(offset)
        if len(problems) >= MOST_SENTENCES:
            problems = [*problems[:MOST_SENTENCES], "There may be more; mend these first."]
            break
    if problems:
        raise forms.ValidationError(problems)
    if not offsets:
        raise forms.ValidationError("There is no offset in it, only the names of the columns.")
    try:
        hull_lines(offsets)
    except InputRefused as refused:
        raise forms.ValidationError(
            f"Column {refused.field}: {refused.given} is not accepted; {refused.accepted}."
        ) from refused
    return offsets


def _read_offset(row: dict[str, str]) -> Offset:
    station, line = _text(row["station"], "station"), _text(row["line"], "line").lower()
    if not STATION_NAME.fullmatch(station):
        raise InputRefused("impossible", "station", f'"{station[:40]}"', "name it by letters and figures, as 5 or 7.5")
    if not LINE_NAME.fullmatch(line):
        raise InputRefused("impossible", "line", f'"{line[:40]}"', f"give {LINES_IN_WORDS}")
    numbers = {name: _number(row[name], name, range_key) for name, range_key in OFFSET_NUMBERS.items()}
    return Offset(station=station, line=line, **numbers)


# The plan of the shed


class ShedPlaceForm(LogForm):
    """Where a bay, a mould or a hull out of its mould lies."""

    act = "It lies there"

    what = forms.TypedChoiceField(choices=InShed.choices, coerce=InShed, label="What")
    name = forms.CharField(max_length=40, label="Which", help_text="The bay's code, the mould, or the hull's number.")
    x_m = QuantityField(range_key="shed_place_m", is_measured=False, label="Middle, from the left wall")
    y_m = QuantityField(range_key="shed_place_m", is_measured=False, label="Middle, from the upper wall")
    length_m = QuantityField(range_key="length_m", is_measured=False, label="Length")
    width_m = QuantityField(range_key="length_m", is_measured=False, label="Breadth")
    heading_deg = QuantityField(
        range_key="heading_deg",
        is_measured=False,
        label="Heading",
        help_text="Where the bow points in the plan: 0 right, 90 down.",
    )


# A place on the skin


SKIN_PLACE_FIELDS = ("side", "station", "girth_mm")


class SkinPlaceForm(LogForm):
    """A form with the three fields that a tap on a half-girth fills, all or none; services take them as `at`."""

    side = forms.ChoiceField(choices=[("", "not said"), *HullSide.choices], required=False, label="Side")
    station = forms.CharField(max_length=10, required=False, label="Station")
    girth_mm = QuantityField(
        range_key="half_girth_mm", required=False, is_measured=False, label="From the keel along the skin"
    )

    def __init__(self, *args: Any, corrects: TypedRow | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **({} if corrects is None else {"corrects": corrects}), **kwargs)
        self.at: GivenPlace | None = None
        if corrects is not None and (was := skin_places([corrects.pk]).get(corrects.pk)) is not None:
            self.initial |= {"side": was.side, "station": was.station, "girth_mm": f"{was.girth_mm:g}"}

    def clean(self) -> dict[str, Any]:
        said = {name: self.cleaned_data.get(name) for name in SKIN_PLACE_FIELDS}
        lacking = [name for name, value in said.items() if value in (None, "")]
        if not lacking:
            self.at = GivenPlace(str(said["side"]), str(said["station"]), float(said["girth_mm"] or 0))
        elif len(lacking) < len(said) and not self.errors:
            for name in lacking:
                self.add_error(name, "Give side, station and mm from the keel, or none of the three.")
        return super().clean()

    def given(self) -> dict[str, Any]:
        fields = super().given()
        return {**{name: value for name, value in fields.items() if name not in SKIN_PLACE_FIELDS}, "at": self.at}


# Lay-up

RANGE_OF_UNIT = {"m2": "stock_m2", "kg": "stock_kg", "m": "stock_m", "piece": "stock_piece"}
LIKELY_OVER_PLAN = 1.5


class LayingForm(LogForm):
    """A line of the schedule laid, or something laid beside it, from a lot of one material."""

    act = "Laid"
    takes_paper = True

    outcome = forms.ChoiceField(label="How it was laid", widget=forms.RadioSelect)
    zone = OneOfField(queryset=Zone.objects.none(), label="Zone", empty_label=None)
    lot = forms.ChoiceField(required=False, label="Lot", help_text="None only where it is not laid.")
    laid_by = forms.ChoiceField(label="Laid by")
    second_person = forms.ChoiceField(required=False, label="Second person")
    deviation = forms.CharField(
        max_length=400,
        required=False,
        label="Why otherwise",
        widget=_words(2),
        help_text="Empty where laid as the line says.",
    )
    lead_reason = forms.CharField(
        max_length=200,
        required=False,
        label="Quality lead's reason",
        help_text="Only for a lot that is not released or out of date.",
    )

    def __init__(
        self,
        *args: Any,
        revision: ScheduleRevision,
        material: Material,
        laid: LaidLine | None,
        corrects: Laying | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.material, self.laid, self.corrects = material, laid, corrects
        self.lines_in_stock = _to_choose_from(stock(timezone.localdate(), material=material), corrects)
        zones = revision.zones.order_by("position")
        if laid is not None:
            zones = zones.filter(pk=laid.line.zone_id)
            self.fields["zone"].widget = forms.HiddenInput()
            self.initial["zone"] = laid.line.zone_id
        self.fields["zone"].queryset = zones  # type: ignore[attr-defined]
        self.fields["outcome"].choices = [(outcome.value, outcome.label) for outcome in self._outcomes()]  # type: ignore[attr-defined]
        self.fields["lot"].choices = [("", "none"), *((line.lot.code, line.words) for line in self.lines_in_stock)]  # type: ignore[attr-defined]
        people = [(person.initials, str(person)) for person in crew()]
        self.fields["laid_by"].choices = [("", "choose"), *people]  # type: ignore[attr-defined]
        self.fields["second_person"].choices = [("", "nobody"), *people]  # type: ignore[attr-defined]
        planned = laid.view.planned_quantity if laid else None
        self.planned = planned if laid is None or laid.line.material_id == material.pk else None
        self.fields["quantity"] = QuantityField(
            range_key=RANGE_OF_UNIT[material.stock_unit],
            ask=False,
            required=False,
            label="Quantity laid",
            help_text=self._plan_words(),
        )
        if corrects is not None:
            self.act = "Correct it"
            self.fields["reason"] = forms.CharField(max_length=400, label="What was wrong", widget=_words(2))
            was = ("outcome", "laid_by", "second_person", "deviation")
            self.initial |= {name: getattr(corrects, name) for name in was}
            self.initial |= {"zone": corrects.zone_id, "lot": corrects.lot.code if corrects.lot else ""}
        self.order_fields(
            [
                "outcome",
                "zone",
                "lot",
                "quantity",
                "laid_by",
                "second_person",
                "deviation",
                "lead_reason",
                "reason",
                "happened_at",
            ]
        )

    def _outcomes(self) -> list[LayingOutcome]:
        if self.laid is None:
            return [LayingOutcome.EXTRA]
        if self.laid.line.material_id != self.material.pk:
            return [LayingOutcome.OTHERWISE]
        return [LayingOutcome.LAID, LayingOutcome.OTHERWISE, LayingOutcome.NOT_LAID]

    def _plan_words(self) -> str:
        was = f"Logged before: {show(self.corrects.quantity, self.material.stock_unit)}. " if self.corrects else ""
        return was + (
            "" if self.planned is None else f"By the schedule: {show(self.planned, self.material.stock_unit)}."
        )

    def clean_lot(self) -> Lot | None:
        return next((line.lot for line in self.lines_in_stock if line.lot.code == self.cleaned_data["lot"]), None)

    def clean_quantity(self) -> float:
        return self.cleaned_data["quantity"] or 0.0

    def ask_about(self) -> list[Question]:
        return [*self._about_the_lot(), *self._about_the_quantity(), *self._about_the_line(), *self._about_one_person()]

    def _about_the_lot(self) -> list[Question]:
        lot: Lot | None = self.cleaned_data["lot"]
        first = next((line for line in self.lines_in_stock if line.is_usable), None)
        if lot is None or first is None or first.lot == lot or (self.corrects and self.corrects.lot_id == lot.pk):
            return []
        sentence = f"{first.lot.code} goes out of date first and is to be used first. Take {lot.code} all the same?"
        return [Question("lot", lot.code, sentence, first.lot.code)]

    def _about_the_quantity(self) -> list[Question]:
        given = self.cleaned_data["quantity"]
        if not self.planned or not given or given <= LIKELY_OVER_PLAN * self.planned:
            return []
        unit = self.material.stock_unit
        ratio = given / self.planned
        likely = next((f"{given / ten:g}" for ten in (10, 100, 1000) if abs(ratio / ten - 1) < 0.25), None)
        sentence = (
            f"{show(given, unit)} is {ratio:.1f} times the {show(self.planned, unit)} of the schedule. Is it right?"
        )
        return [Question("quantity", str(self.data[self.add_prefix("quantity")]), sentence, likely)]

    def _about_the_line(self) -> list[Question]:
        if self.laid is None or self.corrects is not None or not self.laid.layings:
            return []
        last = self.laid.layings[-1]
        at = timezone.localtime(last.entry.happened_at)
        sentence = (
            f"Line {self.laid.line.number} is logged already, by {last.laid_by} on {at:%Y-%m-%d %H:%M}, "
            f"entry {last.pk}. Is this a further roll on the same line?"
        )
        return [Question("again", str(last.pk), sentence)]

    def _about_one_person(self) -> list[Question]:
        cleaned, line = self.cleaned_data, self.laid.line if self.laid else None
        alone = len(self.fields["laid_by"].choices) == 2  # type: ignore[attr-defined]
        if line is None or not alone or not line.is_structural or cleaned["second_person"] or cleaned["lot"] is None:
            return []
        sentence = (
            f"Line {line.number} is structural, and nobody else is on the crew to look at it. Log it all the same?"
        )
        return [Question("second-person", cleaned["laid_by"], sentence)]


def _to_choose_from(lines: Sequence[StockLine], corrects: Laying | None) -> list[StockLine]:
    """What may be taken first, the oldest use-by leading; then the others that still hold something."""
    its_own = corrects.lot_id if corrects else None
    there = [line for line in lines if line.is_usable or line.left > 0 or line.lot.pk == its_own]
    return sorted(there, key=lambda line: not line.is_usable)


HASH = re.compile(r"[0-9a-f]{64}")


class PhotoForm(LogForm):
    """A photo whose pieces are all here: what it is of, and what its tablet says of it."""

    act = "Log the photo"

    of = forms.UUIDField(label="Photo of")
    size_bytes = forms.IntegerField(min_value=1, label="Size")
    original_sha256 = forms.RegexField(HASH, required=False, label="Hash of the picture as it was taken")
    claimed_at = forms.DateTimeField(required=False, label="Taken at")


class PaperSheetForm(LogForm):
    act = "Print a dry sheet"
    # Its number comes from the book, so it cannot wait on a tablet.
    can_wait = False

    kind = forms.TypedChoiceField(
        choices=PaperKind.choices, coerce=PaperKind, label="What is written on it", widget=forms.RadioSelect
    )
