from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy


class InstrumentKind(TextChoices):
    """The legal kind; decides who must sign and what a sale does (rules in instruments.py)."""

    COVENANT = "covenant", _("Recorded covenant")
    LICENCE = "licence", _("Right-of-way licence")
    CARE_AGREEMENT = "care_agreement", _("Signed care agreement")
    MEMORANDUM = "memorandum", _("Agency memorandum")
    HELPER = "helper", _("Helper agreement")


class AgreementState(TextChoices):
    DRAFT = "draft", _("Draft")
    OFFERED = "offered", _("Offered")
    IN_FORCE = "in_force", _("In force")
    ENDED = "ended", _("Ended")


class Capacity(TextChoices):
    """In what capacity somebody signs."""

    OWNER = "owner", _("Owner")
    TENANT = "tenant", _("Tenant")
    LANDLORD = "landlord", _("Landlord")
    AGENCY_OFFICER = "agency_officer", _("Agency officer")
    HELPER = "helper", _("Helper")
    PROGRAM = "program", _("Program")


class ResponsibilityRole(TextChoices):
    DOES = "does", _("Does the work")
    INSPECTS = "inspects", _("Inspects")
    TOLD = "told", _("Is told")


class SigningMethod(TextChoices):
    PAPER = "paper", _("On paper, scanned")
    SCREEN = "screen", _("On a screen")


class DocumentKind(TextChoices):
    TO_SIGN = "to_sign", _("Ready to sign")
    SIGNED = "signed", _("Scan of signed pages")
    SEALED = "sealed", _("Signed and sealed")
    AS_BUILT = "as_built", _("As built")
    SUPPORT = "support", _("Paper besides")
    BROUGHT_IN = "brought_in", _("Brought in from a list")


class DutyGroup(TextChoices):
    """The duties that a household is walked through before it signs."""

    LITTER = "litter", _("Litter and leaves")
    INLET = "inlet", _("Keep the inlet open")
    TRAP = "trap", _("Empty the sediment trap")
    PLANTS = "plants", _("Water, weed and trim")
    STANDING = "standing", _("Look for standing water")
    REPORT = "report", _("Tell us")
    CAUTION = "caution", _("What is not yours to do")


class NoticeWay(TextChoices):
    """How a formal notice reaches a party."""

    MAIL = "mail", _("by mail")
    CERTIFIED = "certified", _("by certified mail")
    COURIER = "courier", _("by courier")
    EMAIL = "email", _("by e-mail")


class Sharing(TextChoices):
    """Who does what where several people promise the same site."""

    TOGETHER = "together", _("any of them may do it; each owes all of it")
    PARTS = "parts", _("each cares for a part")


class RequirementKind(TextChoices):
    """What an agreement may need besides signatures."""

    CONSENT = "consent", _("Landlord’s consent")
    INSURANCE = "insurance", _("Insurance certificate")
    RECORDING = "recording", _("Recorder’s number")
    TRANSFER = "transfer", _("Proof of the transfer")
    OTHER = "other", _("Something else")


class PauseKind(TextChoices):
    PERSON = "person", _("Somebody cannot")
    WORKS = "works", _("The site rests")


class PauseEffect(TextChoices):
    """What becomes of the duty during a pause."""

    OWED = "owed", _("stays owed")
    EXCUSED = "excused", _("is excused")


class ListState(TextChoices):
    """How far a list has come."""

    LOOKED = "looked", _("looked through")
    TAKEN = "taken", _("taken in")
    LEFT = "left", pgettext_lazy("a list", "left")
    GIVEN = "given", _("given out")
