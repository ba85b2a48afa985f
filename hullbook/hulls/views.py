"""Pages of the shed, of each hull, of schedules and lay-up."""

from typing import Any, cast

from django.contrib import messages
from django.core.files.storage import default_storage
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from hullbook.calc.hull_lines import HullLines, Offset, Section
from hullbook.drawings.half_girth import GirthZone, Sides, zones_on_half_girth
from hullbook.drawings.hull_profile import lines_plan
from hullbook.drawings.scene import Scene
from hullbook.drawings.shed_plan import PlacedMould, PlacedThing, shed_plan
from hullbook.drawings.stack_section import Layer, stack_section
from hullbook.hulls import selectors, services
from hullbook.hulls.enums import HOLD_POINTS, PaperKind, RevisionState, Side
from hullbook.hulls.forms import (
    EMPTY_ROWS,
    HASH,
    LARGEST_CSV_BYTES,
    OFFSETS_CSV_COLUMNS,
    ON_PAGE_LINES,
    SCHEDULE_CSV_COLUMNS,
    BeginRevisionForm,
    BoatModelForm,
    CraftNumberForm,
    HoldPointForm,
    LayDownForm,
    LayingForm,
    LeaveYardForm,
    OffsetsForm,
    PaperSheetForm,
    PhotoForm,
    ScheduleCsvForm,
    ScheduleForm,
    ShedPlaceForm,
    SignForm,
    StrikeOutForm,
    TakeIntoForceForm,
    offsets_csv,
    schedule_materials,
)
from hullbook.hulls.forms import schedule_csv as csv_of
from hullbook.hulls.models import Laying, Part, Photo, ScheduleRevision
from hullbook.hulls.selectors import LaidLine, ZoneView, hull_for, part_for, revision_for
from hullbook.hulls.services import NotYet
from hullbook.materials import services as store
from hullbook.materials.models import Material
from hullbook.materials.selectors import KnownValue, resin_systems, sheet_in_force
from hullbook.records.models import Entry
from hullbook.records.selectors import book_head, entries_about
from hullbook.records.services import Refused, Told
from hullbook.records.views import log_page
from hullbook.web.views import leads_on_to, posted, problems_in_json, reads
from hullbook.yard.perms import Act, require

# ---- The shed and its hulls


