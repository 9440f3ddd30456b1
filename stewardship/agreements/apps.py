from django.apps import AppConfig
from django.apps import apps as installed
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate
from django.utils.translation import gettext_lazy as _


def open_for_migrations(using: str, plan: list, **kwargs) -> None:
    """Take the gate's triggers down while tables are rebuilt."""
    from stewardship.agreements.gate import take_down

    if plan:
        take_down(connections[using])


def close_after_migrations(using: str, apps=installed, **kwargs) -> None:
    """Put the gate's triggers up, and our starter texts where an instrument has none in a language."""
    from stewardship.agreements.gate import put_up
    from stewardship.agreements.texts import load_starter_wording

    put_up(connections[using])
    try:
        wording = apps.get_model("agreements", "Wording")
    except LookupError:  # migrated back to before there were wordings
        return
    load_starter_wording(wording.objects.using(using))


class AgreementsConfig(AppConfig):
    name = "stewardship.agreements"
    label = "agreements"
    verbose_name = _("Agreements")

    def ready(self) -> None:
        from people.erasure import asked_for, wiping
        from stewardship.agreements import erasing

        pre_migrate.connect(open_for_migrations, sender=self)
        post_migrate.connect(close_after_migrations, sender=self)
        asked_for.connect(erasing.share, dispatch_uid="agreements.erasing.share")
        wiping.connect(erasing.wipe, dispatch_uid="agreements.erasing.wipe")
