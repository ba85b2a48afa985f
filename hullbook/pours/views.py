"""Pages of the resin plan, the hold test and the pour."""

from collections.abc import Callable, Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response, patch_cache_control
from django.views.decorators.http import require_http_methods

from hullbook.calc.errors import InputRefused
from hullbook.hulls.forms import StrikeOutForm
from hullbook.hulls.models import Part
from hullbook.hulls.selectors import entries_in_words, girth_stations, part_for, require_own_or_lead
from hullbook.materials.models import ResinSystem
from hullbook.materials.services import strike_out
from hullbook.pours import services
from hullbook.pours.enums import ReadingOf
from hullbook.pours.forms import (
    AlarmForm,
    AnswerForm,
    BeginForm,
    CloseForm,
    DayForm,
    FrontForm,
    GelCupForm,
    GelForm,
    HoldReadingForm,
    HoldTestForm,
    InletForm,
    LayoutForm,
    MendedForm,
    MixCorrectForm,
    MixForm,
    NoteForm,
    PailEndForm,
    PlanForm,
    PourForm,
    PourPlanForm,
    PourReadingForm,
    RemainderForm,
    SoundForm,
    TrialPanelForm,
    TroubleForm,
    as_keyed,
)
from hullbook.pours.models import HoldTest, Mix, Pour
from hullbook.pours.selectors import (
    Answer,
    OpenQuestion,
    PourPlanView,
    cup_views,
    gap_questions,
    hold_tests,
    known_gel,
    layout_in_force,
    number_gaps,
    open_pour,
    open_questions,
    panels,
    plan_in_force,
    plan_view,
    pour_day,
    pour_for,
    pour_plan_advice,
    pour_plan_in_force,
    pour_plan_numbered,
    pour_plan_view,
    pour_plans,
    pour_sheet,
    pour_view,
    pours_of,
    revision_of_plan_is_in_force,
    running_hold_test,
    tried_entry,
    what_a_pour_plan_lacks,
    what_has_changed,
    what_speaks_against_pouring,
    worked_out_plan,
)
from hullbook.pours.selectors.drawn import (
    ground_of_the_pour,
    hold_tests_plot,
    one_hold_test_plot,
    panel_plot,
    plan_by_purpose,
    plan_on_the_girth,
    pour_plan_bar,
    pour_plan_on_the_girth,
)
from hullbook.records.models import TypedRow
from hullbook.records.selectors import book_head
from hullbook.records.services import Refused, Told
from hullbook.records.views import log_page
from hullbook.web.forms import LogForm
from hullbook.web.views import leads_on_to, posted, reads
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
        "layout": layout_in_force(found),
        "pour_plan": pour_plan_in_force(found),
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


# ---- The pour plan


