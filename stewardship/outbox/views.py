from collections.abc import Callable
from typing import Any

from django.contrib import messages as told
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import translation
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.lists import FilteredTableView
from stewardship.outbox import services
from stewardship.outbox.choices import Channel, Status
from stewardship.outbox.filters import MessageFilter
from stewardship.outbox.forms import SuppressForm
from stewardship.outbox.models import Enclosure, Message
from stewardship.outbox.paper import letters_pdf
from stewardship.outbox.tables import MessageTable
from stewardship.outbox.writing import Written, stopped_message_pk, write

LONGEST_KEY = 18  # digits; longer numbers are no keys and overflow a database integer


class MessageList(FilteredTableView):
    model = Message
    table_class = MessageTable
    filterset_class = MessageFilter
    template_name = "outbox/list.html"
    export_name = "outbox"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            **kwargs,
            waiting_letters=Message.objects.to_print().count(),
            needing_a_person=Message.objects.needing_a_person().count(),
        )


@coordinator_required
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    return _detail_page(request, get_object_or_404(Message, pk=pk), SuppressForm())


def _detail_page(
    request: HttpRequest, message: Message, form: SuppressForm, status: int = 200
) -> HttpResponse:
    words, cannot_write = _words(message)
    context = {
        "message": message,
        "form": form,
        "events": message.events.select_related("by"),
        "enclosures": message.enclosures.all(),
        "words": words,
        "cannot_write": cannot_write,
        "is_letter": message.channel == Channel.LETTER,
        "can_retry": message.status in (Status.FAILED, Status.UNSURE),
        "can_confirm": message.status == Status.UNSURE,
        "can_suppress": message.status
        in (Status.HELD, Status.QUEUED, Status.FAILED, Status.UNSURE),
    }
    return render(request, "outbox/detail.html", context, status=status)


@coordinator_required
@require_GET
def enclosure(request: HttpRequest, pk: int) -> HttpResponse:
    """A file that goes out with a message, byte for byte."""
    found = get_object_or_404(Enclosure.objects.select_related("file"), pk=pk)
    return HttpResponse(
        bytes(found.file.content),
        content_type=found.file.content_type,
        headers={"Content-Disposition": content_disposition_header(True, found.name)},
    )


def _words(message: Message) -> tuple[Written | None, str]:
    """The words that went out, or those that would go out now; or why there are none."""
    if message.text or message.html:
        return Written(message.subject, message.text, message.html), ""
    try:
        return write(message), ""
    except Exception as error:  # noqa: BLE001 - a letter that cannot be written is shown as such, with the reason
        return None, str(error)


def _act(
    request: HttpRequest, pk: int, action: Callable[..., Message], done: str, **kwargs: Any
) -> HttpResponse:
    try:
        action(message=get_object_or_404(Message, pk=pk), by=request.user, **kwargs)
    except Refused as refusal:
        told.error(request, str(refusal))
    else:
        told.success(request, done)
    return redirect("outbox:detail", pk)


@coordinator_required
@require_POST
def retry(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(request, pk, services.retry_message, _("It goes out with the next round."))


@coordinator_required
@require_POST
def confirm_sent(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(request, pk, services.confirm_sent, _("Kept as sent."))


@coordinator_required
@require_POST
def suppress(request: HttpRequest, pk: int) -> HttpResponse:
    form = SuppressForm(request.POST)
    if not form.is_valid():
        return _detail_page(request, get_object_or_404(Message, pk=pk), form, status=422)
    done = _("It will not be sent.")
    return _act(request, pk, services.suppress_message, done, why=form.cleaned_data["why"])


@coordinator_required
def to_post(request: HttpRequest) -> HttpResponse:
    """Letters that wait to be printed and posted."""
    letters = services.walking_order(Message.objects.to_print().prefetch_related("enclosures"))
    ids = ",".join(str(letter.pk) for letter in letters)
    return render(request, "outbox/to_post.html", {"letters": letters, "ids": ids})


@coordinator_required
def print_letters(request: HttpRequest) -> HttpResponse:
    """One PDF of all waiting letters, or of those named by ?letters=1,2,3 (posted ones too: a reprint)."""
    if "letters" in request.GET:
        letters = Message.objects.filter(channel=Channel.LETTER, pk__in=_ids(request.GET))
    else:
        letters = Message.objects.to_print()
    if not letters:
        told.info(request, _("No letter waits to be printed."))
        return redirect("outbox:to_post")
    try:
        content = letters_pdf(letters)
    except Exception as error:  # noqa: BLE001 - whatever a letter's template raises, the page says so in a sentence
        told.error(request, _("A letter could not be written: %(text)s") % {"text": error})
        return redirect("outbox:to_post")
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": 'inline; filename="letters.pdf"'},
    )


@coordinator_required
@require_POST
def posted(request: HttpRequest) -> HttpResponse:
    """The letters of one printed PDF are in the post; ones that came in since are not among them."""
    count = 0
    for letter in Message.objects.filter(channel=Channel.LETTER, pk__in=_ids(request.POST)):
        try:
            services.mark_posted(message=letter, by=request.user)
            count += 1
        except Refused as refusal:
            told.error(request, str(refusal))
    if count:
        words = ngettext(
            "%(count)s letter kept as posted.", "%(count)s letters kept as posted.", count
        )
        told.success(request, words % {"count": count})
    return redirect("outbox:to_post")


def _ids(sent: Any) -> list[int]:
    parts = sent.get("letters", "").split(",")
    return [int(part) for part in parts if part.isdecimal() and len(part) <= LONGEST_KEY]


@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """The way out of reminders (RFC 8058): a POST stops them, without cookies or log-in and without a redirect.

    The page that a GET shows offers that POST, and another that takes it back.
    """
    try:
        message = Message.objects.get(pk=stopped_message_pk(token))
    except (signing.BadSignature, Message.DoesNotExist):
        return render(request, "outbox/stop_unknown.html", status=404)
    whose = {"address": message.to_address, "channel": message.channel}
    if request.method == "POST":
        if "again" in request.POST:
            services.allow_reminders(**whose)
        else:
            services.stop_reminders(**whose)
    with translation.override(message.language):
        context = {"address": message.to_address, "stopped": services.wants_no_reminders(**whose)}
        return render(request, "outbox/stop.html", context)
