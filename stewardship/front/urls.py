from django.urls import path

from stewardship.front import views

urlpatterns = [
    path("", views.home, name="home"),
    path("welcome/", views.welcome, name="welcome"),
    path("today/", views.today, name="today"),
    path("sites/<slug:code>/", views.site, name="site"),
    path("sites/<slug:code>/built/", views.site_build, name="site_build"),
    path("rain/storms/<int:pk>/", views.storm, name="storm"),
]
