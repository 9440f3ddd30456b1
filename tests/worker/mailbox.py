import time

from django.core.mail.backends.filebased import EmailBackend

HANDING_OVER_S = 0.4


class SlowMailbox(EmailBackend):
    """Takes a message at once, and says so only after a while: the time in which a worker is killed."""

    def send_messages(self, emails) -> int:
        count = super().send_messages(emails)
        time.sleep(HANDING_OVER_S)
        return count