@reads
def shed(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    context = {
        "shed": selectors.shed(),
        "running_out": selectors.lots_running_out(timezone.localdate()),
        "head": book_head(),
        "empty": shed_plan([], [PlacedMould("", PlacedThing(0, 0, 8, 3))], []),
    }
    return render(request, "hulls/shed.html", context)


@reads
def shed_places(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    return render(request, "hulls/shed_places.html", {"places": selectors.places_in_plan()})


PLACE_NUMBERS = ("x_m", "y_m", "length_m", "width_m", "heading_deg")


@require_http_methods(["GET", "POST"])
def shed_place(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.ARRANGE_SHED)
    asked = (request.GET.get("what", ""), request.GET.get("name", ""))
    said = next((one for one in selectors.places_in_plan() if (one.what.value, one.name) == asked), None)
    initial: dict[str, object] = {"what": said.what, "name": said.name} if said else {}
    if said and said.place:
        initial |= {name: f"{getattr(said.place, name):g}" for name in PLACE_NUMBERS}
    form = ShedPlaceForm(posted(request), initial=initial)
    return log_page(
        request,
        form,
        lambda told: services.place_in_shed(**form.given(), told=told),
        template="hulls/shed_place.html",
        context={"said": said},
        then=lambda place: reverse("hulls:shed-places"),
    )


@reads
def hull_list(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    page = Paginator(selectors.all_hulls(), 50).get_page(request.GET.get("page"))
    return render(request, "hulls/hull_list.html", {"page": page})


@require_http_methods(["GET", "POST"])
def hull_lay_down(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.LAY_DOWN)
    form = LayDownForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.lay_down_hull(**form.given(), told=told),
        template="hulls/hull_lay_down.html",
        context={"has_models": selectors.boat_models().exists()},
        then=lambda hull: reverse("hulls:hull", args=[hull.number]),
    )


@reads
def hull(request: HttpRequest, number: str) -> HttpResponse:
    found = hull_for(request.user, Act.READ, number)
    in_force = selectors.revisions_in_force(found)
    craft_numbers, points = selectors.craft_numbers_of(found), selectors.hold_points(found)
    context = {
        "hull": found,
        "craft_numbers": craft_numbers,
        "has_number": any(card.given.is_current for card in craft_numbers),
        "parts": [(part, in_force.get(part.pk)) for part in selectors.parts_of(found)],
        "hold_points": points,
        "next_point": next((card.point for card in points if card.release is None), None),
        "departure": selectors.departure_of(found),
        "entries": selectors.last_entries(found),
    }
    return render(request, "hulls/hull.html", context)


def _to_hull(number: str) -> str:
    return reverse("hulls:hull", args=[number])


@require_http_methods(["GET", "POST"])
def craft_number_give(request: HttpRequest, number: str) -> HttpResponse:
    found = hull_for(request.user, Act.LAY_DOWN, number)
    form = CraftNumberForm(posted(request), hull=found)
    return log_page(
        request,
        form,
        lambda told: services.give_craft_number(hull=found, **form.given(), told=told),
        template="hulls/craft_number.html",
        context={"hull": found},
        then=lambda given: _to_hull(number),
    )


@require_http_methods(["GET", "POST"])
def craft_number_correct(request: HttpRequest, number: str) -> HttpResponse:
    found = hull_for(request.user, Act.CORRECT_CRAFT_NUMBER, number)
    now = selectors.craft_number_of(found)
    if now is None:
        raise Http404(f"Hull {number} has no craft identification number yet.")
    form = CraftNumberForm(posted(request), hull=found, corrects=now)
    return log_page(
        request,
        form,
        lambda told: services.give_craft_number(hull=found, **form.given(), corrects=now, told=told),
        template="hulls/craft_number.html",
        context={"hull": found, "now": now},
        then=lambda given: _to_hull(number),
    )


@reads
def hold_points(request: HttpRequest, number: str) -> HttpResponse:
    found = hull_for(request.user, Act.READ, number)
    return render(request, "hulls/hold_points.html", {"hull": found, "hold_points": selectors.hold_points(found)})


@require_http_methods(["GET", "POST"])
def hold_point_release(request: HttpRequest, number: str, no: int) -> HttpResponse:
    found = hull_for(request.user, Act.RELEASE_HOLD_POINT, number)
    if no >= len(HOLD_POINTS):
        raise Http404(f"Hold points run from 0 to {len(HOLD_POINTS) - 1}; there is no {no}.")
    earlier = [card.point for card in selectors.hold_points(found)[:no] if card.release is None]
    form = HoldPointForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.release_hold_point(hull=found, number=no, **form.given(), told=told),
        template="hulls/hold_point_release.html",
        context={"hull": found, "point": HOLD_POINTS[no], "not_released": earlier},
        then=lambda release: reverse("hulls:hold-points", args=[number]),
    )


@require_http_methods(["GET", "POST"])
def yard_leave(request: HttpRequest, number: str) -> HttpResponse:
    found = hull_for(request.user, Act.LEAVE_YARD, number)
    form = LeaveYardForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.leave_yard(hull=found, **form.given(), told=told),
        template="hulls/yard_leave.html",
        context={"hull": found},
        then=lambda left: _to_hull(number),
    )


# ---- The book about a hull


@reads
def entries(request: HttpRequest, number: str) -> HttpResponse:
    found = hull_for(request.user, Act.READ, number)
    before = request.GET.get("before", "")
    newest_first = entries_about(number).order_by("-number")
    if before.isascii() and before.isdigit() and len(before) <= 18:
        newest_first = newest_first.filter(number__lt=int(before))
    page = list(newest_first[: selectors.ENTRIES_A_PAGE + 1])
    shown = selectors.entries_in_words(page[: selectors.ENTRIES_A_PAGE])
    older = shown[-1].entry.number if len(page) > selectors.ENTRIES_A_PAGE else None
    return render(
        request,
        "hulls/entries.html",
        {"hull": found, "entries": shown, "older": older, "is_first_page": not before},
    )


