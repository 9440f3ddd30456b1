from django.urls import path

from stewardship.common.access import coordinator_required
from stewardship.outbox import views

app_name = "outbox"

urlpatterns = [
    path("", coordinator_required(views.MessageList.as_view()), name="list"),
    path("<int:pk>/", views.detail, name="detail"),
    path("<int:pk>/again/", views.retry, name="retry"),
    path("<int:pk>/arrived/", views.confirm_sent, name="confirm_sent"),
    path("<int:pk>/not-sent/", views.suppress, name="suppress"),
    path("enclosed/<int:pk>/", views.enclosure, name="enclosure"),
    path("paper/", views.to_post, name="to_post"),
    path("paper/letters.pdf", views.print_letters, name="print"),
    path("paper/posted/", views.posted, name="posted"),
    path("stop/<str:token>/", views.stop, name="stop"),
]
