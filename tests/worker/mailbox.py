import time

from django.conf import settings

from stewardship.outbox.mailbox import EmailBackend

FOREVER_S = 300


class HoldingMailbox(EmailBackend):
    """Takes every message at once, but never says so for the one whose subject stands in the file `hold`: there the worker is
    killed."""

    def send_messages(self, emails) -> int:
        count = super().send_messages(emails)
        hold = settings.VAR_DIR / "hold"
        if hold.exists() and hold.read_text() == emails[0].subject:
            time.sleep(FOREVER_S)
        return count
