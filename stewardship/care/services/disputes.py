"""Settling a dispute gives open duties back the days for which their clocks stood still."""

from datetime import date

from django.db import transaction

from people.models import User
from stewardship.agreements.models import Dispute
from stewardship.agreements.services.disputing import close_dispute
from stewardship.care.models import Duty
from stewardship.care.services.book import lock_site
from stewardship.care.services.duties import move_by_dispute
from stewardship.care.services.waiting import renew_waiting


@transaction.atomic
def settle_dispute(*, dispute: Dispute, on: date, outcome: str, by: User | None = None) -> Dispute:
    """It is settled, and the clocks of its site go on: each open duty is due so many days later as it stood.

    Raises
    ------
    Refused : as `close_dispute`.
    """
    lock_site(dispute.site_id)
    duties = (
        Duty.objects.open()
        .filter(site=dispute.site_id)
        .select_for_update(of=("self",))
        .select_related("site")
    )
    moved = [duty for duty in duties.order_by("pk") if move_by_dispute(duty, until=on)]
    dispute = close_dispute(dispute=dispute, on=on, outcome=outcome, by=by)
    for duty in moved:
        renew_waiting(duty)
    return dispute
