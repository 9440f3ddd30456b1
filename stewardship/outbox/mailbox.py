"""Letters as files, for installations without a mail server: one .eml each, which every mail program opens."""

import secrets
from collections.abc import Sequence
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.utils import timezone


class EmailBackend(BaseEmailBackend):
    """Puts each message into the folder EMAIL_FILE_PATH, named after the moment; a file is there whole or not at all."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        folder = Path(settings.EMAIL_FILE_PATH)
        folder.mkdir(parents=True, exist_ok=True)
        for email in email_messages:
            name = f"{timezone.now():%Y%m%d-%H%M%S-%f}-{secrets.token_hex(3)}"
            unfinished = folder / f".{name}"
            unfinished.write_bytes(email.message().as_bytes(linesep="\r\n"))  # type: ignore[call-arg] # Django's own
            unfinished.rename(folder / f"{name}.eml")
        return len(email_messages)
