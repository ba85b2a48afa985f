"""Hardness, weights, findings and decisions of a hull; its stages, what it lacks, and its resin planned and used."""

from functools import cache
from typing import Any, TypeVar

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from hullbook.drawings.dot_plot import DotRow, dot_plot
from hullbook.drawings.hull_profile import hull_profile
from hullbook.drawings.planned_used import PlannedUsed, planned_used
from hullbook.drawings.scene import Scene
from hullbook.hulls.models import Hull, Part
from hullbook.hulls.selectors import (
    girth_to_point_at,
    hull_for,
    lay_up,
    lines_of,
    part_for,
    parts_of,
    require_own_or_lead,
    revision_in_force,
    with_photos,
)
from hullbook.inspection import services
from hullbook.inspection.forms import DecisionForm, FindingForm, HardnessForm, WeighingForm
from hullbook.inspection.models import Finding, HardnessSet, Weighing
from hullbook.inspection.selectors import (
    CHECKS,
    NOT_BY_ZONE,
    NOT_JUDGED,
    HardnessView,
    HullNow,
    Missing,
    PartUse,
    finding_about,
    findings_of,
    findings_on_the_girth,
    hardness_on_the_girth,
    hardness_sets,
    hull_now,
    hull_stages,
    mass_balance_of,
    placed_findings,
    planned_against_used,
    shed_view,
    standings,
    weighings,
    what_is_missing,
)
from hullbook.pours.selectors import open_pour
from hullbook.records.models import TypedRow
from hullbook.records.views import log_page
from hullbook.web.tables import csv_response
from hullbook.web.views import posted, reads
from hullbook.yard.perms import Act, require

Row = TypeVar("Row", bound=TypedRow)
FINDINGS_SHOWN = 200
SETS_DRAWN = 16


def _row_of(person: Any, model: type[Row], part: Part, entry: int) -> Row:
    """A row of this part that can still be corrected, and by this person."""
    row: Row | None = model.objects.current().filter(part=part, pk=entry).select_related("entry").first()
    if row is None:
        raise Http404(f"Entry {entry} of {part} is nothing that can be corrected here, or was corrected already.")
    require_own_or_lead(person, row.entry, verb="correct")
    return row


# ---- Stages and what is missing, shown inside other pages too


@reads
def stages(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.READ, number)
    found = hull_stages(hull)
    lines = lines_of(hull.boat_model)
    scene = hull_profile([stage.state for stage in found], hull=hull.number, model=hull.boat_model.name, lines=lines)
    template = "inspection/_stages.html" if request.htmx else "inspection/stages.html"
    return render(request, template, {"hull": hull, "stages": found, "scene": scene})


