from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class Trigger(TextChoices):
    """What makes a duty fall due."""

    AFTER_RAIN = "after_rain", _("After rain")
    CALENDAR = "calendar", _("By calendar")
    FINDING = "finding", _("After a finding")


class DutyState(TextChoices):
    OPEN = "open", _("Open")
    MET = "met", _("Met")
    EXCUSED = "excused", _("Excused")
    WITHDRAWN = "withdrawn", _("Withdrawn")


class AnswerKind(TextChoices):
    """The three answers of a resident."""

    DONE = "done", _("Done")
    CANNOT = "cannot", _("Can’t this time")
    NOT_MINE = "not_mine", _("Not mine any more")


class Outcome(TextChoices):
    DONE = "done", _("Done")
    COULD_NOT = "could_not", _("Tried, could not")


class Evidence(TextChoices):
    REPORTED = "reported", _("Reported")
    PHOTO = "photo", _("Photo")
    INSPECTED = "inspected", _("Inspected")


class Judgement(TextChoices):
    GOOD = "good", _("Good")
    WATCH = "watch", _("Watch")
    ACT = "act", _("Act")
    UNSAFE = "unsafe", _("Unsafe")
    NOT_SEEN = "not_seen", _("Not seen")


class Item(TextChoices):
    """What is looked at on a visit."""

    INLET = "inlet", _("Inlet")
    TRAP = "trap", _("Sediment trap")
    SPILLWAY = "spillway", _("Spillway and rock")
    PLANTS = "plants", _("Plants")
    WEEDS = "weeds", _("Weeds")
    LITTER = "litter", _("Litter")
    PONDING = "ponding", _("Standing water")
    EDGE = "edge", _("Edge and sidewalk")


class HandOnAction(TextChoices):
    """What happens next when nobody acts."""

    SECOND_REMINDER = "second_reminder", _("Second reminder")
    COORDINATOR = "coordinator", _("Onto the coordinator’s list")
    AGENCY = "agency", _("Tell the agency contact")


class CheckReason(TextChoices):
    """Why somebody's address or responsibility has to be verified."""

    NOT_MINE = "not_mine", _("Said it is not theirs any more")
    BOUNCED = "bounced", _("Mail came back")
    NO_CHANNEL = "no_channel", _("No way to reach them")


class NeedsPerson(TextChoices):
    """Why a duty stands on the coordinator’s list."""

    CANNOT = "cannot", _("Can’t this time")
    NOT_MINE = "not_mine", _("Said it is not theirs any more")
    NO_CHANNEL = "no_channel", _("No way to reach anybody")
    NO_ANSWER = "no_answer", _("Nobody has answered")
    UNSAFE = "unsafe", _("Unsafe: not for residents or volunteers")
    PAUSED = "paused", _("Cannot for now, and nobody covers")
    SILENT = "silent", _("We do not write to them")


class RainAsk(TextChoices):
    """What a person has to decide about rain that came in late or is not known."""

    ADD = "add", _("Late rain: a look would be due")
    NEEDLESS = "needless", _("The rain was less than first read")
    UNKNOWN = "unknown", _("Rain not known here")


class RainDecision(TextChoices):
    ACT = "act", _("Done so")
    LEAVE = "leave", _("Left as it is")
    OVERTAKEN = "overtaken", _("Overtaken by newer readings")


class FlowKind(TextChoices):
    """What made water run at a site when no storm says so."""

    RAIN = "rain", _("Rain")
    HAIL = "hail", _("Hail")
    SNOWMELT = "snowmelt", _("Melting snow")
    WATER_MAIN = "water_main", _("A broken water main")
    SPRINKLER = "sprinkler", _("Sprinklers")
    STREET_WORK = "street_work", _("Street work")
    OTHER = "other", _("Something else")


class ReportState(TextChoices):
    WAITING = "waiting", _("Waiting for your decision")
    ACTED = "acted", _("A look was asked for")
    SET_ASIDE = "set_aside", _("Set aside")


#: Judgements that ask for a follow-up duty.
NEEDS_WORK = [Judgement.ACT, Judgement.UNSAFE]
