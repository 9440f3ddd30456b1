"""The resident's page: a signed link, no log-in. A GET changes nothing, since mail scanners follow links too."""

from collections.abc import Callable
from datetime import datetime

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from people.choices import Channel, ContactKind
from people.models import ContactPoint, Person
from people.reach import Address
from stewardship.care import links, words
from stewardship.care.choices import AnswerKind, DutyState
from stewardship.care.forms.news import RanForm
from stewardship.care.forms.work import ANSWER_FORMS, NewLinkForm
from stewardship.care.models import Answer, Duty, FlowReport, Reminder, Visit
from stewardship.care.services import record_answer, report_flow, send_new_link
from stewardship.care.services.visits import last_rain_of
from stewardship.care.site_facts import sheet_of
from stewardship.common.errors import Refused


@never_cache
def answer(request: HttpRequest, token: str) -> HttpResponse:
    """The sheet of one duty for one person, in their language, and their three answers."""
    return _by_link(request, token, _answer_page)


@never_cache
def ran(request: HttpRequest, token: str) -> HttpResponse:
    """Where the same person says that water ran at the site and nobody asked them."""
    return _by_link(request, token, _ran_page)


def _by_link(
    request: HttpRequest,
    token: str,
    page: Callable[[HttpRequest, Duty, Person, Person | None, str], HttpResponse],
) -> HttpResponse:
    """A page that a signed link opens, in the language of whoever it was made for."""
    try:
        link = links.read(token)
    except links.OldLink:
        return _no_link(request, old_token=token)
    except links.BadLink:
        return _no_link(request)
    duty = Duty.objects.select_related("site", "rule").filter(pk=link.duty_pk).first()
    person, agent = _who(link)
    if duty is None or person is None:
        return _no_link(request)
    if person.died_on or person.erased_on or agent and agent.died_on:
        return _no_link(request)
    reader = agent or person
    with translation.override(reader.language):
        response = page(request, duty, person, agent, token)
    response.headers["Content-Language"] = reader.language
    response.headers["X-Robots-Tag"] = "noindex"
    return response


def _who(link: links.Link) -> tuple[Person | None, Person | None]:
    """Whom a link is about and who answers for them: the entries that stand for them now."""
    people = Person.objects.select_related("merged_into").in_bulk(
        [pk for pk in (link.person_pk, link.agent_pk) if pk]
    )
    person, agent = people.get(link.person_pk), people.get(link.agent_pk)
    person, agent = person and person.standing, agent and agent.standing
    return person, None if agent == person else agent


def _answer_page(
    request: HttpRequest, duty: Duty, person: Person, agent: Person | None, token: str
) -> HttpResponse:
    today, units = request.program.today(), request.program.units
    chosen = request.POST.get("answer") or request.GET.get("answer")
    forms = {
        kind: form_class(
            request.POST if request.method == "POST" and kind == chosen else None, today=today
        )
        for kind, form_class in ANSWER_FORMS.items()
    }
    refused = ""
    if request.method == "POST" and chosen in forms and forms[chosen].is_valid():
        try:
            record_answer(
                duty=duty,
                person=person,
                agent=agent,
                kind=chosen,
                at=timezone.now(),
                **forms[chosen].cleaned_data,
            )
        except Refused as error:
            refused = str(error)
        else:
            return redirect(request.path)
    sheet = sheet_of(duty)
    latest = Answer.objects.filter(duty=duty, person=person).select_related("visit").last()
    said = latest.kind if latest else None
    # Who said that it is not theirs is asked for nothing more; an answer that a letter's link names may still be given.
    is_left = said == AnswerKind.NOT_MINE and chosen not in forms
    context = {
        "duty": duty,
        "person": person,
        "agent": agent,
        "reader": agent or person,
        "is_open": duty.state == DutyState.OPEN,
        "is_met": duty.state == DutyState.MET,
        "is_asked": duty.state == DutyState.OPEN and said in (None, AnswerKind.DONE),
        "is_left": is_left,
        "takes_answers": not is_left and duty.state in (DutyState.OPEN, DutyState.MET),
        "latest": latest,
        "rained_since": last_rain_of(duty) if latest and latest.kind == AnswerKind.DONE else None,
        "visits": Visit.objects.filter(duty=duty).select_related("done_by"),
        "why": words.why_text(duty, units),
        "sheet": sheet,
        "tasks": words.task_texts(sheet.checklist, units),
        "bring": words.and_list(words.bring_texts(sheet.checklist.bring)),
        "silt": words.silt_text(sheet.checklist.silt),
        "cautions": words.caution_texts(sheet.checklist.cautions),
        "hours": sheet.checklist.minutes / 60,
        "forms": forms,
        "chosen": chosen if chosen in forms else "",
        "refused": refused,
        "today": today,
        "token": token,
    }
    return render(request, "care/answer.html", context, status=409 if refused else 200)


def _ran_page(
    request: HttpRequest, duty: Duty, person: Person, agent: Person | None, token: str
) -> HttpResponse:
    form = RanForm(request.POST or None, today=request.program.today())
    status = 200
    if request.method == "POST":
        if form.is_valid():
            try:
                report_flow(site=duty.site, person=person, at=timezone.now(), **form.cleaned_data)
            except Refused as no:
                form.add_error(None, str(no))
            else:
                return redirect(request.path)
        status = 422
    own = FlowReport.objects.filter(site=duty.site, person=person)
    context = {
        "duty": duty,
        "person": person,
        "form": form,
        "reports": own.select_related("duty").order_by("-at")[:5],
        "token": token,
    }
    return render(request, "care/ran.html", context, status=status)


def _no_link(request: HttpRequest, *, old_token: str = "") -> HttpResponse:
    """In plain words why this link opens nothing, and how to get a new one."""
    context = {"old_token": old_token, "form": NewLinkForm(), "days": links.GOOD_FOR_DAYS}
    return render(request, "care/no_link.html", context, status=410 if old_token else 404)


@never_cache
@require_POST
def answer_new_link(request: HttpRequest) -> HttpResponse:
    """Send a fresh link to an address that we know already. The page says the same whatever we know."""
    at = timezone.now()
    if request.POST.get("token"):
        try:
            links.read(request.POST["token"])
        except links.OldLink as old:
            _send_to(old.link, at=at)
        except links.BadLink:
            pass
    else:
        form = NewLinkForm(request.POST)
        if not form.is_valid():
            return render(request, "care/no_link.html", {"form": form}, status=422)
        _send_to_all_at(form.cleaned_data["email"], at=at)
    return render(request, "care/link_sent.html")


def _send_to(link: links.Link, *, at: datetime) -> None:
    duty = Duty.objects.select_related("site").filter(pk=link.duty_pk).first()
    person, agent = _who(link)
    if duty and person:
        send_new_link(duty=duty, person=person, agent=agent, at=at)


def _send_to_all_at(email: str, *, at: datetime) -> None:
    """Whoever has that address, about each open duty that they were told of, however they were told."""
    normal = ContactPoint.normalise(ContactKind.EMAIL, email)
    point = ContactPoint.objects.filter(
        kind=ContactKind.EMAIL, normal=normal, dead_since=None
    ).first()
    if point is None:
        return
    read = Q(person__contact_points=point, agent=None) | Q(agent__contact_points=point)
    told = Reminder.objects.filter(read, duty__state=DutyState.OPEN).distinct()
    address = Address(Channel.EMAIL, point.value, point.normal)
    for reminder in told.select_related("duty__site", "person", "agent"):
        send_new_link(
            duty=reminder.duty,
            person=reminder.person,
            agent=reminder.agent,
            at=at,
            address=address,
        )