@reads
def shed_stages_of_all(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    template = "inspection/_shed_stages.html" if request.htmx else "inspection/shed_stages.html"
    standing = standings()
    hrefs = {one.hull.number: reverse("hulls:hull", args=[one.hull.number]) for one in standing}
    return render(request, template, {"shed": shed_view(hrefs, standing)})


@reads
def now(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.READ, number)
    found = hull_now(hull, timezone.localdate())
    template = "inspection/_now.html" if request.htmx else "inspection/now.html"
    return render(request, template, {"hull": hull, "now": found, "work": _work_in_hand(found)})


# Where the work of each stage is logged, by the number of the stage; the page of a part or of the hull.
WORK_OF_PART = {
    1: ("Lay-up", "hulls:lay-up"),
    2: ("Lay-up", "hulls:lay-up"),
    3: ("Hold tests", "pours:hold-tests"),
    4: ("Hold tests", "pours:hold-tests"),
    5: ("The pour", "pours:resin"),
    6: ("The pour", "pours:resin"),
    7: ("Cure", "cure:cure"),
    8: ("Hardness", "inspection:hardness"),
    9: ("Cure and demould", "cure:cure"),
}
WORK_OF_HULL = {0: ("Hold points", "hulls:hold-points"), 10: ("Findings", "inspection:findings")}


def _work_in_hand(found: HullNow) -> tuple[str, str]:
    """The words and the address of the page where the work in hand is logged."""
    number = found.standing.hull.number
    if found.part is not None and revision_in_force(found.part) is None:
        return "Take a revision into force", reverse("hulls:revision-take", args=[number, found.part.name])
    stage = 10 if found.stage is None else found.stage.number
    if stage in WORK_OF_PART and found.part is not None:
        words, name = WORK_OF_PART[stage]
        return words, reverse(name, args=[number, found.part.name])
    words, name = WORK_OF_HULL.get(stage, WORK_OF_HULL[0])
    return words, reverse(name, args=[number])


@reads
def missing(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.READ, number)
    found = what_is_missing(hull)
    context = {
        "hull": hull,
        "lost": [one for one in found if one.irrecoverable],
        "lacking": [one for one in found if not one.irrecoverable],
        "stopping": sum(one.level == "X" for one in found),
        "checks": _checks(found),
        "not_judged": NOT_JUDGED,
    }
    return render(request, "inspection/_missing.html" if request.htmx else "inspection/missing.html", context)


def _checks(found: list[Missing]) -> list[tuple[str, str, int]]:
    """Each check that is judged, in words, with how much it finds missing."""
    return [(check.id, check.words, sum(one.check == check.id for one in found)) for check in CHECKS]


# ---- What a tablet keeps of the hull that is open

HULL_PAGES_KEPT = ("hulls:hull", "hulls:hold-points", "inspection:findings", "inspection:missing")
PART_PAGES_KEPT = (
    "hulls:lay-up",
    "pours:resin",
    "pours:hold-tests",
    "pours:hold-test-log",
    "cure:cure",
    "cure:reading-log",
    "cure:demould-log",
    "inspection:finding-log",
    "inspection:hardness",
    "inspection:hardness-log",
    "inspection:weighing-log",
)
POUR_PAGES_KEPT = (
    "pours:pour",
    "pours:day",
    "pours:sheet",
    "pours:questions",
    "pours:mix-log",
    "pours:gel-log",
    "pours:remainder-log",
    "pours:note",
    "pours:close",
)
LINES_KEPT = 40


@reads
def kept(request: HttpRequest, number: str) -> HttpResponse:
    """What a tablet fetches ahead, so that the work on this hull goes on while the book is out of reach."""
    hull = hull_for(request.user, Act.READ, number)
    pages = [reverse(name, args=[number]) for name in HULL_PAGES_KEPT]
    for part in parts_of(hull):
        pages += [reverse(name, args=[number, part.name]) for name in PART_PAGES_KEPT]
        to_lay = [laid.line.number for laid in lay_up(part).lines if not laid.is_settled][:LINES_KEPT]
        laying = reverse("hulls:laying-log", args=[number, part.name])
        pages += [f"{laying}?line={line}" for line in to_lay]
        pour = open_pour(part)
        if pour is None:
            pages.append(reverse("pours:begin", args=[number, part.name]))
        else:
            pages += [reverse(name, args=[number, part.name, pour.number]) for name in POUR_PAGES_KEPT]
    return JsonResponse({"pages": pages})


# ---- Findings


@reads
def findings(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.READ, number)
    found = findings_of(hull)
    with_photos(one.entry for one in found)
    context = {
        "hull": hull,
        "parts": parts_of(hull),
        "scenes": findings_on_the_girth(found),
        "open": [one for one in found if one.is_open],
        "closed": [one for one in found if not one.is_open][:FINDINGS_SHOWN],
        "more": max(0, sum(not one.is_open for one in found) - FINDINGS_SHOWN),
    }
    return render(request, "inspection/findings.html", context)


@require_http_methods(["GET", "POST"])
def finding_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    return _finding_page(request, found, None, "Log a finding")


@require_http_methods(["GET", "POST"])
def finding_correct(request: HttpRequest, number: str, part: str, entry: int) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    return _finding_page(request, found, _row_of(request.user, Finding, found, entry), f"Correct entry {entry}")


def _finding_page(request: HttpRequest, part: Part, corrects: Finding | None, title: str) -> HttpResponse:
    form = FindingForm(posted(request), part=part, corrects=corrects)
    return log_page(
        request,
        form,
        lambda told: services.log_finding(part=part, **form.given(), told=told),
        template="inspection/finding_log.html",
        context={
            "part": part,
            "title": title,
            "to": reverse("inspection:findings", args=[part.hull.number]),
            # Drawn only where a page is shown: a tablet that sends is answered without.
            "scene": cache(lambda: girth_to_point_at(part, placed_findings(findings_of(part.hull), part))),
        },
        then=lambda row: reverse("inspection:findings", args=[part.hull.number]),
    )


@require_http_methods(["GET", "POST"])
def decide(request: HttpRequest, number: str, entry: int) -> HttpResponse:
    hull = hull_for(request.user, Act.DECIDE_FINDING, number)
    found = finding_about(hull, entry)
    if found is None or found.gone or found.nothing_found:
        raise Http404(f"Entry {entry} is no finding on {hull.number} that can be decided.")
    form = DecisionForm(posted(request), corrects=found.decision)
    return log_page(
        request,
        form,
        lambda told: services.decide_finding(about_entry=found.entry, **form.given(), told=told),
        template="inspection/decide.html",
        context={"hull": hull, "found": found},
        then=lambda row: reverse("inspection:findings", args=[hull.number]),
    )


# ---- Hardness


@reads
def hardness(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.READ, number, part)
    sets = hardness_sets(found)
    girth = hardness_on_the_girth(found, sets)
    context = {"part": found, "sets": sets, "scene": _dots(found, sets), "girth": girth}
    return render(request, "inspection/hardness.html", context)


def _dots(part: Part, sets: list[HardnessView]) -> Scene | None:
    """A row for each set that counts, the latest of many; the limit only where all were held against the same."""
    current = [view for view in sets if not view.replaced][-SETS_DRAWN:]
    if not current:
        return None
    rows = [
        DotRow(
            f"{view.hardness_set.zone_name}, entry {view.hardness_set.pk}",
            view.kept,
            [reading.value for reading in view.readings if reading.left_out_because],
        )
        for view in current
    ]
    asked = {view.hardness_set.required_mean for view in current}
    return dot_plot(
        rows,
        x_label="impressor reading, 0 to 100",
        title=f"{part}: hardness",
        at_least=asked.pop() if len(asked) == 1 else None,
    )


@require_http_methods(["GET", "POST"])
def hardness_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    return _hardness_page(request, found, None, "Try the hardness")


@require_http_methods(["GET", "POST"])
def hardness_correct(request: HttpRequest, number: str, part: str, entry: int) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    return _hardness_page(request, found, _row_of(request.user, HardnessSet, found, entry), f"Correct entry {entry}")


def _hardness_page(request: HttpRequest, part: Part, corrects: HardnessSet | None, title: str) -> HttpResponse:
    form = HardnessForm(posted(request), part=part, corrects=corrects)
    to = reverse("inspection:hardness", args=[part.hull.number, part.name])
    return log_page(
        request,
        form,
        lambda told: services.log_hardness(part=part, **form.given(), told=told),
        template="inspection/hardness_log.html",
        context={"part": part, "title": title, "to": to, "scene": girth_to_point_at(part)},
        then=lambda row: to,
    )


# ---- Weights, and resin planned against used


@reads
def balance(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.READ, number, part)
    context = {"part": found, "weighings": weighings(found), "balance": mass_balance_of(found)}
    return render(request, "inspection/weights.html", context)


@require_http_methods(["GET", "POST"])
def weighing_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    return _weighing_page(request, found, None, "Log a weight")


@require_http_methods(["GET", "POST"])
def weighing_correct(request: HttpRequest, number: str, part: str, entry: int) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    return _weighing_page(request, found, _row_of(request.user, Weighing, found, entry), f"Correct entry {entry}")


def _weighing_page(request: HttpRequest, part: Part, corrects: Weighing | None, title: str) -> HttpResponse:
    form = WeighingForm(posted(request), corrects=corrects)
    to = reverse("inspection:balance", args=[part.hull.number, part.name])
    return log_page(
        request,
        form,
        lambda told: services.log_weighing(part=part, **form.given(), told=told),
        template="inspection/floor_log.html",
        context={"part": part, "title": title, "to": to},
        then=lambda row: to,
    )


@reads
def resin(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.READ, number)
    uses = _uses(hull)
    context = {"hull": hull, "uses": uses, "scene": _planned_and_used(uses), "not_by_zone": NOT_BY_ZONE}
    return render(request, "inspection/resin.html", context)


def _uses(hull: Hull) -> list[PartUse]:
    return [planned_against_used(part) for part in parts_of(hull)]


def _planned_and_used(uses: list[PartUse]) -> Scene | None:
    rows = [
        PlannedUsed(
            use.part.name,
            max(0.0, use.planned_kg - use.band_kg),
            use.planned_kg,
            use.planned_kg + use.band_kg,
            use.used.mass_kg if use.used else None,
        )
        for use in uses
        if use.planned_kg is not None and use.band_kg is not None
    ]
    return planned_used(rows, unit="kg", title="Resin planned and used") if rows else None


RESIN_HEADER = ("part", "zone", "what", "unit", "planned", "standard deviation of planned", "used", "used over planned")


@reads
def resin_csv(request: HttpRequest, number: str) -> HttpResponse:
    require(request.user, Act.EXPORT)
    hull = hull_for(request.user, Act.READ, number)
    rows = [row for use in _uses(hull) for row in _csv_rows(use)]
    return csv_response(f"{hull.number}-planned-and-used", RESIN_HEADER, rows)


def _csv_rows(use: PartUse) -> list[tuple[Any, ...]]:
    sd_kg = use.plan.sd_kg if use.plan else None
    used_kg = use.used.mass_kg if use.used else None
    ratio = use.comparison.ratio if use.comparison else None
    part = use.part.name
    return [
        (part, "", "resin and catalyst", "kg", use.planned_kg, sd_kg, used_kg, ratio),
        *((part, "", f"found: {one.name}", "kg", None, None, one.mass_kg, None) for one in use.found),
        *((part, one.zone_name, one.material, one.unit, one.planned, None, one.used, one.ratio) for one in use.zones),
    ]
