from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class PeopleConfig(AppConfig):
    name = "people"
    label = "people"
    verbose_name = _("People")

    def ready(self) -> None:
        from people.models import Program
        from stewardship.outbox.sender import read_sender_with

        read_sender_with(Program.get)
