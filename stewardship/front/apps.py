from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class FrontConfig(AppConfig):
    name = "stewardship.front"
    label = "front"
    verbose_name = _("Pages")
