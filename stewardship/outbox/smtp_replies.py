"""What a failed attempt to hand over an e-mail means: try later, never, or nobody can tell.

Reply codes: RFC 5321 §4.2 (4yz: try again later; 5yz: do not), enhanced codes: RFC 3463.
"""

import re
import smtplib
from dataclasses import dataclass
from enum import Enum

from django.utils.translation import gettext as _

#: An enhanced status code at the start of the reply text (RFC 2034 §4).
ENHANCED = re.compile(r"^\s*([245]\.\d{1,3}\.\d{1,3})\b")
MAILBOX_REFUSED = {550, 551, 553}


class Verdict(Enum):
    LATER = "later"
    NEVER = "never"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True)
class Reply:
    """What became of an attempt: verdict, one sentence for people, the code for `MessageQuerySet.bounced()`."""

    verdict: Verdict
    words: str
    code: str = ""


def before_handing_over(error: Exception) -> Reply:
    """The mail server could not be reached or did not let us in: certainly not sent, and not the recipient's fault."""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        words = _("The mail server did not accept our log-in: %(text)s")
    else:
        words = _("The mail server could not be reached: %(text)s")
    return Reply(Verdict.LATER, words % {"text": _text(error)})


def while_handing_over(error: Exception) -> Reply:
    """The mail server was given the message and something went wrong.

    A refusal with a code is a clear no. A connection that breaks here leaves open whether the server took the message
    (RFC 5321 §4.5.3.2.6 and §6.1), so nobody can tell.
    """
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, text = next(iter(error.recipients.values()))
        return _refusal(code, _decoded(text), about_mailbox=True)
    if isinstance(error, smtplib.SMTPSenderRefused):
        return _refusal(error.smtp_code, _text(error), about_mailbox=False)
    if isinstance(error, smtplib.SMTPResponseException) and error.smtp_code >= 400:
        return _refusal(error.smtp_code, _text(error), about_mailbox=False)
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return Reply(
            Verdict.NEVER,
            _("The mail server cannot handle this address: %(text)s") % {"text": _text(error)},
        )
    return Reply(
        Verdict.UNSURE,
        _("The connection broke while the message was being handed over: %(text)s")
        % {"text": _text(error)},
    )


def _refusal(code: int, text: str, *, about_mailbox: bool) -> Reply:
    enhanced = ENHANCED.match(text)
    if enhanced:
        kept = enhanced.group(1)
    else:
        # RFC 3463 §3.1: X.0.0 says nothing more than the class.
        kept = str(code) if about_mailbox and code in MAILBOX_REFUSED else f"{code // 100}.0.0"
    if code < 500:
        words = _("The mail server says “later”: %(code)s %(text)s")
        verdict = Verdict.LATER
    else:
        words = _("The mail server refused it: %(code)s %(text)s")
        verdict = Verdict.NEVER
    return Reply(verdict, words % {"code": code, "text": text}, kept)


def _decoded(text: bytes | str) -> str:
    whole = text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)
    return " ".join(whole.split())[:240]


def _text(error: Exception) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        return _decoded(error.smtp_error)
    return _decoded(str(error)) or type(error).__name__
