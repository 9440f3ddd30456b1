"""The Celery applications. Run with `celery -A stewardship.celery worker` and `celery -A stewardship.celery:beat beat`.

Imported from StewardshipConfig.ready(), not from the package, so that `stewardship.hydrology` stays free of Celery.
"""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "stewardship.settings")

app = Celery("stewardship")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

# Beat only sends the names of tasks. Without Django's apps it starts at once and takes a third of the memory.
beat = Celery("stewardship", fixups=(), set_as_current=False)
beat.config_from_object("stewardship.settings", namespace="CELERY")
