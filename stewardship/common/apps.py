from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class CommonConfig(AppConfig):
    name = "stewardship.common"
    label = "common"
    verbose_name = _("Shared helpers")

    def ready(self) -> None:
        from stewardship.common.form_words import use_own_words

        use_own_words()
