from django.apps import AppConfig


class StewardshipConfig(AppConfig):
    name = "stewardship"

    def ready(self) -> None:
        # Binds shared tasks in every process, web included, to our Celery application.
        from stewardship import celery  # noqa: F401
