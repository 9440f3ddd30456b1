"""What residents answer, and what a coordinator writes down of a visit."""

import uuid
from datetime import date
from typing import Any

from django import forms
from django.db.models import Q
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from people.models import Agency, OrganisationContact, Person
from sites.models import Basin, SedimentTrap, Site
from stewardship.agreements.choices import ResponsibilityRole
from stewardship.agreements.models import Pause
from stewardship.care import rules
from stewardship.care.choices import AnswerKind, Evidence, Item, Judgement, Outcome
from stewardship.care.models import Duty
from stewardship.care.services import Found, TakenOut
from stewardship.common.measures import MeasureField, use_units
from stewardship.common.written import day_text

#: Longer than anybody works at one basin in a day; more is a typing error.
MOST_MINUTES = 600


class DayField(forms.DateField):
    """A day that has come."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **kwargs
        )
        self.today: date | None = None

    def until(self, today: date) -> None:
        self.today = today
        self.widget.attrs["max"] = today.isoformat()

    def validate(self, value: date | None) -> None:
        super().validate(value)
        if value and self.today and value > self.today:
            raise forms.ValidationError(_("That day has not come yet."))


def _note(label: Any, **kwargs: Any) -> forms.CharField:
    return forms.CharField(
        label=label,
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
        **kwargs,
    )


def _minutes_errors(most: int) -> dict[str, Any]:
    said = format_lazy(_("Minutes are a whole number from 1 to {most}."), most=most)
    return {"min_value": said, "max_value": said, "invalid": said}


class DoneForm(forms.Form):
    kind = AnswerKind.DONE
    happened_on = DayField(label=_("When?"))
    minutes = forms.IntegerField(
        label=_("How many minutes did it take?"),
        required=False,
        min_value=1,
        max_value=MOST_MINUTES,
        error_messages=_minutes_errors(MOST_MINUTES),
    )
    note = _note(
        _("Anything we should know?"), help_text=_("Such as: the trap was full; water still stood.")
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, prefix="done", initial={"happened_on": today}, **kwargs)
        self.fields["happened_on"].until(today)


class CannotForm(forms.Form):
    kind = AnswerKind.CANNOT
    note = _note(_("Anything we should know?"))

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, prefix="cannot", **kwargs)


class NotMineForm(forms.Form):
    kind = AnswerKind.NOT_MINE
    note = _note(_("Who lives or works there now, if you know?"))

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, prefix="not_mine", **kwargs)


ANSWER_FORMS = {form.kind: form for form in (DoneForm, CannotForm, NotMineForm)}


class NewLinkForm(forms.Form):
    email = forms.EmailField(
        label=_("E-mail address that our letters come to"), widget=forms.EmailInput()
    )


class WhyForm(forms.Form):
    """A reason, kept with the duty's events."""

    why = forms.CharField(label=_("Why?"), max_length=300)


