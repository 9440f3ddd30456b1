from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class RainConfig(AppConfig):
    name = "stewardship.rain"
    label = "rain"
    verbose_name = _("Rain")
