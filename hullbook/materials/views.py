"""The store: shelf, ledger, materials and their sheets, resin systems, lots, certificates."""

import csv
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.core.files.storage import default_storage
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods

from hullbook.drawings.shelf import ShelfLot, shelf
from hullbook.materials import selectors, services
from hullbook.materials.enums import LotState, MaterialKind
from hullbook.materials.forms import (
    CertificateForm,
    DecideForm,
    ImportForm,
    MaterialForm,
    ReceiveForm,
    SystemForm,
)
from hullbook.materials.models import Certificate, Lot, Material, ResinSystem
from hullbook.materials.selectors import StockLine
from hullbook.quantities.showing import show
from hullbook.records.views import log_page
from hullbook.web.views import posted, reads
from hullbook.yard.perms import Act, require

LOTS_A_PAGE = 30
DECISIONS = {
    "release": (LotState.RELEASED, Act.RELEASE_LOT),
    "hold": (LotState.HELD, Act.HOLD_LOT),
    "reject": (LotState.REJECTED, Act.RELEASE_LOT),
    "used-up": (LotState.USED_UP, Act.HOLD_LOT),
}
SUFFIXES = {services.PDF: "pdf", services.JPEG: "jpg", services.PNG: "png"}


def _or_404(found: Any, *args: Any) -> Any:
    try:
        return found(*args)
    except ObjectDoesNotExist as error:
        raise Http404("There is nothing of that name in the store.") from error


def lot_for(person: Any, act: Act, code: str) -> Lot:
    require(person, act)
    lot: Lot = _or_404(selectors.lot, code)
    return lot


def material_for(person: Any, act: Act, code: str) -> Material:
    require(person, act)
    material: Material = _or_404(selectors.material, code)
    return material


# ---- The shelf and the ledger


