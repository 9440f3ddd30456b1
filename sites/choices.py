from django.db.models import IntegerChoices, TextChoices
from django.utils.translation import gettext_lazy as _


class Stage(TextChoices):
    """How far a site has come. `paused` is a dated fact, not a stage."""

    PROPOSED = "proposed", _("Proposed")
    AGREED = "agreed", _("Agreed")
    BUILT = "built", _("Built")
    RETIRED = "retired", _("Retired")


class InletKind(TextChoices):
    CURB_CUT = "curb_cut", _("Curb cut")
    CURB_CORE = "curb_core", _("Curb core")


class SourceClass(TextChoices):
    """What the street above drains; decides who may handle the silt."""

    QUIET = "quiet", _("Quiet street")
    BUSY = "busy", _("Busy street")
    HOT_SPOT = "hot_spot", _("Hot spot: crew only")


class Phase(TextChoices):
    """How settled the planting is; need for care falls as plants outgrow the water line (common practice)."""

    SETTLING_IN = "settling_in", _("Settling in")
    ESTABLISHING = "establishing", _("Establishing")
    SETTLED = "settled", _("Settled")


class Weekday(IntegerChoices):
    MONDAY = 0, _("Monday")
    TUESDAY = 1, _("Tuesday")
    WEDNESDAY = 2, _("Wednesday")
    THURSDAY = 3, _("Thursday")
    FRIDAY = 4, _("Friday")
    SATURDAY = 5, _("Saturday")
    SUNDAY = 6, _("Sunday")
