from django.urls import path

from stewardship.care import answer_views
from stewardship.care.views import declaring, desk, duties, flows

app_name = "care"

urlpatterns = [
    path("a/<str:token>/", answer_views.answer, name="answer"),
    path("a/<str:token>/ran/", answer_views.ran, name="ran"),
    path("new-link/", answer_views.answer_new_link, name="answer_new_link"),
    path("duties/", duties.DutyList.as_view(), name="duties"),
    path("duties/<int:pk>/", duties.duty, name="duty"),
    path("duties/<int:pk>/<slug:action>/", duties.duty_act, name="duty_act"),
    path("reminders/<int:pk>/came-back/", duties.came_back, name="came_back"),
    path("visits/new/<slug:code>/", duties.visit_new, name="visit_new"),
    path("visits/<int:pk>/", duties.visit, name="visit"),
    path("contacts/", duties.checks, name="checks"),
    path("contacts/<int:pk>/close/", duties.check_close, name="check_close"),
    path("rain/", desk.desk, name="rain_questions"),
    path("rain/<int:storm>/<slug:ask>/", desk.decide, name="rain_decide"),
    path("rain/log/", desk.DecisionLog.as_view(), name="rain_log"),
    path("rain/by-itself/", desk.late_news, name="late_news"),
    path("rain/<int:storm>/", declaring.declare, name="declare"),
    path("declared/<int:pk>/withdraw/", declaring.declared_withdraw, name="declared_withdraw"),
    path("ran/", flows.flow_reports, name="flow_reports"),
    path("ran/new/", flows.flow_new, name="flow_new"),
    path("ran/<int:pk>/<slug:decision>/", flows.flow_decide, name="flow_decide"),
]
