from django.urls import path

from people import views

app_name = "people"

urlpatterns = [
    path("", views.PersonList.as_view(), name="list"),
    path("new/", views.new, name="new"),
    path("alike/", views.alike, name="alike"),
    path("merges/", views.merges, name="merges"),
    path("merges/<int:pk>/undo/", views.merge_undo, name="merge_undo"),
    path("households/<int:pk>/", views.household, name="household"),
    path("households/<int:pk>/edit/", views.household_edit, name="household_edit"),
    path("households/<int:pk>/same/", views.same_household, name="household_same"),
    path("<int:pk>/edit/", views.edit, name="edit"),
    path("<int:pk>/erase/", views.erase, name="erase"),
    path("<int:pk>/same/", views.same_person, name="same"),
    path("<int:pk>/lists/", views.external_add, name="external_add"),
    path("<int:pk>/lists/<int:external>/drop/", views.external_drop, name="external_drop"),
    path("<int:pk>/contacts/<int:contact>/dead/", views.contact_dead, name="contact_dead"),
]
