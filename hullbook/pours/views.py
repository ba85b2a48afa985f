"""Pages of the resin plan, the hold test and the pour."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from hullbook.calc.errors import InputRefused
from hullbook.hulls.models import Part
from hullbook.hulls.selectors import part_for, require_own_or_lead
from hullbook.pours import services
from hullbook.pours.forms import (
    BeginForm,
    CloseForm,
    GelForm,
    HoldTestForm,
    MixCorrectForm,
    MixForm,
    PlanForm,
    RemainderForm,
)
from hullbook.pours.models import HoldTest, Mix, Pour
from hullbook.pours.selectors import (
    hold_tests,
    open_pour,
    plan_in_force,
    plan_view,
    pour_for,
    pour_view,
    pours_of,
    revision_of_plan_is_in_force,
    what_speaks_against_pouring,
    worked_out_plan,
)
from hullbook.pours.selectors.drawn import hold_tests_plot, one_hold_test_plot, plan_by_purpose, plan_on_the_girth
from hullbook.records.services import Refused
from hullbook.records.views import log_page
from hullbook.web.views import posted, reads
from hullbook.yard.perms import Act


def _to_pour(pour: Pour) -> str:
    return reverse("pours:pour", args=[pour.part.hull.number, pour.part.name, pour.number])


@reads
def resin(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """Plan, hold tests and pours of one part, and where to go from here."""
    found = part_for(request.user, Act.READ, number, part)
    context = {
        "part": found,
        "plan": plan_in_force(found),
        "hold_tests": hold_tests(found),
        "pours": pours_of(found),
        "under_way": open_pour(found),
        "against": what_speaks_against_pouring(found),
    }
    return render(request, "pours/resin.html", context)


@reads
def plan(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.READ, number, part)
    in_force = plan_in_force(found)
    context: dict[str, Any] = {"part": found, "view": None}
    if in_force is not None:
        view = plan_view(in_force)
        context |= {
            "view": view,
            "on_the_girth": plan_on_the_girth(view),
            "by_purpose": plan_by_purpose(view),
            "revision_in_force": revision_of_plan_is_in_force(in_force),
        }
    return render(request, "pours/plan.html", context)


@require_http_methods(["GET", "POST"])
def plan_set(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.PLAN_RESIN, number, part)
    form = PlanForm(posted(request), part=found)
    if "show" in request.POST:
        return _plan_shown(request, form, found)
    return log_page(
        request,
        form,
        lambda told: services.set_resin_plan(
            part=found, system=form.cleaned_data["system"], inputs=form.inputs(), told=told
        ),
        template="pours/plan_set.html",
        context={"part": found},
        then=lambda _: reverse("pours:plan", args=[number, part]),
    )


def _plan_shown(request: HttpRequest, form: PlanForm, part: Part) -> HttpResponse:
    """The plan as it would be set; nothing goes into the book."""
    view = None
    if form.is_valid():
        try:
            view = worked_out_plan(part, form.cleaned_data["system"], form.inputs())
        except Refused as refused:
            form.refuse(refused.problems)
        except InputRefused as refused:
            form.refuse({refused.field: str(refused)})
    context = {"form": form, "part": part, "view": view}
    return render(request, "pours/plan_set.html", context, status=200 if view else 422)


@reads
def hold_test_list(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.READ, number, part)
    tests = hold_tests(found)
    context = {"part": found, "tests": tests, "plot": hold_tests_plot(tests) if tests else None}
    return render(request, "pours/hold_tests.html", context)


@reads
def hold_test(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = part_for(request.user, Act.READ, number, part)
    test = next((view for view in hold_tests(found) if view.test.number == no), None)
    if test is None:
        raise Http404(f"{found} has no hold test {no}.")
    context = {"part": found, "view": test, "plot": one_hold_test_plot(test)}
    return render(request, "pours/hold_test.html", context)


@require_http_methods(["GET", "POST"])
def hold_test_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    form = HoldTestForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.log_hold_test(part=found, **form.given(), told=told),
        template="pours/hold_test_log.html",
        context={"part": found},
        then=lambda test: _to_hold_test(test),
    )


def _to_hold_test(test: HoldTest) -> str:
    return reverse("pours:hold-test", args=[test.part.hull.number, test.part.name, test.number])


@require_http_methods(["GET", "POST"])
def begin(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.POUR, number, part)
    return log_page(
        request,
        BeginForm(posted(request), part=found),
        lambda told: services.begin_pour(part=found, told=told),
        template="pours/begin.html",
        context={"part": found, "plan": plan_in_force(found), "against": what_speaks_against_pouring(found)},
        then=_to_pour,
    )


@reads
def pour(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = pour_for(request.user, Act.READ, hull=number, part=part, no=no)
    return render(request, "pours/pour.html", {"view": pour_view(found), "part": found.part})


@require_http_methods(["GET", "POST"])
def mix_log(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = pour_for(request.user, Act.LOG, hull=number, part=part, no=no)
    view = pour_view(found)
    form = MixForm(posted(request), view=view)
    return log_page(
        request,
        form,
        lambda told: services.log_mix(pour=found, **form.given(), told=told),
        template="pours/mix_log.html",
        context={"view": view, "part": found.part},
        then=lambda _: _to_pour(found),
    )


@require_http_methods(["GET", "POST"])
def mix_correct(request: HttpRequest, number: str, part: str, no: int, entry: int) -> HttpResponse:
    found = pour_for(request.user, Act.LOG, hull=number, part=part, no=no)
    view = pour_view(found)
    corrects = next((one for one in view.mixes if one.mix.pk == entry), None)
    if corrects is None:
        raise Http404(f"Pour {no} of {found.part} has no pail in entry {entry}.")
    require_own_or_lead(request.user, corrects.mix.entry, verb="correct")
    form = MixCorrectForm(posted(request), view=view, corrects=corrects)
    mix: Mix = corrects.mix
    return log_page(
        request,
        form,
        lambda told: services.log_mix(pour=found, **form.given(), told=told, corrects=mix),
        template="pours/mix_log.html",
        context={"view": view, "part": found.part, "corrects": corrects},
        then=lambda _: _to_pour(found),
    )


@require_http_methods(["GET", "POST"])
def remainder_log(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = pour_for(request.user, Act.LOG, hull=number, part=part, no=no)
    form = RemainderForm(posted(request), pour=found)
    return log_page(
        request,
        form,
        lambda told: services.log_remainder(pour=found, **form.given(), told=told),
        template="pours/pour_log.html",
        context={"pour": found, "part": found.part, "title": "What was left over"},
        then=lambda _: _to_pour(found),
    )


@require_http_methods(["GET", "POST"])
def gel_log(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = pour_for(request.user, Act.LOG, hull=number, part=part, no=no)
    form = GelForm(posted(request), pour=found)
    return log_page(
        request,
        form,
        lambda told: services.log_gel(pour=found, **form.given(), told=told),
        template="pours/pour_log.html",
        context={"pour": found, "part": found.part, "title": "Gel"},
        then=lambda _: _to_pour(found),
    )


@require_http_methods(["GET", "POST"])
def close(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = pour_for(request.user, Act.POUR, hull=number, part=part, no=no)
    form = CloseForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.close_pour(pour=found, words=form.cleaned_data["words"], told=told),
        template="pours/close.html",
        context={"view": pour_view(found), "part": found.part},
        then=lambda _: _to_pour(found),
    )
