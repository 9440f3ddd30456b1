from django.urls import path

from stewardship.api.doors import api
from stewardship.api.pages import page

app_name = "api"

urlpatterns = [
    path("", page, name="api-root"),
    # its own root is a page that is not there
    *[entry for entry in api.urls[0] if getattr(entry, "name", "") != "api-root"],
]