@reads
def pour_plan(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """The pour plan in force, or what is missing for one."""
    found = part_for(request.user, Act.READ, number, part)
    plan = pour_plan_in_force(found)
    context: dict[str, Any] = {"part": found, "view": None, "lacking": _ways(found)}
    context["earlier"] = [one for one in pour_plans(found) if plan is None or one.pk != plan.pk]
    if plan is not None:
        view = pour_plan_view(plan)
        context |= _drawn_plan(view) | {"stale": what_has_changed(view)}
    return render(request, "pours/pour_plan.html", context)


@reads
def pour_plan_as_read(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    """One of the pour plans of a part as it was read to the crew, whether it is in force or not."""
    found = part_for(request.user, Act.READ, number, part)
    plan, in_force = pour_plan_numbered(found, no), pour_plan_in_force(found)
    if plan is None:
        raise Http404(f"{found} has no pour plan {no}.")
    context = {"part": found, "in_force": in_force, **_drawn_plan(pour_plan_view(plan))}
    return render(request, "pours/pour_plan_as_read.html", context)


@require_http_methods(["GET", "POST"])
def pour_plan_read(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """Work it out, look at it, then read it to the crew, which stores it."""
    found = part_for(request.user, Act.READ_POUR_PLAN, number, part)
    form = PourPlanForm(posted(request), part=found)
    context = {"part": found, "lacking": _ways(found)}
    if "show" in request.POST:
        return _pour_plan_shown(request, form, context)
    return log_page(
        request,
        form,
        lambda told: services.read_pour_plan(view=form.worked_out, told=told),
        template="pours/pour_plan_read.html",
        context=context,
        then=lambda _: reverse("pours:pour-plan", args=[number, part]),
    )


def _pour_plan_shown(request: HttpRequest, form: PourPlanForm, context: dict[str, Any]) -> HttpResponse:
    """The plan as it would be read; nothing goes into the book."""
    view = form.worked_out if form.is_valid() else None
    drawn = _drawn_plan(view) if view else {"view": None}
    return render(request, "pours/pour_plan_read.html", {"form": form, **context, **drawn}, status=200 if view else 422)


def _drawn_plan(view: PourPlanView) -> dict[str, Any]:
    return {
        "view": view,
        "advice": pour_plan_advice(view),
        "on_the_girth": pour_plan_on_the_girth(view),
        "bar": pour_plan_bar(view),
    }


def _ways(part: Part) -> list[tuple[str, str]]:
    """What is missing, each with the page it is given on."""
    return [(one.words, reverse(one.route, args=one.args)) for one in what_a_pour_plan_lacks(part)]


@reads
def pour_checklist(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """The pour plan in force as a sheet of paper to tick off by."""
    found = part_for(request.user, Act.READ, number, part)
    plan = pour_plan_in_force(found)
    if plan is None:
        raise Http404(f"{found} has no pour plan.")
    return render(request, "pours/pour_checklist.html", {"part": found, "view": pour_plan_view(plan)})


@reads
def tried(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """Gel cups and trial panels of the resin system this part is planned with."""
    found = part_for(request.user, Act.READ, number, part)
    plan = plan_in_force(found)
    context: dict[str, Any] = {"part": found, "system": plan.system if plan else None}
    if plan is not None:
        context |= {
            "cups": cup_views(plan.system),
            "known": known_gel(plan.system),
            "panels": [(one, panel_plot(one)) for one in panels(plan.system)],
        }
    return render(request, "pours/tried.html", context)


@require_http_methods(["GET", "POST"])
def gel_cup_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    system = _system_of(found)
    form = GelCupForm(posted(request), system=system)
    return log_page(
        request,
        form,
        lambda told: services.log_gel_cup(system=system, **form.given(), told=told),
        template="pours/tried_log.html",
        context={"part": found, "title": f"Gel cup of {system}"},
        then=lambda _: reverse("pours:tried", args=[number, part]),
    )


@require_http_methods(["GET", "POST"])
def trial_panel_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    system = _system_of(found)
    form = TrialPanelForm(posted(request), part=found)
    return log_page(
        request,
        form,
        lambda told: services.log_trial_panel(system=system, **form.given(), told=told),
        template="pours/tried_log.html",
        context={"part": found, "title": f"Trial panel with {system}"},
        then=lambda _: reverse("pours:tried", args=[number, part]),
    )


@require_http_methods(["GET", "POST"])
def tried_strike_out(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    """A cup or a panel that should not count; it is of no hull, so it is reached from here."""
    found = part_for(request.user, Act.STRIKE_OUT, number, part)
    entry = tried_entry(_system_of(found), no)
    if entry is None:
        raise Http404(f"Entry {no} is no cup or panel that counts for {found}.")
    require_own_or_lead(request.user, entry, verb="strike out")
    form = StrikeOutForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: strike_out(entry=entry, **form.given(), told=told),
        template="hulls/strike_out.html",
        context={"hull": found.hull, "said": entries_in_words([entry])[0]},
        then=lambda _: reverse("pours:tried", args=[number, part]),
    )


def _system_of(part: Part) -> ResinSystem:
    plan = plan_in_force(part)
    if plan is None:
        raise Http404(f"{part} has no resin plan, so no resin system to try.")
    return plan.system


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
        context={"part": found, "running": running_hold_test(found), "reading_form": HoldReadingForm()},
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
        then=lambda begun: reverse("pours:day", args=[number, part, begun.number]),
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
        beside=_same_pail_words,
    )


def _same_pail_words(mix: Mix) -> str:
    """Where the pail is logged already, on another tablet perhaps: both stand until somebody says which it was."""
    same = [one for one in pour_view(mix.pour).same_pails if mix.pk in {view.mix.pk for view in one.mixes}]
    return f"{same[0].sentence} It is asked after the clamp." if same else ""


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


# ---- What is laid under the bag


@require_http_methods(["GET", "POST"])
def layout_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    layout = layout_in_force(found)
    form = LayoutForm(posted(request), initial=as_keyed(layout) if layout else {})
    return log_page(
        request,
        form,
        lambda told: services.log_feed_layout(part=found, **form.given(), told=told),
        template="pours/layout_log.html",
        context={"part": found, "layout": layout},
        then=lambda _: reverse("pours:resin", args=[number, part]),
    )


# ---- The pour day


@reads
def day(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    found = pour_for(request.user, Act.READ, hull=number, part=part, no=no)
    layout = layout_in_force(found.part)
    context = {
        "pour": found,
        "part": found.part,
        "sheet": pour_sheet(found, timezone.now()),
        "ground": ground_of_the_pour(layout, girth_stations(found.part)) if layout else None,
        "mix_form": MixForm(view=pour_view(found), auto_id="mix-%s"),
        "reading_form": PourReadingForm(pour=found, auto_id="reading-%s"),
    }
    return render(request, "pours/day.html", context)


@reads
def sheet(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    """The same as JSON; 304 while nothing was added to the book."""
    found = pour_for(request.user, Act.READ, hull=number, part=part, no=no)
    etag = f'"{found.pk}-{book_head().head}"'
    unchanged = get_conditional_response(request, etag=etag)
    response: HttpResponse = unchanged or JsonResponse(pour_sheet(found, timezone.now()))
    response["ETag"] = etag
    patch_cache_control(response, private=True, no_cache=True)
    return response


def _of_the_pour(
    form_class: type[DayForm | PourForm],
    title: str,
    log: Callable[[Pour, dict[str, Any], Told], TypedRow],
    *,
    then: str = "day",
) -> Callable[..., HttpResponse]:
    """A page that logs one thing of a pour and goes on to `then`; with `?next=`, to the page named there."""

    @require_http_methods(["GET", "POST"])
    def page(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
        found = pour_for(request.user, Act.LOG, hull=number, part=part, no=no)
        initial = {name: request.GET[name] for name in form_class.base_fields if name in request.GET}
        form = form_class(posted(request), pour=found, initial=initial)
        goes_on_to = leads_on_to(request, reverse(f"pours:{then}", args=[number, part, no]))
        return log_page(
            request,
            form,
            lambda told: log(found, form.given(), told),
            template="pours/pour_log.html",
            context={"pour": found, "part": found.part, "title": title, "then": goes_on_to},
            then=lambda _: goes_on_to,
        )

    return page


def _read(pour: Pour, given: dict[str, Any], told: Told) -> TypedRow:
    place, what = given["place"], given["what"]
    if what == ReadingOf.BAG_PRESSURE:
        names = ("gauge", "gauge_kind", "gauge_mbar", "station_pressure_mbar")
        return services.log_bag_pressure(pour=pour, place=place, told=told, **{name: given[name] for name in names})
    return services.log_pour_temperature(
        pour=pour,
        what=what,
        thermometer=given["thermometer"],
        temperature_c=given["temperature_c"],
        place=place,
        told=told,
    )


remainder_log = _of_the_pour(
    RemainderForm,
    "What was left over",
    lambda pour, given, told: services.log_remainder(pour=pour, **given, told=told),
    then="pour",
)
gel_log = _of_the_pour(
    GelForm, "Gel", lambda pour, given, told: services.log_gel(pour=pour, **given, told=told), then="pour"
)
inlet_log = _of_the_pour(
    InletForm, "Inlet", lambda pour, given, told: services.move_inlet(pour=pour, **given, told=told)
)
front_log = _of_the_pour(
    FrontForm, "Front reached", lambda pour, given, told: services.log_front(pour=pour, **given, told=told)
)
reading_log = _of_the_pour(PourReadingForm, "Reading", _read)
trouble_log = _of_the_pour(
    TroubleForm, "Trouble", lambda pour, given, told: services.log_trouble(pour=pour, **given, told=told)
)
mended = _of_the_pour(MendedForm, "What was done", lambda _, given, told: services.mend_trouble(**given, told=told))
pail_end = _of_the_pour(
    PailEndForm, "Pail empty or dumped", lambda _, given, told: services.end_pail(**given, told=told)
)
note = _of_the_pour(NoteForm, "Note", lambda pour, given, told: services.note_in_pour(pour=pour, **given, told=told))
sound = _of_the_pour(
    SoundForm, "Sound test", lambda pour, given, told: services.try_sound(pour=pour, **given, told=told)
)
alarm = _of_the_pour(
    AlarmForm, "Alarm taken", lambda pour, given, told: services.take_alarm(pour=pour, **given, told=told)
)
answer = _of_the_pour(
    AnswerForm, "An open question", lambda pour, given, told: services.answer_question(pour=pour, **given, told=told)
)


# ---- After the clamp


@reads
def gaps(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    """Numbers that the tablets of this pour gave and the book has not, as JSON."""
    found = pour_for(request.user, Act.READ, hull=number, part=part, no=no)
    return JsonResponse(
        {
            "gaps": [
                {
                    "device": gap.device,
                    "name": gap.name,
                    "first": gap.first,
                    "last": gap.last,
                    "count": gap.count,
                    "last_seen_at": gap.last_seen_at,
                    "sentence": gap.sentence,
                    "question": gap.code,
                }
                for gap in number_gaps(found)
            ]
        }
    )


FORMS: Mapping[str, type[DayForm | PourForm]] = {
    "remainder-log": RemainderForm,
    "mended": MendedForm,
    "inlet-log": InletForm,
    "front-log": FrontForm,
    "reading-log": PourReadingForm,
    "gel-log": GelForm,
}


@reads
def questions(request: HttpRequest, number: str, part: str, no: int) -> HttpResponse:
    """Everything a pour has left open, oldest first, each with its answers, on one page."""
    found = pour_for(request.user, Act.READ, hull=number, part=part, no=no)
    told = pour_day(found)
    asked = sorted([*open_questions(told), *gap_questions(told)], key=lambda one: one.since)
    drawn = [_drawn(found, place, question) for place, question in enumerate(asked)]
    return render(request, "pours/questions.html", {"pour": found, "part": found.part, "asked": drawn, "day": told})


def _drawn(pour: Pour, place: int, question: OpenQuestion) -> tuple[OpenQuestion, list[tuple[Answer, LogForm | None]]]:
    """A question with its answers, each that wants more keyed with its form."""
    return question, [(one, _form_of(pour, one, f"q{place}-{nth}-%s")) for nth, one in enumerate(question.answers)]


def _form_of(pour: Pour, one: Answer, auto_id: str) -> LogForm | None:
    if not one.fields:
        return None
    if one.asks:
        return FORMS[one.asks](pour=pour, initial=dict(one.fields), auto_id=auto_id)
    return LogForm(auto_id=auto_id)