class PutToForm(forms.Form):
    """Whom else to ask: volunteers, and people with a part in the site."""

    person = forms.ModelChoiceField(label=_("Whom?"), queryset=Person.objects.none())

    def __init__(self, *args: Any, duty: Duty, on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        helpers = Q(volunteer__joined_on__lte=on) & (
            Q(volunteer__left_on__isnull=True) | Q(volunteer__left_on__gt=on)
        )
        self.fields["person"].queryset = (
            Person.objects.known()
            .filter(helpers | Q(pk__in=_people_at(duty.site, on=on)), silent_since=None)
            .exclude(reminders__duty=duty)
            .distinct()
        )


class CloseCheckForm(forms.Form):
    outcome = forms.CharField(label=_("What did you find out?"), max_length=300)


def _people_at(site: Site, *, on: date) -> list[int]:
    """Who has a part in the site that day, answers for an organisation that has, or covers for somebody."""
    held = site.responsibilities.as_of(on)
    answering = OrganisationContact.objects.on(on).filter(
        organisation__in=held.values("organisation")
    )
    found = [
        *held.values_list("person", flat=True),
        *answering.values_list("person", flat=True),
        *Pause.objects.on(on).filter(site=site).values_list("cover", flat=True),
    ]
    return [pk for pk in found if pk]


class DutyChoiceField(forms.ModelChoiceField):
    def label_from_instance(self, duty: Duty) -> str:
        return f"{duty.get_trigger_display()}, {day_text(duty.due_on)}"


class VisitForm(forms.Form):
    """A visit with what was found at each basin and taken out of each trap. What is left empty was not looked at."""

    happened_on = DayField(label=_("Day of the visit"))
    done_by = forms.ChoiceField(label=_("Who was there"), required=False)
    outcome = forms.ChoiceField(label=_("How it went"), choices=Outcome)
    evidence = forms.ChoiceField(
        label=_("How we know"),
        choices=Evidence,
        help_text=_("Inspected: seen by somebody who checks for the program or the agency."),
    )
    minutes = forms.IntegerField(
        label=_("Minutes, of all people together"),
        required=False,
        min_value=1,
        max_value=MOST_MINUTES * 10,
        error_messages=_minutes_errors(MOST_MINUTES * 10),
    )
    duty = DutyChoiceField(
        label=_("It was about"),
        queryset=Duty.objects.none(),
        required=False,
        empty_label=_("whatever was due"),
    )
    note = _note(_("Note"))
    entry_key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(
        self, *args: Any, site: Site, basins: list[Basin], on: date, units: str, **kwargs: Any
    ) -> None:
        initial = {"happened_on": on, "entry_key": uuid.uuid4(), "evidence": Evidence.REPORTED}
        super().__init__(*args, initial=initial | kwargs.pop("initial", {}), **kwargs)
        self.basins, self.on = basins, on
        self.traps: list[tuple[Basin, SedimentTrap]] = [
            (basin, inlet.trap)
            for basin in basins
            for inlet in basin.inlets.all()
            if hasattr(inlet, "trap")
        ]
        self.fields["happened_on"].until(on)
        self.fields["duty"].queryset = Duty.objects.open().filter(site=site)
        self.fields["done_by"].choices = _doers(site, on=on)
        with_traps = {basin.pk for basin, _trap in self.traps}
        for basin in basins:
            for item in Item:
                if item == Item.TRAP and basin.pk not in with_traps:
                    continue
                self.fields[f"j-{basin.pk}-{item}"] = forms.ChoiceField(
                    label=item.label,
                    choices=[("", _("not looked at")), *Judgement.choices],
                    required=False,
                )
                self.fields[f"n-{basin.pk}-{item}"] = forms.CharField(
                    label=_("%s: note") % item.label, required=False, max_length=300
                )
        for _basin, trap in self.traps:
            self.fields[f"drop-{trap.pk}"] = MeasureField(
                "short",
                label=_("Inlet bottom down to the silt"),
                required=False,
                min_value=0,
                max_value=200,
                help_text=_("Before any was taken out."),
            )
            self.fields[f"litres-{trap.pk}"] = MeasureField(
                "volume", label=_("Silt taken out"), required=False, min_value=0, max_value=2000
            )
        use_units(self, units)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if cleaned.get("outcome") == Outcome.COULD_NOT and not cleaned.get("note"):
            self.add_error("note", _("Say what kept you from it."))
        return cleaned

    def facts_fields(self) -> list[list[forms.BoundField]]:
        """For the page, in rows: the fields about the visit as a whole, but its note."""
        rows = (("happened_on", "done_by", "duty"), ("outcome", "minutes", "evidence"))
        return [[self[name] for name in row] for row in rows]

    def basin_parts(self) -> list[dict[str, Any]]:
        """For the page: each basin with its rows of (judgement, note) fields and its traps' fields."""
        return [
            {
                "basin": basin,
                "rows": [
                    (self[f"j-{basin.pk}-{item}"], self[f"n-{basin.pk}-{item}"])
                    for item in Item
                    if f"j-{basin.pk}-{item}" in self.fields
                ],
                "traps": [
                    (self[f"drop-{trap.pk}"], self[f"litres-{trap.pk}"])
                    for at, trap in self.traps
                    if at == basin
                ],
            }
            for basin in self.basins
        ]

    def facts(self) -> dict[str, Any]:
        """Arguments of `record_visit`. A measured trap that was not judged and not emptied is judged by its drop."""
        data = self.cleaned_data
        who = data["done_by"]
        return {
            "happened_on": data["happened_on"],
            "done_by": Person.objects.get(pk=who[1:]) if who.startswith("p") else None,
            "done_by_agency": Agency.objects.get(pk=who[1:]) if who.startswith("a") else None,
            "duty": data["duty"],
            "outcome": data["outcome"],
            "evidence": data["evidence"],
            "minutes": data["minutes"],
            "note": data["note"],
            "entry_key": data["entry_key"],
            "findings": self._findings(),
            "clean_outs": [
                TakenOut(trap, litres, data.get(f"drop-{trap.pk}"))
                for _basin, trap in self.traps
                if (litres := data.get(f"litres-{trap.pk}"))
            ],
        }

    def _findings(self) -> list[Found]:
        data, found = self.cleaned_data, []
        for basin in self.basins:
            drop_m, emptied = self._trap_of(basin)
            for item in Item:
                judgement = data.get(f"j-{basin.pk}-{item}") or ""
                said = data.get(f"n-{basin.pk}-{item}") or ""
                measured_m = drop_m if item == Item.TRAP else None
                if not judgement and measured_m is not None:
                    judgement = Judgement.GOOD if emptied else rules.judge_trap(measured_m)
                if not judgement and said:
                    judgement = Judgement.WATCH
                if judgement:
                    found.append(Found(item, judgement, basin, said, measured_m))
        return found

    def _trap_of(self, basin: Basin) -> tuple[float | None, bool]:
        """The least drop of the basin's traps, and whether silt was taken out of one."""
        traps = [trap for at, trap in self.traps if at == basin]
        drops = [self.cleaned_data.get(f"drop-{trap.pk}") for trap in traps]
        known = [drop for drop in drops if drop is not None]
        emptied = any(self.cleaned_data.get(f"litres-{trap.pk}") for trap in traps)
        return min(known, default=None), emptied


def _doers(site: Site, *, on: date) -> list:
    """Who may have been there: those who do the work here, volunteers, agencies."""
    at_site = Person.objects.filter(pk__in=_people_at(site, on=on))
    helpers = Person.objects.known().filter(volunteer__isnull=False).exclude(pk__in=at_site)
    agencies = Agency.objects.all()
    does = site.responsibilities.as_of(on).filter(
        role=ResponsibilityRole.DOES, agency__isnull=False
    )
    own = set(does.values_list("agency", flat=True)) | {site.agency_id}
    return [
        ("", _("not known")),
        (_("Of this site"), [(f"p{p.pk}", str(p)) for p in at_site]),
        (
            _("Agencies"),
            [(f"a{a.pk}", a.name) for a in sorted(agencies, key=lambda a: a.pk not in own)],
        ),
        (_("Volunteers"), [(f"p{p.pk}", str(p)) for p in helpers]),
    ]
