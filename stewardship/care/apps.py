from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class CareConfig(AppConfig):
    name = "stewardship.care"
    label = "care"
    verbose_name = _("Care")
