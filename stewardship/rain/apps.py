from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class RainConfig(AppConfig):
    name = "stewardship.rain"
    label = "rain"
    verbose_name = _("Rain")

    def ready(self) -> None:
        from people.erasure import asked_for, wiping
        from stewardship.rain import erasing

        asked_for.connect(erasing.share, dispatch_uid="rain.erasing.share")
        wiping.connect(erasing.wipe, dispatch_uid="rain.erasing.wipe")
