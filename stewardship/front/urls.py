from django.urls import path

from stewardship.front import onboarding, organisations, people, people_life, rests, views

urlpatterns = [
    path("", views.home, name="home"),
    path("welcome/", views.welcome, name="welcome"),
    path("today/", views.today, name="today"),
    path("sites/<slug:code>/", views.site, name="site"),
    path("sites/<slug:code>/built/", views.site_build, name="site_build"),
    path("sites/<slug:code>/disputed/", rests.dispute_new, name="dispute_new"),
    path("people/<int:pk>/", people.person, name="person"),
    path("people/<int:pk>/died/", people_life.died, name="person_died"),
    path("people/<int:pk>/silent/", people_life.silence, name="person_silence"),
    path("people/<int:pk>/again/", people_life.again, name="person_again"),
    path("people/<int:pk>/estate/", people_life.estate, name="person_estate"),
    path("people/<int:pk>/agents/new/", people_life.agent_new, name="agent_new"),
    path("people/agents/<int:pk>/end/", people_life.agent_end, name="agent_end"),
    path("people/<int:pk>/pause/", rests.pause_new, name="pause_new"),
    path("people/organisations/", organisations.OrganisationList.as_view(), name="organisations"),
    path("people/organisations/new/", organisations.organisation_new, name="organisation_new"),
    path("people/organisations/<int:pk>/", organisations.organisation, name="organisation"),
    path(
        "people/organisations/<int:pk>/edit/",
        organisations.organisation_edit,
        name="organisation_edit",
    ),
    path(
        "people/organisations/contacts/<int:pk>/end/",
        organisations.contact_end,
        name="organisation_contact_end",
    ),
    path("people/offices/", organisations.offices, name="offices"),
    path("people/offices/change/", organisations.office_change, name="office_change"),
    path("rests/", rests.rests, name="rests"),
    path("rests/pauses/<int:pk>/end/", rests.pause_end, name="pause_end"),
    path("rests/disputes/<int:pk>/", rests.dispute, name="dispute"),
    path("onboard/", onboarding.start, name="onboard"),
    path("onboard/<slug:reference>/", onboarding.resume, name="onboard_resume"),
    path("onboard/<slug:reference>/<slug:step>/", onboarding.step, name="onboard_step"),
    path("rain/storms/<int:pk>/", views.storm, name="storm"),
]
