"""What is keyed or sent about the store."""

from datetime import date
from typing import IO, Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone

from hullbook.calc.errors import InputRefused
from hullbook.materials.enums import CoreFinish, LotState, MaterialKind, SourceKind, StockUnit
from hullbook.materials.models import Lot, Material
from hullbook.materials.selectors import (
    MATERIALS_CSV_COLUMNS,
    SheetInForce,
    as_checked,
    earlier_lots_of,
    is_out_of_date,
    materials,
    next_lot_code,
    properties_of,
    stock_left,
)
from hullbook.materials.services import (
    LARGEST_PDF_BYTES,
    SMALLEST_STEP,
    GivenGelTime,
    GivenMaterial,
    GivenProperty,
    check_property,
)
from hullbook.quantities.fields import QuantityField
from hullbook.quantities.reading import plain_cell, read_quantity
from hullbook.quantities.showing import show
from hullbook.web.forms import LogForm, OneOfField, Question
from hullbook.web.tables import MOST_SENTENCES, read_table
from hullbook.yard.forms import DayField, not_ahead

FIBRES = ("glass", "carbon", "aramid", "basalt")
GEL_DOSES = (1, 2, 3, 4)
GEL_TEMPERATURES = (1, 2, 3, 4, 5)

LARGEST_IMPORT_BYTES = 5 * 1024 * 1024
MOST_IMPORT_LINES = 5000


