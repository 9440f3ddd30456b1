from django.urls import path

from stewardship.front import onboarding, people, views

urlpatterns = [
    path("", views.home, name="home"),
    path("welcome/", views.welcome, name="welcome"),
    path("today/", views.today, name="today"),
    path("sites/<slug:code>/", views.site, name="site"),
    path("sites/<slug:code>/built/", views.site_build, name="site_build"),
    path("people/<int:pk>/", people.person, name="person"),
    path("onboard/", onboarding.start, name="onboard"),
    path("onboard/<slug:reference>/", onboarding.resume, name="onboard_resume"),
    path("onboard/<slug:reference>/<slug:step>/", onboarding.step, name="onboard_step"),
    path("rain/storms/<int:pk>/", views.storm, name="storm"),
]
