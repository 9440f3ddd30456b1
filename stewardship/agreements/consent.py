"""What somebody agrees to besides the document when they sign on a screen, in the language that is active.

What a signer is told before consenting follows the consumer disclosures of 15 USC 7001(c)(1)(B)–(C): paper as a choice, the right to
withdraw and what that does, what the consent is for, how to keep addresses up to date, how to get paper and what it costs, and what
is needed to read it. Whether that is enough where a program works is for its counsel to say.
"""

import hashlib
from dataclasses import dataclass

from django.utils.translation import gettext as _

from people.models import Program


@dataclass(frozen=True, slots=True)
class Consent:
    """The words at the tick, and those told before it."""

    tick: str
    told: tuple[str, ...]

    @property
    def text(self) -> str:
        """The exact words that are kept with the signature, one a line."""
        return "\n".join((*self.told, self.tick))

    @property
    def mark(self) -> str:
        """By which a page that was shown earlier is known to have shown these words."""
        return hashlib.sha256(self.text.encode()).hexdigest()


def consent_of(program: Program) -> Consent:
    contact = ", ".join(filter(None, [program.phone, program.email])) or program.name
    return Consent(
        tick=_(
            "I agree to sign electronically. Typing my name and pressing the button is my signature, as on paper."
        ),
        told=(
            _("You may sign on paper instead. It costs nothing: tell us, and we bring or send it."),
            _(
                "Until you press the button you can change your mind. After that your signature stands; you may"
                " still ask that everything further comes on paper, which costs nothing and changes nothing else."
            ),
            _("This consent is for signing this one agreement and getting your copy of it."),
            _(
                "You get the signed copy by e-mail or by mail once everybody has signed, and again on paper"
                " whenever you ask, at no cost."
            ),
            _("Has your address changed, or do you want paper? Tell us: %s.") % contact,
            _(
                "To read it all you need this page and something that opens a PDF. Open the document once before you sign."
            ),
        ),
    )
