from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class ReportState(TextChoices):
    REQUESTED = "requested", _("Requested")
    BUILDING = "building", _("Building")
    ISSUED = "issued", _("Issued")
    FAILED = "failed", _("Failed")


#: States of a report that is still to come.
UNDER_WAY = [ReportState.REQUESTED, ReportState.BUILDING]
