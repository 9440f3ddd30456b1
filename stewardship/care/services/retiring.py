"""When a site stands no more, nothing is due there any more."""

from datetime import date
from typing import Any

from django.utils.translation import gettext_lazy

from sites.models import Site
from stewardship.care.choices import DutyState
from stewardship.care.models import Duty
from stewardship.care.services.book import lock_duty
from stewardship.care.services.duties import close_duty
from stewardship.common.events import in_book_language


def withdraw_all(*, site: Site, on: date, why: str, by: Any = None, **_rest: Any) -> None:
    """Withdraw what is open at a site that was retired that day. Runs inside the transaction that retires it."""
    said = in_book_language(gettext_lazy("The site is retired: %(why)s"), {"why": why})
    for duty in Duty.objects.open().filter(site=site).order_by("pk"):
        duty = lock_duty(duty)
        if duty.state == DutyState.OPEN:
            day = max(on, duty.opened_on)
            close_duty(duty, state=DutyState.WITHDRAWN, closed_on=day, why=said, by=by)
