"""Built otherwise than drawn: the paper on it, and who has seen it."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from stewardship.agreements import services
from stewardship.agreements.life_forms import AcknowledgeForm, AsBuiltForm
from stewardship.agreements.views.changes import change_page, find
from stewardship.common.access import coordinator_required


@coordinator_required
def as_built(request: HttpRequest, pk: int) -> HttpResponse:
    """Write the works down as they stand."""
    agreement = find(pk)
    form = AsBuiltForm(request.POST or None, initial={"on": request.program.today()})

    def carry_out() -> HttpResponse:
        document = services.write_as_built(
            agreement=agreement, by=request.user, **form.cleaned_data
        )
        messages.success(request, _("Made: %s. Show it to everybody who signed.") % document)
        return redirect("agreements:detail", pk=pk)

    return change_page(
        request,
        agreement,
        form,
        heading=_("Built otherwise than drawn"),
        button=_("Write the works down as built"),
        effects=[
            _(
                "The measures that stand in the book now become a paper of their own; correct them first."
            ),
            _(
                "What was signed stays as it is. Everybody who signed is asked to look at the new paper."
            ),
            _("What is due follows the works as built."),
        ],
        carry_out=carry_out,
    )


@coordinator_required
def seen(request: HttpRequest, pk: int, party: int) -> HttpResponse:
    """A party has seen the newest paper on the works as built."""
    agreement = find(pk)
    who = get_object_or_404(agreement.parties.select_related("person", "agreement"), pk=party)
    newest = services.as_built_of(agreement)
    if newest is None and request.method == "POST":
        raise Http404
    form = AcknowledgeForm(request.POST or None, initial={"on": request.program.today()})

    def carry_out() -> HttpResponse:
        services.acknowledge(
            party=who, document=newest.document, by=request.user, **form.cleaned_data
        )
        messages.success(request, _("Written down: %s has seen it.") % who.person)
        return redirect("agreements:detail", pk=pk)

    effects = [_("There is no paper on the works as built yet.")]
    if newest:
        effects = [_("%s is the paper that they have seen.") % newest.document]
    return change_page(
        request,
        agreement,
        form,
        heading=_("%s has seen the works as built") % who.person,
        button=_("Write it down"),
        effects=effects,
        carry_out=carry_out,
    )
