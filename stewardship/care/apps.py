from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class CareConfig(AppConfig):
    name = "stewardship.care"
    label = "care"
    verbose_name = _("Care")

    def ready(self) -> None:
        from people.erasure import asked_for, wiping
        from stewardship.agreements.signals import site_retired
        from stewardship.care import erasing
        from stewardship.care.services.retiring import withdraw_all
        from stewardship.care.services.silence import why_not
        from stewardship.outbox.leaving import ask_before_leaving

        ask_before_leaving(why_not)
        site_retired.connect(withdraw_all, dispatch_uid="care.withdraw_all")
        asked_for.connect(erasing.share, dispatch_uid="care.erasing.share")
        wiping.connect(erasing.wipe, dispatch_uid="care.erasing.wipe")