@reads
def store(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    today = timezone.localdate()
    lines = [line for line in selectors.stock(today) if line.state != LotState.USED_UP]
    page = Paginator(lines, LOTS_A_PAGE).get_page(request.GET.get("page"))
    scene = shelf([_on_the_shelf(line) for line in page], today=today) if lines else None
    return render(request, "materials/store.html", {"page": page, "scene": scene})


def _on_the_shelf(line: StockLine) -> ShelfLot:
    return ShelfLot(
        code=line.lot.code,
        name=line.sheet_name,
        words=f"{show(line.left, line.lot.material.stock_unit)} left",
        left_share=line.left / line.received if line.received else 0.0,
        state=line.state.value,
        use_by=line.lot.use_by,
    )


@reads
def ledger(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    lines = selectors.stock(timezone.localdate())
    page = Paginator(lines, LOTS_A_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "totals": selectors.stock_by_material(lines)}
    return render(request, "materials/ledger.html", context)


# ---- Materials


@reads
def material_list(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    context = {
        "materials": selectors.materials(),
        "systems": selectors.resin_systems(),
        "kinds": MaterialKind,
    }
    return render(request, "materials/materials.html", context)


@reads
def material(request: HttpRequest, code: str) -> HttpResponse:
    product = material_for(request.user, Act.READ, code)
    sheet = selectors.sheet_in_force(product)
    context = {
        "material": product,
        "sheet": sheet,
        "known": selectors.known_properties(sheet),
        "sheets": selectors.sheets_of(product),
        "lots": selectors.stock(timezone.localdate(), material=product),
    }
    return render(request, "materials/material.html", context)


@require_http_methods(["GET", "POST"])
def material_add(request: HttpRequest, kind: str) -> HttpResponse:
    require(request.user, Act.WRITE_MATERIALS)
    if kind not in MaterialKind.values:
        raise Http404("There is no such kind of material.")
    form = MaterialForm(posted(request), kind=MaterialKind(kind))
    return log_page(
        request,
        form,
        lambda told: services.add_material(kind=kind, **form.given(), told=told),
        template="materials/material_form.html",
        context={"title": f"A new {kind}"},
        then=lambda product: reverse("materials:material", args=[product.code]),
    )


@require_http_methods(["GET", "POST"])
def sheet_revise(request: HttpRequest, code: str) -> HttpResponse:
    product = material_for(request.user, Act.WRITE_MATERIALS, code)
    sheet = selectors.sheet_in_force(product)
    form = MaterialForm(posted(request), kind=MaterialKind(product.kind), sheet=sheet)
    return log_page(
        request,
        form,
        lambda told: services.revise_sheet(material=product, **form.given(), told=told),
        template="materials/material_form.html",
        context={"title": f"A newer sheet for {product.code}", "material": product},
        then=lambda row: reverse("materials:material", args=[product.code]),
    )


@require_http_methods(["GET", "POST"])
def materials_import(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.WRITE_MATERIALS)
    posted = request.method == "POST"
    form = ImportForm(request.POST if posted else None, request.FILES if posted else None)
    return log_page(
        request,
        form,
        lambda told: services.import_materials(**form.given(), told=told),
        template="materials/import.html",
        context={"columns": selectors.MATERIALS_CSV_COLUMNS},
        then=lambda row: reverse("materials:material-list"),
    )


class _Line:
    """Hands each line the CSV writer makes to the response that streams it."""

    def write(self, line: str) -> str:
        return line


@reads
def materials_csv(request: HttpRequest) -> StreamingHttpResponse:
    require(request.user, Act.EXPORT)
    writer = csv.writer(_Line())
    lines = [writer.writerow(row) for row in selectors.materials_csv_rows()]
    return StreamingHttpResponse(
        lines,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="materials.csv"'},
    )


# ---- Resin systems


@reads
def system(request: HttpRequest, code: str) -> HttpResponse:
    require(request.user, Act.READ)
    found: ResinSystem = _or_404(selectors.resin_system, code)
    sheets = selectors.properties_in_force([found.resin, found.catalyst])
    table = selectors.gel_table(found)
    context = {
        "system": found,
        "resin": sheets[found.resin_id],
        "catalyst": sheets[found.catalyst_id],
        "gel_doses": table.doses_phr if table else (),
        "gel_rows": selectors.gel_rows(table) if table else [],
    }
    return render(request, "materials/system.html", context)


@require_http_methods(["GET", "POST"])
def system_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.WRITE_MATERIALS)
    form = SystemForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.add_resin_system(**form.given(), told=told),
        template="materials/system_form.html",
        context={},
        then=lambda found: reverse("materials:system", args=[found.code]),
    )


# ---- Lots


@reads
def lot(request: HttpRequest, code: str) -> HttpResponse:
    require(request.user, Act.READ)
    return render(request, "materials/lot.html", {"card": _or_404(selectors.lot_card, code)})


@reads
def receive(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.RECEIVE)
    return render(request, "materials/receive.html", {"materials": selectors.materials()})


@require_http_methods(["GET", "POST"])
def lot_receive(request: HttpRequest, code: str) -> HttpResponse:
    product = material_for(request.user, Act.RECEIVE, code)
    form = ReceiveForm(posted(request), material=product)
    return log_page(
        request,
        form,
        lambda told: services.receive_lot(material=product, **form.given(), told=told),
        template="materials/lot_receive.html",
        context={"material": product, "sheet": selectors.sheet_in_force(product)},
        then=lambda found: reverse("materials:lot", args=[found.code]),
    )


@require_http_methods(["GET", "POST"])
def lot_decide(request: HttpRequest, code: str, decision: str) -> HttpResponse:
    if decision not in DECISIONS:
        raise Http404("A lot is released, held, rejected or used up.")
    state, act = DECISIONS[decision]
    found = lot_for(request.user, act, code)
    card = selectors.lot_card(found.code)
    form = DecideForm(
        posted(request),
        lot=found,
        state=state,
        certificates=len(card.certificates),
    )
    return log_page(
        request,
        form,
        lambda told: services.decide_lot(lot=found, state=state, **form.given(), told=told),
        template="materials/lot_decide.html",
        context={"card": card, "title": f"{found.code} is {state.label}"},
        then=lambda row: reverse("materials:lot", args=[found.code]),
    )


@require_http_methods(["GET", "POST"])
def certificate_attach(request: HttpRequest, code: str) -> HttpResponse:
    found = lot_for(request.user, Act.RECEIVE, code)
    posted = request.method == "POST"
    form = CertificateForm(request.POST if posted else None, request.FILES if posted else None)
    return log_page(
        request,
        form,
        lambda told: services.attach_certificate(lot=found, **form.given(), told=told),
        template="materials/certificate_attach.html",
        context={"lot": found},
        then=lambda row: reverse("materials:lot", args=[found.code]),
    )


@reads
def certificate(request: HttpRequest, code: str, number: int) -> FileResponse:
    """The certificate as it came, under a name of the yard's own; never shown inside a page."""
    require(request.user, Act.READ)
    found: Certificate = _or_404(selectors.certificate, code, number)
    name = f"{slugify(code)}-certificate-{number}.{SUFFIXES[found.file.media_type]}"
    return FileResponse(
        default_storage.open(found.file.path),
        as_attachment=True,
        filename=name,
        content_type=found.file.media_type,
        headers={"X-Content-Type-Options": "nosniff"},
    )