class MaterialForm(LogForm):
    """A sheet of one kind of material: each of its properties with a source of its own, or the one of the sheet."""

    code = forms.CharField(max_length=30, label="Code", help_text="The yard's own, as GB-800; it stays for ever.")
    stock_unit = forms.ChoiceField(choices=StockUnit.choices, label="Counted in")
    name = forms.CharField(max_length=120, label="Name")
    maker = forms.CharField(max_length=80, required=False, label="Maker")
    source_kind = forms.ChoiceField(choices=SourceKind.choices, label="Where the values come from")
    source = forms.CharField(
        max_length=300, label="Sheet", help_text="Title and edition or date, for every value below."
    )

    def __init__(self, *args: Any, kind: MaterialKind, sheet: SheetInForce | None = None, **kwargs: Any) -> None:
        self.kind = kind
        self.properties = properties_of(kind)
        super().__init__(*args, **kwargs)
        self.act = "Put it in the store" if sheet is None else "Write the newer sheet"
        if kind == MaterialKind.REINFORCEMENT:
            self.fields["fibre"] = forms.ChoiceField(choices=[(fibre, fibre) for fibre in FIBRES], label="Fibre")
        if kind == MaterialKind.CORE:
            self.fields["finish"] = forms.ChoiceField(choices=CoreFinish.choices, label="How it is cut")
        for name, its in self.properties.items():
            self.fields[name] = QuantityField(
                range_key=its.range_key, required=its.required, is_measured=False, label=its.label.capitalize()
            )
            self.fields[f"{name}-source_kind"] = forms.ChoiceField(
                choices=[("", "as above"), *SourceKind.choices], required=False, label=f"{its.label}: source"
            )
            self.fields[f"{name}-source"] = forms.CharField(
                max_length=300, required=False, label=f"{its.label}: sheet or page"
            )
        if sheet is not None:
            del self.fields["code"], self.fields["stock_unit"]
            self._begin_from(sheet)

    def _begin_from(self, sheet: SheetInForce) -> None:
        self.initial |= {"name": sheet.name, "maker": sheet.sheet.maker, "fibre": sheet.fibre, "finish": sheet.finish}
        for name, known in sheet.values.items():
            self.initial |= {
                name: f"{known.value:.10g}",
                f"{name}-source_kind": known.source_kind,
                f"{name}-source": known.source,
            }
        first = next(iter(sheet.values.values()), None)
        if first is not None:
            self.initial |= {"source_kind": first.source_kind, "source": first.source}

    def head_fields(self) -> list[forms.BoundField]:
        """What stands above the table of properties."""
        of_properties = {f"{name}{part}" for name in self.properties for part in ("", "-source_kind", "-source")}
        return [field for field in self.visible_fields() if field.name not in {*of_properties, "happened_at"}]

    def property_rows(self) -> list[tuple[forms.BoundField, forms.BoundField, forms.BoundField]]:
        """Value, kind of source and source of each property."""
        return [(self[name], self[f"{name}-source_kind"], self[f"{name}-source"]) for name in self.properties]

    def given(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        properties = [
            GivenProperty(
                name,
                cleaned[name],
                cleaned[f"{name}-source_kind"] or cleaned["source_kind"],
                cleaned[f"{name}-source"] or cleaned["source"],
            )
            for name in self.properties
            if cleaned[name] is not None
        ]
        heads = ("code", "stock_unit", "name", "maker", "fibre", "finish")
        return {**{name: cleaned[name] for name in heads if name in cleaned}, "properties": properties}


class ReceiveForm(LogForm):
    act = "Put it in the store"

    code = forms.CharField(max_length=20, label="Lot", help_text="The yard's own code, written on every container.")
    makers_batch = forms.CharField(max_length=60, label="Maker's batch")
    supplier_note = forms.CharField(max_length=80, required=False, label="Delivery note")
    received_on = DayField(label="Came on")
    made_on = DayField(label="Made on", required=False)
    use_by = DayField(label="Use by", required=False)
    no_use_by = forms.BooleanField(label="The maker gives no use-by", required=False)
    storage_place = forms.CharField(max_length=80, required=False, label="Where it lies", help_text="As rack 2.")

    field_order = ("code", "makers_batch", "supplier_note", "received_quantity", "received_on", "made_on", "use_by")

    def __init__(self, *args: Any, material: Material, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.material = material
        self.fields["received_quantity"] = QuantityField(range_key=f"stock_{material.stock_unit}", label="Quantity")
        self.order_fields(self.field_order)
        self.initial |= {"code": next_lot_code(), "received_on": f"{timezone.localdate():%Y-%m-%d}"}

    def clean_received_on(self) -> date | None:
        return not_ahead(self.cleaned_data["received_on"])

    def ask_about(self) -> list[Question]:
        cleaned, asked = self.cleaned_data, []
        checked = as_checked(cleaned["code"])
        if checked.upper() != cleaned["code"].upper():
            sentence = f"The last character of {cleaned['code']} does not fit the rest; {checked} would."
            asked.append(Question("code", str(self.data[self.add_prefix("code")]), sentence, checked))
        earlier = earlier_lots_of(cleaned["makers_batch"], self.material).last()
        if earlier is not None:
            sentence = (
                f"Batch {cleaned['makers_batch']} came {earlier.received_on:%Y-%m-%d} as {earlier.code}. "
                "More of the same, or a mistake?"
            )
            asked.append(Question("makers_batch", str(self.data[self.add_prefix("makers_batch")]), sentence))
        if cleaned["use_by"] is not None and cleaned["use_by"] < cleaned["received_on"]:
            sentence = f"Use by {cleaned['use_by']}: it was out of date when it came. Is the date right?"
            asked.append(Question("use_by", str(self.data[self.add_prefix("use_by")]), sentence))
        return asked


class DecideForm(LogForm):
    """Words for a decision on a lot; what does not fit it is asked about."""

    words = forms.CharField(max_length=400, required=False, label="Words", widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, lot: Lot, state: LotState, certificates: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lot, self.state, self.certificates = lot, state, certificates
        self.act = f"{lot.code} is {state.label}"
        self.fields["words"].required = state in (LotState.HELD, LotState.REJECTED)
        if self.fields["words"].required:
            self.fields["words"].error_messages["required"] = f"Say why it is {state.label}."

    def ask_about(self) -> list[Question]:
        asked = []
        if self.state == LotState.RELEASED and not self.certificates:
            asked.append(Question("certificate", self.lot.code, f"{self.lot.code} has no certificate. Release it?"))
        if self.state == LotState.RELEASED and is_out_of_date(self.lot, timezone.localdate()):
            sentence = f"{self.lot.code} is out of date since {self.lot.use_by}. Release it?"
            asked.append(Question("use_by", str(self.lot.use_by), sentence))
        if self.state == LotState.USED_UP and (left := stock_left(self.lot)) >= SMALLEST_STEP:
            quantity = show(left, self.lot.material.stock_unit)
            sentence = f"By the book {quantity} of {self.lot.code} is left; it will be written off. Is none there?"
            asked.append(Question("left", f"{left:g}", sentence))
        return asked


class CertificateForm(LogForm):
    act = "Attach the certificate"

    kind = forms.CharField(
        max_length=80, label="Kind", help_text="As inspection certificate 3.1 of EN 10204, test report, type approval."
    )
    number = forms.CharField(max_length=80, label="Number")
    dated_on = DayField(label="Dated")
    file = forms.FileField(
        label="The certificate itself",
        help_text="PDF up to 25 MB, or a JPEG or PNG picture up to 15 MB.",
        error_messages={"required": "Choose the file of the certificate.", "empty": "The file is empty."},
    )

    def clean_dated_on(self) -> date | None:
        return not_ahead(self.cleaned_data["dated_on"])

    def clean_file(self) -> UploadedFile:
        file: UploadedFile = self.cleaned_data["file"]
        if (file.size or 0) > LARGEST_PDF_BYTES:
            raise forms.ValidationError("Give a PDF of at most 25 MB, or a picture of at most 15 MB.")
        return file

    def given(self) -> dict[str, Any]:
        given = super().given()
        file: UploadedFile = given.pop("file")
        return {**given, "content": file.read(), "sent_name": file.name}


class SystemForm(LogForm):
    """A resin with its catalyst: dose limits, and the maker's gel table as it stands on the sheet."""

    act = "Put the system in the store"

    code = forms.CharField(max_length=30, label="Code", help_text="As VE-10-P50.")
    resin = OneOfField(queryset=Material.objects.none(), label="Resin")
    catalyst = OneOfField(queryset=Material.objects.none(), label="Catalyst or hardener")
    dose_low_phr = QuantityField(range_key="dose_phr", label="Lowest dose")
    dose_high_phr = QuantityField(range_key="dose_phr", label="Highest dose")
    source_kind = forms.ChoiceField(choices=SourceKind.choices, label="Where the values come from")
    source = forms.CharField(max_length=300, label="Sheet", help_text="Title and edition or date.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, kind in (("resin", MaterialKind.RESIN), ("catalyst", MaterialKind.CATALYST)):
            names = {sheet.material.pk: f"{sheet.material.code} {sheet.name}" for sheet in materials([kind])}
            self.fields[name].queryset = Material.objects.filter(pk__in=names)  # type: ignore[attr-defined]
            self.fields[name].choices = [("", "choose"), *names.items()]  # type: ignore[attr-defined]
        for column in GEL_DOSES:
            self.fields[f"gel_dose_{column}"] = QuantityField(
                range_key="dose_phr", ask=False, required=False, label=f"Dose {column}"
            )
        for row in GEL_TEMPERATURES:
            self.fields[f"gel_temperature_{row}"] = QuantityField(
                range_key="gel_table_temperature_c", required=False, label=f"Temperature {row}"
            )
            for column in GEL_DOSES:
                self.fields[f"gel_{row}_{column}"] = forms.CharField(
                    max_length=20, required=False, label=f"Gel time, temperature {row}, dose {column}"
                )
        self.order_fields([*[name for name in self.fields if name != "happened_at"], "happened_at"])

    def head_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in SystemForm.base_fields if name not in LogForm.base_fields]

    def gel_doses(self) -> list[forms.BoundField]:
        return [self[f"gel_dose_{column}"] for column in GEL_DOSES]

    def gel_rows(self) -> list[tuple[forms.BoundField, list[forms.BoundField]]]:
        """Each temperature with its cells."""
        return [
            (self[f"gel_temperature_{row}"], [self[f"gel_{row}_{column}"] for column in GEL_DOSES])
            for row in GEL_TEMPERATURES
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        cells = []
        for row in GEL_TEMPERATURES:
            for column in GEL_DOSES:
                cells += self._gel_cell(
                    f"gel_{row}_{column}", cleaned.get(f"gel_temperature_{row}"), cleaned.get(f"gel_dose_{column}")
                )
        cleaned["gel_times"] = cells
        return super().clean()

    def _gel_cell(self, name: str, temperature_c: float | None, dose_phr: float | None) -> list[GivenGelTime]:
        text = str(self.cleaned_data.get(name) or "").replace("–", "-").replace("to", "-")
        if temperature_c is None or dose_phr is None:
            if text.strip():
                self.add_error(name, "Give this time its temperature and its dose.")
            return []
        if not text.strip():
            self.add_error(name, f"Give the gel time at {show(temperature_c, 'degC')} and {show(dose_phr, 'phr')}.")
            return []
        try:
            times = [read_quantity(part, field="gel time", stored_unit="min").value for part in text.split("-", 1)]
        except InputRefused as refused:
            self.add_error(name, str(refused))
            return []
        return [GivenGelTime(dose_phr, temperature_c, times[0], times[-1])]

    def given(self) -> dict[str, Any]:
        names = (*(name for name in SystemForm.base_fields if name not in LogForm.base_fields), "gel_times")
        return {name: self.cleaned_data[name] for name in names}


class ImportForm(LogForm):
    act = "Take them all in"

    file = forms.FileField(
        label="The table of materials",
        help_text="A CSV file in UTF-8 with commas, at most 5 000 lines and 5 MB.",
        error_messages={"required": "Choose the file.", "empty": "The file is empty."},
    )

    def clean_file(self) -> list[GivenMaterial]:
        return read_materials(self.cleaned_data["file"])

    def given(self) -> dict[str, Any]:
        return {"materials": self.cleaned_data["file"]}


# ---- Reading a table of materials


def read_materials(file: IO[bytes]) -> list[GivenMaterial]:
    """The materials of a CSV file, one property a line; ValidationError names what is wrong by row and column."""
    problems: list[str] = []
    given: dict[str, dict[str, Any]] = {}
    limits = {"largest_bytes": LARGEST_IMPORT_BYTES, "most_lines": MOST_IMPORT_LINES}
    for number, row in read_table(file, MATERIALS_CSV_COLUMNS, **limits):
        _take_row(number, row, given, problems)
        if len(problems) >= MOST_SENTENCES:
            problems.append("There may be more; mend these first.")
            break
    if problems:
        raise forms.ValidationError(problems)
    if not given:
        raise forms.ValidationError("There is no material in it.")
    return [GivenMaterial(**its) for its in given.values()]


def _take_row(number: int, row: dict[str, str], given: dict[str, dict[str, Any]], problems: list[str]) -> None:
    """Add a row to its material, or say what is wrong with it."""
    cells: dict[str, str] = {}
    for column, cell in row.items():
        try:
            if "\0" in cell:
                raise InputRefused("impossible", column, "a NUL character", "give letters, digits and marks")
            cells[column] = cell if column == "value" else plain_cell(cell, field=column)
        except InputRefused as refused:
            problems.append(f"Row {number}, column {column}: {refused}.")
            return
    heads = {name: cells[name] for name in ("code", "kind", "stock_unit", "name", "maker", "fibre", "finish")}
    for column, choices in (("kind", MaterialKind.values), ("stock_unit", StockUnit.values)):
        if heads[column] not in choices:
            problems.append(
                f'Row {number}, column {column}: "{heads[column][:40]}" is not accepted; give {", ".join(choices)}.'
            )
            return
    its = given.setdefault(heads["code"], {**heads, "properties": []})
    for column, value in heads.items():
        if its[column] != value:
            problems.append(
                f'Row {number}, column {column}: "{value[:40]}" is not what {heads["code"]} has further up.'
            )
            return
    if any(cells[column] for column in ("property", "value", "unit", "source_kind", "source")):
        _take_property(number, cells, its, problems)


def _take_property(number: int, cells: dict[str, str], its: dict[str, Any], problems: list[str]) -> None:
    name, column = cells["property"], "property"
    try:
        known = properties_of(its["kind"]).get(name)
        if known is None:
            check_property(its["kind"], GivenProperty(name, 0.0, cells["source_kind"], cells["source"]))
            return
        column = "value"
        text = f"{cells['value']} {cells['unit']}".strip()
        value = read_quantity(text, field=known.label, stored_unit=known.unit).value
        check_property(its["kind"], GivenProperty(name, value, SourceKind.DATA_SHEET, "sheet"))
        column = "source"
        line = GivenProperty(name, value, cells["source_kind"], cells["source"])
        check_property(its["kind"], line)
    except InputRefused as refused:
        problems.append(f"Row {number}, column {column}: {refused}.")
        return
    if name in [line.name for line in its["properties"]]:
        problems.append(f"Row {number}, column property: {name} is given twice for {its['code']}.")
        return
    its["properties"].append(line)
