"""Repairs only. Log-ins, roles and addresses; the daily work has its own pages."""

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin as DjangoUserAdmin
from django.contrib.auth.forms import BaseUserCreationForm
from django.utils.translation import gettext_lazy as _

from people.models import (
    Agency,
    Agent,
    ContactPoint,
    Household,
    Membership,
    OfficeChange,
    Organisation,
    OrganisationContact,
    Person,
    Program,
    User,
    Volunteer,
)

admin.site.site_title = admin.site.site_header = _("Repairs")
admin.site.index_title = _("Rows as they are stored. The daily work has its own pages.")


@admin.register(Program)
class ProgramAdmin(admin.ModelAdmin):
    def has_add_permission(self, request) -> bool:
        return super().has_add_permission(request) and not Program.objects.exists()

    def has_delete_permission(self, request, obj=None) -> bool:
        return False


@admin.register(Agency)
class AgencyAdmin(admin.ModelAdmin):
    list_display = ["code", "name", "kind"]
    search_fields = ["code", "name"]


@admin.register(Household)
class HouseholdAdmin(admin.ModelAdmin):
    list_display = ["name", "address"]
    search_fields = ["name", "address"]


@admin.register(Person)
class PersonAdmin(admin.ModelAdmin):
    list_display = ["full_name", "household", "agency", "channel", "language"]
    list_filter = ["channel", "language", "agency"]
    search_fields = ["given_name", "family_name"]
    autocomplete_fields = ["household", "agency"]


class OrganisationContactInline(admin.TabularInline):
    model = OrganisationContact
    extra = 0
    autocomplete_fields = ["person"]


@admin.register(Organisation)
class OrganisationAdmin(admin.ModelAdmin):
    list_display = ["name", "kind"]
    search_fields = ["name"]
    inlines = [OrganisationContactInline]


@admin.register(Agent)
class AgentAdmin(admin.ModelAdmin):
    list_display = ["agent", "principal", "scope", "starts_on", "ends_on"]
    autocomplete_fields = ["principal", "agent"]


@admin.register(OfficeChange)
class OfficeChangeAdmin(admin.ModelAdmin):
    list_display = ["on", "agency", "office", "new_agency", "new_office"]
    autocomplete_fields = ["moved", "left"]


@admin.register(ContactPoint)
class ContactPointAdmin(admin.ModelAdmin):
    list_display = ["kind", "value", "dead_since"]
    list_filter = ["kind"]
    search_fields = ["value"]
    autocomplete_fields = ["people"]


@admin.register(Volunteer)
class VolunteerAdmin(admin.ModelAdmin):
    list_display = ["person", "joined_on", "left_on", "waiver_until"]
    autocomplete_fields = ["person"]


class MembershipInline(admin.TabularInline):
    model = Membership
    extra = 0


class NewUserForm(BaseUserCreationForm):
    class Meta:
        model = User
        fields = ["email", "name"]


@admin.register(User)
class UserAdmin(DjangoUserAdmin):
    """A log-in has an e-mail address where Django's own has a user name."""

    add_form = NewUserForm
    ordering = ["email"]
    list_display = ["email", "name", "is_active", "is_staff"]
    list_filter = ["is_active", "is_staff"]
    search_fields = ["email", "name"]
    autocomplete_fields = ["person"]
    filter_horizontal = []
    fieldsets = [
        (None, {"fields": ["email", "password", "name", "person"]}),
        (_("What it may do"), {"fields": ["is_active", "is_staff", "is_superuser"]}),
    ]
    add_fieldsets = [(None, {"fields": ["email", "name", "password1", "password2"]})]
    inlines = [MembershipInline]
