"""What the steps of taking on a household have in common: the page frame, going on, and refusals as sentences."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from stewardship.agreements.models import Agreement
from stewardship.common.errors import Refused
from stewardship.front.onboarding import path


def step_page(
    request: HttpRequest, agreement: Agreement | None, name: str, context: dict[str, Any]
) -> HttpResponse:
    steps = path.steps(agreement)
    here = next(one for one in steps if one.name == name)
    back = steps[here.number - 2] if here.number > 1 else None
    return render(
        request,
        f"front/onboarding/{name}.html",
        {"agreement": agreement, "steps": steps, "here": here, "back": back} | context,
    )


def onward(request: HttpRequest, agreement: Agreement, name: str) -> HttpResponse:
    """To the next step, or to the list when it is enough for today."""
    if request.POST.get("then") == "later":
        messages.success(request, _("Saved. It waits under “Begun and not finished”."))
        return redirect("agreements:list")
    return redirect("onboard_step", reference=agreement.reference, step=path.after(agreement, name))


def attempt(form: forms.BaseForm, write: Callable[[], Any]) -> Any:
    """Run a service; a refusal becomes a sentence on the form, and None comes back."""
    try:
        with transaction.atomic():
            return write()
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return None


def told(request: HttpRequest, write: Callable[[], Any]) -> bool:
    """Run a service that no form stands for; a refusal is said at the top of the next page."""
    try:
        write()
    except Refused as refusal:
        messages.error(request, str(refusal))
        return False
    return True
