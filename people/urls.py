from django.urls import path

from people import views

app_name = "people"

urlpatterns = [
    path("", views.PersonList.as_view(), name="list"),
    path("new/", views.new, name="new"),
    path("<int:pk>/edit/", views.edit, name="edit"),
    path("<int:pk>/contacts/<int:contact>/dead/", views.contact_dead, name="contact_dead"),
]