@require_http_methods(["GET", "POST"])
def strike_out(request: HttpRequest, number: str, no: int) -> HttpResponse:
    found = hull_for(request.user, Act.STRIKE_OUT, number)
    entry = entries_about(number).filter(number=no).first()
    if entry is None:
        raise Http404(f"There is no entry {no} about hull {number}.")
    selectors.require_own_or_lead(request.user, entry, verb="strike out")
    form = StrikeOutForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: store.strike_out(entry=entry, **form.given(), told=told),
        template="hulls/strike_out.html",
        context={"hull": found, "said": selectors.entries_in_words([entry])[0]},
        then=lambda struck: leads_on_to(request, reverse("hulls:entries", args=[number])),
    )


@reads
def entry_correct(request: HttpRequest, number: str, no: int) -> HttpResponse:
    """On to the page that corrects this kind of entry."""
    hull_for(request.user, Act.READ, number)
    entry = entries_about(number).filter(number=no).first()
    if entry is None or entry.kind not in selectors.CORRECTED_AT:
        raise Http404(f"Entry {no} about hull {number} has no page that corrects it; strike it out instead.")
    row: Any = entry.typed_row()
    if entry.kind == "hulls.craftnumbergiven":
        where = [number]
    elif entry.kind == "pours.mix":
        where = [number, row.pour.part.name, row.pour.number, no]
    else:
        where = [number, row.part.name, no]
    return redirect(selectors.CORRECTED_AT[entry.kind], *where)


# ---- Boat models and their schedules


@reads
def boat_models(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    return render(request, "hulls/boat_models.html", {"boat_models": selectors.boat_models()})


@require_http_methods(["GET", "POST"])
def boat_model_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.WRITE_SCHEDULE)
    form = BoatModelForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.add_boat_model(**form.given(), told=told),
        template="hulls/boat_model_add.html",
        context={},
        then=lambda model: reverse("hulls:schedules", args=[model.name]),
    )


@reads
def lines(request: HttpRequest, name: str) -> HttpResponse:
    model = selectors.boat_model_for(request.user, Act.READ, name)
    found = selectors.lines_of(model)
    context = {
        "boat_model": model,
        "table": selectors.offsets_in_force(model),
        "lines": found,
        "names": found.names if found else (),
        "sections": _sections(found) if found else (),
        "profile": lines_plan(found, model=model.name) if found else None,
    }
    return render(request, "hulls/lines.html", context)


def _sections(found: HullLines) -> list[tuple[Section, list[Offset | None], float]]:
    """Each station with its point on every line, in the order of the columns, and its half-girth."""
    return [(section, [section.at(line) for line in found.names], section.girth_mm) for section in found.sections]


@require_http_methods(["GET", "POST"])
def lines_take_in(request: HttpRequest, name: str) -> HttpResponse:
    model = selectors.boat_model_for(request.user, Act.WRITE_SCHEDULE, name)
    form = OffsetsForm(*((request.POST, request.FILES) if request.method == "POST" else ()))
    return log_page(
        request,
        form,
        lambda told: services.give_offsets(boat_model=model, **form.given(), told=told),
        template="hulls/lines_take_in.html",
        context={"boat_model": model, "columns": OFFSETS_CSV_COLUMNS},
        then=lambda table: reverse("hulls:lines", args=[name]),
    )


@reads
def lines_csv(request: HttpRequest, name: str) -> HttpResponse:
    model = selectors.boat_model_for(request.user, Act.READ, name)
    found = selectors.lines_of(model)
    if found is None:
        raise Http404(f"No lines given for model {name}.")
    headers = {"Content-Disposition": f'attachment; filename="offsets_{name.replace(" ", "_")}.csv"'}
    return HttpResponse(offsets_csv(found), content_type="text/csv; charset=utf-8", headers=headers)


@reads
def schedules(request: HttpRequest, name: str) -> HttpResponse:
    model = selectors.boat_model_for(request.user, Act.READ, name)
    return render(
        request, "hulls/schedules.html", {"boat_model": model, "by_part": selectors.revisions_of(model).items()}
    )


