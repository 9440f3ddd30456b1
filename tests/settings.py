"""Settings of the test suite: the real ones, with a throw-away var folder and quick password hashing."""

import atexit
import os
import shutil
import tempfile

if "RILLBOOK_VAR" not in os.environ:
    os.environ["RILLBOOK_VAR"] = tempfile.mkdtemp(prefix="rillbook-tests-")
    atexit.register(shutil.rmtree, os.environ["RILLBOOK_VAR"], ignore_errors=True)
os.environ.setdefault("LOG_LEVEL", "ERROR")

from stewardship.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
ALLOWED_HOSTS = ["*"]
STATIC_ROOT.mkdir(exist_ok=True)  # noqa: F405 - whitenoise warns about a folder that is not there
