from django.urls import path

from stewardship.care import answer_views, views

app_name = "care"

urlpatterns = [
    path("a/<str:token>/", answer_views.answer, name="answer"),
    path("new-link/", answer_views.answer_new_link, name="answer_new_link"),
    path("duties/", views.DutyList.as_view(), name="duties"),
    path("duties/<int:pk>/", views.duty, name="duty"),
    path("duties/<int:pk>/<slug:action>/", views.duty_act, name="duty_act"),
    path("reminders/<int:pk>/came-back/", views.came_back, name="came_back"),
    path("visits/new/<slug:code>/", views.visit_new, name="visit_new"),
    path("visits/<int:pk>/", views.visit, name="visit"),
    path("contacts/", views.checks, name="checks"),
    path("contacts/<int:pk>/close/", views.check_close, name="check_close"),
    path("rain/", views.rain_questions, name="rain_questions"),
    path("rain/<int:pk>/", views.rain_decide, name="rain_decide"),
]
