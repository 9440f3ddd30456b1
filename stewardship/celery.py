"""The Celery application. Run with `celery -A stewardship.celery worker` and `… beat`.

Imported from StewardshipConfig.ready(), not from the package, so that `stewardship.hydrology` stays free of Celery.
"""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "stewardship.settings")

app = Celery("stewardship")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
