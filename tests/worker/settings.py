"""Settings of the worker that is killed: the real ones, with a mailbox that can hold one up, and a broker that notices sooner."""

from pathlib import Path

from stewardship.settings import *  # noqa: F403
from stewardship.settings import CELERY_BROKER_TRANSPORT_OPTIONS, TEMPLATES

TEMPLATES[0]["DIRS"].append(Path(__file__).parent / "templates")
EMAIL_BACKEND = "tests.worker.mailbox.HoldingMailbox"
CELERY_BROKER_TRANSPORT_OPTIONS |= {"visibility_timeout": 3, "unacked_restore_interval": 1}
