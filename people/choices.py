from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class Role(TextChoices):
    """What a log-in may do."""

    COORDINATOR = "coordinator", _("Coordinator")
    REVIEWER = "reviewer", _("Agency reviewer")
    VOLUNTEER = "volunteer", _("Volunteer")
    READER = "reader", _("Gauge reader")


class Channel(TextChoices):
    """How a message reaches somebody. `NONE` is a person's own choice of no reminders."""

    EMAIL = "email", _("E-mail")
    TEXT = "text", _("Text message")
    LETTER = "letter", _("Letter")
    NONE = "none", _("No reminders")


class ContactKind(TextChoices):
    EMAIL = "email", _("E-mail address")
    PHONE = "phone", _("Phone number")
    POSTAL = "postal", _("Postal address")


class Units(TextChoices):
    US = "us", _("inches, feet, gallons")
    METRIC = "metric", _("millimetres, metres, litres")


class Language(TextChoices):
    EN = "en", _("English")
    ES = "es", _("Spanish")


class AgencyKind(TextChoices):
    STREETS = "streets", _("Streets")
    PARKS = "parks", _("Parks")
    STORMWATER = "stormwater", _("Stormwater")


class Silence(TextChoices):
    """Why nobody writes to a person any more."""

    DIED = "died", _("died")
    ASKED = "asked", _("asked not to be written to")
    DISPUTE = "dispute", _("through a lawyer only")
    SAFETY = "safety", _("for somebody’s safety")


class OrganisationKind(TextChoices):
    CONDO = "condo", _("Condominium or owners’ association")
    COMPANY = "company", _("Company")
    TRUST = "trust", _("Trust")
    ESTATE = "estate", _("Estate of somebody who died")
    OTHER = "other", _("Other body")


class ContactRole(TextChoices):
    """What a person answers for in an organisation."""

    CARE = "care", _("the care of the basins")
    SIGNS = "signs", _("signing")
    NOTICES = "notices", _("formal notices")


class AgentScope(TextChoices):
    LETTERS = "letters", _("gets their letters")
    SIGNS = "signs", _("signs for them")


class MergeKind(TextChoices):
    PERSON = "person", _("People")
    HOUSEHOLD = "household", _("Households")
    SITE = "site", _("Sites")


class AskedBy(TextChoices):
    """Who asked for somebody's data to be erased."""

    THEMSELVES = "themselves", _("themselves")
    FOR_THEM = "for_them", _("somebody who may act for them")
    PROGRAM = "program", _("nobody; the program needs them no longer")
