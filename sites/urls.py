from django.urls import path

from sites import alike_views, merge_views, views

app_name = "sites"

urlpatterns = [
    path("", views.SiteList.as_view(), name="list"),
    path("new/", views.new, name="new"),
    path("alike/", alike_views.alike, name="alike"),
    path("merges/<int:pk>/undo/", merge_views.merge_undo, name="merge_undo"),
    path("<slug:code>/edit/", views.edit, name="edit"),
    path("<slug:code>/same/", merge_views.same_site, name="same"),
    path("<slug:code>/basins/new/", views.basin_new, name="basin_new"),
    path("basins/<int:pk>/", views.basin_edit, name="basin_edit"),
    path("basins/<int:pk>/inlets/new/", views.inlet_new, name="inlet_new"),
    path("basins/<int:pk>/plants/new/", views.planting_new, name="planting_new"),
    path("inlets/<int:pk>/", views.inlet_edit, name="inlet_edit"),
    path("plants/<int:pk>/", views.planting_edit, name="planting_edit"),
]