@require_http_methods(["GET", "POST"])
def revision_begin(request: HttpRequest, name: str) -> HttpResponse:
    model = selectors.boat_model_for(request.user, Act.WRITE_SCHEDULE, name)
    form = BeginRevisionForm(posted(request), initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        try:
            revision = services.begin_revision(
                boat_model=model, **form.cleaned_data, drawn_by=request.user.initials, at=timezone.now()
            )
        except Refused as refused:
            _show_refused(form, refused)
        else:
            return redirect("hulls:schedule-write", name, revision.part_name, revision.letter)
    status = 422 if request.method == "POST" else 200
    return render(request, "hulls/revision_begin.html", {"boat_model": model, "form": form}, status=status)


def _show_refused(form: Any, refused: Refused) -> None:
    for field, sentence in refused.problems.items():
        form.add_error(field if field in form.fields else None, sentence)


@reads
def schedule(request: HttpRequest, name: str, part: str, letter: str) -> HttpResponse:
    revision = revision_for(request.user, Act.READ, name, part, letter)
    system, density, systems = _resin(request)
    view = selectors.schedule_view(revision, density)
    earlier = selectors.earlier_revision(revision)
    context = {
        "revision": revision,
        "view": view,
        "is_draft": view.state == RevisionState.DRAFT,
        "system": system,
        "systems": systems,
        "zones": [(zone, _section(zone)) for zone in view.zones],
        "girth": _girth(view.zones, selectors.lines_of(revision.boat_model)),
        "earlier": earlier,
        "changes": len(selectors.revision_difference(earlier, revision, density).lines) if earlier else 0,
    }
    return render(request, "hulls/schedule.html", context)


def _resin(request: HttpRequest) -> tuple[Any, KnownValue | None, list[Any]]:
    """The resin system a schedule is shown with: the one asked for, or the first there is."""
    systems = resin_systems()
    wanted = request.GET.get("system", "")
    system = next((one for one in systems if one.code == wanted), systems[0] if systems and not wanted else None)
    if system is None:
        return None, None, systems
    return system, sheet_in_force(system.resin).values.get("cured_density_kg_m3"), systems


def _section(zone: ZoneView) -> Scene | None:
    """The section through a zone's stack; none while a thickness is not known."""
    layers = [
        Layer(
            number=line.line.number,
            material=line.line.material.code,
            thickness_mm=line.thickness_mm,
            kind="core" if line.is_core else "ply",
            angle=line.line.angle_deg,
        )
        for line in zone.lines
        if line.thickness_mm is not None
    ]
    if not layers or len(layers) < len(zone.lines):
        return None
    return stack_section(layers, title=f"Section through zone {zone.zone.name}")


def _girth(zones: tuple[ZoneView, ...], found: HullLines | None) -> Scene | None:
    blocks = [
        GirthZone(
            name=zone.zone.name,
            girth_from_mm=zone.zone.girth_from_mm,
            girth_to_mm=zone.zone.girth_to_mm,
            areal_weight_kg_m2=None if zone.mass_kg is None else zone.mass_kg / zone.zone.area_m2,
            side=cast(Sides, zone.zone.side),
        )
        for zone in zones
    ]
    if not blocks:
        return None
    widest = selectors.widest_half_girth(found)
    return zones_on_half_girth(
        blocks,
        landmarks=widest.landmarks if widest else (),
        flange_mm=widest.flange_mm if widest else None,
        title=f"Half-girth, keel to flange{f', {widest.place}' if widest else ''}",
    )


def _draft_for(request: HttpRequest, name: str, part: str, letter: str) -> ScheduleRevision:
    return revision_for(request.user, Act.WRITE_SCHEDULE, name, part, letter)


@require_http_methods(["GET", "POST"])
def schedule_write(request: HttpRequest, name: str, part: str, letter: str) -> HttpResponse:
    revision = _draft_for(request, name, part, letter)
    zones = list(revision.zones.order_by("position"))
    lines = list(revision.lines.select_related("zone", "material").order_by("number"))
    context = {"revision": revision, "state": selectors.revision_state(revision), "most": ON_PAGE_LINES}
    if context["state"] != RevisionState.DRAFT or len(lines) > ON_PAGE_LINES:
        return render(request, "hulls/schedule_not_on_page.html", {**context, "lines": len(lines)}, status=409)
    if "more" in request.POST:
        form = ScheduleForm(_with_more_rows(request.POST))
    elif request.method == "POST":
        form = ScheduleForm(request.POST)
        if form.is_valid():
            try:
                given_zones, given_lines = form.given()
                services.write_revision(revision=revision, zones=given_zones, lines=given_lines)
            except Refused as refused:
                form.problems += refused.problems.values()
            else:
                messages.success(request, f"Rev {letter} holds {len(given_zones)} zones and {len(given_lines)} lines.")
                return redirect("hulls:schedule", name, part, letter)
    else:
        form = ScheduleForm(zones=zones, lines=lines)
    context |= {"form": form, "materials": schedule_materials()}
    is_wrong = request.method == "POST" and "more" not in request.POST
    return render(request, "hulls/schedule_write.html", context, status=422 if is_wrong else 200)


def _with_more_rows(posted: Any) -> Any:
    """What was posted, with a few more empty rows in both tables."""
    data = posted.copy()
    for table, empty in (("zones", ("side", Side.BOTH)), ("lines", ("is_structural", "on"))):
        text = data.get(f"{table}-TOTAL_FORMS", "")
        shown = min(int(text), ON_PAGE_LINES) if text.isascii() and text.isdigit() and len(text) < 6 else 0
        data[f"{table}-TOTAL_FORMS"] = str(shown + EMPTY_ROWS)
        for row in range(shown, shown + EMPTY_ROWS):
            data[f"{table}-{row}-{empty[0]}"] = empty[1]
    return data


@require_http_methods(["GET", "POST"])
def schedule_take_in(request: HttpRequest, name: str, part: str, letter: str) -> HttpResponse:
    revision = _draft_for(request, name, part, letter)
    form = ScheduleCsvForm(*((request.POST, request.FILES) if request.method == "POST" else ()))
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data["file"]
        try:
            services.write_revision(revision=revision, zones=given.zones, lines=given.lines)
        except Refused as refused:
            _show_refused(form, refused)
        else:
            messages.success(request, f"Rev {letter} holds {len(given.zones)} zones and {len(given.lines)} lines.")
            return redirect("hulls:schedule", name, part, letter)
    context = {
        "revision": revision,
        "form": form,
        "columns": SCHEDULE_CSV_COLUMNS,
        "megabytes": LARGEST_CSV_BYTES // 1024**2,
    }
    return render(request, "hulls/schedule_take_in.html", context, status=422 if request.method == "POST" else 200)


@reads
def schedule_csv(request: HttpRequest, name: str, part: str, letter: str) -> HttpResponse:
    revision = revision_for(request.user, Act.READ, name, part, letter)
    file_name = f"{name}_{part}_rev_{letter}.csv".replace(" ", "_")
    headers = {"Content-Disposition": f'attachment; filename="{file_name}"'}
    return HttpResponse(csv_of(revision), content_type="text/csv; charset=utf-8", headers=headers)


@require_http_methods(["GET", "POST"])
def schedule_sign(request: HttpRequest, name: str, part: str, letter: str) -> HttpResponse:
    revision = revision_for(request.user, Act.SIGN_SCHEDULE, name, part, letter)
    form = SignForm(posted(request), revision=revision)
    return log_page(
        request,
        form,
        lambda told: services.sign_revision(revision=revision, **form.given(), told=told),
        template="hulls/schedule_sign.html",
        context={"revision": revision, "view": selectors.schedule_view(revision)},
        then=lambda signed: reverse("hulls:schedule", args=[name, part, letter]),
    )


@reads
def difference(request: HttpRequest, name: str, part: str, letter: str, earlier: str) -> HttpResponse:
    after = revision_for(request.user, Act.READ, name, part, letter)
    before = revision_for(request.user, Act.READ, name, part, earlier)
    system, density, _ = _resin(request)
    context = {
        "revision": after,
        "before": before,
        "difference": selectors.revision_difference(before, after, density),
        "system": system,
    }
    return render(request, "hulls/difference.html", context)


# ---- Lay-up


@require_http_methods(["GET", "POST"])
def revision_take(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.SIGN_SCHEDULE, number, part)
    cards = selectors.revisions_of(found.hull.boat_model).get(part, ())
    signed = [card.revision for card in cards if card.signed]
    form = TakeIntoForceForm(posted(request), signed=signed)
    return log_page(
        request,
        form,
        lambda told: services.take_into_force(part=found, **form.given(), told=told),
        template="hulls/revision_take.html",
        context={"part": found, "signed": signed, "now": selectors.revision_in_force(found)},
        then=lambda taken: _to_hull(number),
    )


@reads
def lay_up(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.READ, number, part)
    return render(request, "hulls/lay_up.html", {"part": found, "lay_up": selectors.lay_up(found)})


@require_http_methods(["GET", "POST"])
def laying_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """Log a line of the schedule (?line=4), or something beside it (?material=GB-800)."""
    found = part_for(request.user, Act.LOG, number, part)
    laid_up = selectors.lay_up(found)
    if laid_up.revision is None:
        raise Http404(f"No revision is in force for {found}.")
    laid = _line_asked_for(request, laid_up.lines)
    material = _material_asked_for(request) or (laid.line.material if laid else None)
    context = {"part": found, "revision": laid_up.revision, "laid": laid, "materials": schedule_materials()}
    if material is None:
        return render(request, "hulls/laying_beside.html", context)
    form = LayingForm(
        posted(request),
        revision=laid_up.revision,
        material=material,
        laid=laid,
        initial={"laid_by": request.user.initials},
    )
    return log_page(
        request,
        form,
        lambda told: services.log_laying(part=found, line=laid.line if laid else None, **form.given(), told=told),
        template="hulls/laying_log.html",
        context={**context, "material": material},
        then=lambda laying: reverse("hulls:lay-up", args=[number, part]),
    )


@require_http_methods(["GET", "POST"])
def laying_correct(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    wrong = selectors.laying_for(found, no)
    selectors.require_own_or_lead(request.user, wrong.entry, verb="correct")
    revision, laid, material = _what_was_laid(found, wrong)
    form = LayingForm(
        posted(request),
        revision=revision,
        material=material,
        laid=laid,
        corrects=wrong,
    )
    return log_page(
        request,
        form,
        lambda told: services.log_laying(
            part=found, line=laid.line if laid else None, **form.given(), corrects=wrong, told=told
        ),
        template="hulls/laying_log.html",
        context={"part": found, "revision": revision, "laid": laid, "material": material, "wrong": wrong},
        then=lambda laying: reverse("hulls:lay-up", args=[number, part]),
    )


def _what_was_laid(part: Part, wrong: Laying) -> tuple[ScheduleRevision, LaidLine | None, Material]:
    """The line a laying counts for today, and its material; a laying to a line that is gone can only be struck out."""
    laid_up = selectors.lay_up(part)
    if laid_up.revision is None or wrong in laid_up.earlier:
        raise Http404(f"Entry {wrong.pk} was laid to a line that is no longer there; strike it out instead.")
    laid = next((line for line in laid_up.lines if wrong in line.layings), None)
    material = wrong.lot.material if wrong.lot else wrong.line.material  # type: ignore[union-attr]
    return laid_up.revision, laid, material


def _line_asked_for(request: HttpRequest, lines: tuple[LaidLine, ...]) -> LaidLine | None:
    asked = request.GET.get("line", "")
    if not asked:
        return None
    laid = next((line for line in lines if str(line.line.number) == asked), None)
    if laid is None:
        raise Http404("The revision in force has no such line.")
    return laid


def _material_asked_for(request: HttpRequest) -> Material | None:
    asked = request.GET.get("material", "")
    if not asked:
        return None
    material = schedule_materials().get(asked)
    if material is None:
        raise Http404("There is no such cloth or core in the store.")
    return material


# ---- Photos


def _digest_or_404(digest: str) -> str:
    if not HASH.fullmatch(digest):
        raise Http404("A photo is named by the SHA-256 of its bytes.")
    return digest


@reads
def photo_pieces(request: Any, digest: str) -> HttpResponse:
    """Which pieces of a photo are here, by their numbers."""
    require(request.user, Act.READ)
    _digest_or_404(digest)
    device = request.known_device()
    return JsonResponse({"pieces": services.pieces_held(device.code, digest) if device else []})


@require_http_methods(["GET", "POST"])
def photo_log(request: Any, digest: str) -> HttpResponse:
    """The photo's own entry, once the entry it is of is in the book and all its pieces are here.

    What is not there yet is answered with 425 (RFC 8470), and the tablet comes again.
    """
    require(request.user, Act.LOG)
    _digest_or_404(digest)
    form = PhotoForm(posted(request))

    def log(told: Told) -> Photo:
        of = Entry.objects.filter(entry_id=form.cleaned_data["of"]).first()
        if of is None:
            raise NotYet("entry")
        given = form.cleaned_data
        made = services.photo_from_pieces(device=told.device, digest=digest, size_bytes=given["size_bytes"])
        return services.log_photo(
            of=of,
            made=made,
            sent_sha256=digest,
            original_sha256=given["original_sha256"],
            claimed_at=given["claimed_at"],
            told=told,
        )

    try:
        response = log_page(
            request,
            form,
            log,
            template="hulls/photo_log.html",
            context={},
            then=lambda photo: reverse("hulls:entries", args=[photo.entry.about]),
        )
    except NotYet as not_yet:
        return JsonResponse({"why": not_yet.why}, status=425)
    if request.method == "POST" and response.status_code < 400:
        services.drop_pieces(request.device.code, digest)
    return response


@require_POST
def photo_piece(request: Any, digest: str, piece: int) -> HttpResponse:
    """One piece of a photo as raw bytes, the size of the whole in HB-Size; never more is read than a piece has."""
    require(request.user, Act.READ)
    _digest_or_404(digest)
    if piece >= services.MOST_PIECES:
        raise Http404(f"A photo has at most {services.MOST_PIECES} pieces.")
    size = request.headers.get("HB-Size", "")
    size_bytes = int(size) if size.isascii() and size.isdigit() and len(size) < 16 else 0
    try:
        services.keep_piece(
            device=request.device.code,
            digest=digest,
            number=piece,
            size_bytes=size_bytes,
            content=request.read(services.PIECE_BYTES + 1),
        )
    except Refused as refused:
        return problems_in_json(refused.problems, 413 if size_bytes > services.LARGEST_PICTURE_BYTES else 422)
    except services.TooMany:
        words = f"This tablet has brought {services.MOST_PHOTOS_AN_HOUR} photos within the hour; the next go later."
        response = problems_in_json({"": words}, 429)
        response["Retry-After"] = "600"
        return response
    return JsonResponse({"piece": piece})


@reads
def photo(request: HttpRequest, number: str, no: int) -> FileResponse:
    """A photo of an entry about this hull, under a name of the yard's own."""
    hull_for(request.user, Act.READ, number)
    found = Photo.objects.filter(pk=no, entry__about=number).first()
    if found is None:
        raise Http404(f"Entry {no} about hull {number} is no photo.")
    return FileResponse(
        default_storage.open(found.path),
        filename=f"{number}-photo-{no}.jpg",
        content_type="image/jpeg",
        headers={
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": "default-src 'none'; sandbox",
            "Cache-Control": "private, max-age=31536000, immutable",
        },
    )


# ---- Paper


@require_http_methods(["GET", "POST"])
def paper_sheets(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """The dry sheets of a hull, what was copied from each, and the way to print one more."""
    found = part_for(request.user, Act.LOG, number, part)
    form = PaperSheetForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.print_paper_sheet(part=found, **form.given(), told=told),
        template="hulls/paper_sheets.html",
        context={"part": found, "paper": selectors.paper_of(found.hull)},
        then=lambda sheet: reverse("hulls:paper-sheet", args=[number, sheet.number]),
    )


@reads
def paper_sheet(request: HttpRequest, number: str, no: int) -> HttpResponse:
    """One dry sheet, as it is printed: the fields of the page, empty."""
    hull = hull_for(request.user, Act.READ, number)
    card = next((one for one in selectors.paper_of(hull).cards if one.sheet.number == no), None)
    if card is None:
        raise Http404(f"No paper sheet {no} was printed for hull {number}.")
    laid_up = selectors.lay_up(card.sheet.part) if card.sheet.kind == PaperKind.LAY_UP else None
    return render(request, "hulls/paper_sheet.html", {"card": card, "part": card.sheet.part, "lay_up": laid_up})
