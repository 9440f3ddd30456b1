"""When what is due, who was told, what really happened: rules, duties, reminders, answers, visits, findings."""

from datetime import date
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q, Subquery
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Agency, Person
from sites.choices import Phase
from sites.models import Basin, SedimentTrap, Site
from stewardship.agreements.models import Responsibility
from stewardship.care.choices import (
    AnswerKind,
    CheckReason,
    DutyState,
    Evidence,
    HandOnAction,
    Item,
    Judgement,
    NeedsPerson,
    Outcome,
    RainAsk,
    RainDecision,
    Trigger,
)
from stewardship.common.constraints import in_order, not_negative, one_of
from stewardship.common.events import StateEvent
from stewardship.outbox.models import Message
from stewardship.rain.models import Storm


class CareRuleQuerySet(models.QuerySet["CareRule"]):
    def on(self, day: date) -> Self:
        """Rules in effect on that day."""
        return self.filter(starts_on__lte=day).filter(Q(ends_on__isnull=True) | Q(ends_on__gt=day))


class CareRule(models.Model):
    """When a duty falls due at sites in one phase. Rules carry dates; a changed rule does not reopen the past."""

    trigger = models.CharField(_("trigger"), max_length=12, choices=Trigger)
    phase = models.CharField(_("phase"), max_length=12, choices=Phase)
    least_depth_um = models.PositiveIntegerField(
        _("least rain at the site (µm)"),
        null=True,
        blank=True,
        help_text=_("For after-rain rules."),
    )
    every_days = models.PositiveSmallIntegerField(
        _("every how many days"), null=True, blank=True, help_text=_("For calendar rules.")
    )
    due_within_days = models.PositiveSmallIntegerField(_("due within days"), default=5)
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until"), null=True, blank=True)
    source = models.CharField(_("where this comes from"), max_length=200, blank=True)

    objects = CareRuleQuerySet.as_manager()

    class Meta:
        ordering = ["trigger", "phase", "starts_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    trigger=Trigger.AFTER_RAIN, least_depth_um__gt=0, every_days__isnull=True
                )
                | Q(trigger=Trigger.CALENDAR, every_days__gt=0, least_depth_um__isnull=True),
                name="care_rule_fits_its_trigger",
            ),
            models.UniqueConstraint(
                fields=["trigger", "phase"],
                condition=Q(ends_on__isnull=True),
                name="care_rule_open_once",
            ),
            in_order("starts_on", "ends_on", name="care_rule_days_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.get_trigger_display()}, {self.get_phase_display()}"


class HandOnStep(models.Model):
    """The next step, so many days after a duty opened, when nobody has acted. Set per program, dated."""

    action = models.CharField(_("step"), max_length=16, choices=HandOnAction)
    after_days = models.PositiveSmallIntegerField(_("days after the duty opened"))
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until"), null=True, blank=True)

    class Meta:
        ordering = ["after_days"]
        constraints = [
            one_of("action", HandOnAction.values, name="hand_on_action_known"),
            models.UniqueConstraint(
                fields=["action"], condition=Q(ends_on__isnull=True), name="hand_on_step_open_once"
            ),
            in_order("starts_on", "ends_on", name="hand_on_days_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.after_days} d: {self.get_action_display()}"


class DutyQuerySet(models.QuerySet["Duty"]):
    def open(self) -> Self:
        return self.filter(state=DutyState.OPEN)

    def late(self, *, on: date) -> Self:
        """Open duties whose day has passed."""
        return self.open().filter(due_on__lt=on)

    def without_anybody(self) -> Self:
        """Open duties that nobody in force owes."""
        return self.open().filter(owed_by__isnull=True)

    def needing_a_person(self) -> Self:
        """Open duties on the coordinator’s list."""
        return self.open().filter(needs_person_since__isnull=False)

    def with_latest(self) -> Self:
        """With `told_at` and `told_status` of the latest letter, and `answer_kind` and `answer_at` of the latest answer."""
        told = Reminder.objects.filter(duty=OuterRef("pk")).order_by("-made_at", "-pk")
        answered = Answer.objects.filter(duty=OuterRef("pk")).order_by("-at", "-pk")
        return self.annotate(
            told_at=Subquery(told.values("made_at")[:1]),
            told_status=Subquery(told.values("message__status")[:1]),
            answer_kind=Subquery(answered.values("kind")[:1]),
            answer_at=Subquery(answered.values("at")[:1]),
        )


class Duty(models.Model):
    """One dated obligation at one site. A later storm joins the open after-rain duty instead of making a second."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="duties")
    trigger = models.CharField(_("trigger"), max_length=12, choices=Trigger)
    state = models.CharField(_("state"), max_length=12, choices=DutyState, default=DutyState.OPEN)
    rule = models.ForeignKey(
        CareRule, null=True, blank=True, on_delete=models.PROTECT, related_name="duties"
    )
    storms = models.ManyToManyField(
        Storm, blank=True, related_name="duties", verbose_name=_("storms")
    )
    opened_on = models.DateField(_("opened"))
    due_on = models.DateField(_("due"))
    #: Why, as data; `words.reason_text` says it. After rain {"rains": [{"day", "from", "depth_um", "sureness", "storm",
    #: "revision", "sources": [{"gauge", "weight"}]}]}, days in ISO form; by calendar {"every_days", "last_look"}; after a
    #: finding {"item", "judgement", "basin", "note", "day", "visit"}.
    reason = models.JSONField(_("reason"), default=dict)
    owed_by = models.ForeignKey(
        Responsibility,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="duties",
        verbose_name=_("owed by"),
    )
    closed_on = models.DateField(_("closed"), null=True, blank=True)
    needs_person_since = models.DateField(
        _("on the coordinator’s list since"), null=True, blank=True
    )
    needs_person_why = models.CharField(_("why"), max_length=12, choices=NeedsPerson, blank=True)

    objects = DutyQuerySet.as_manager()

    class Meta:
        verbose_name_plural = _("duties")
        ordering = ["due_on", "pk"]
        constraints = [
            one_of("trigger", Trigger.values, name="duty_trigger_known"),
            one_of("state", DutyState.values, name="duty_state_known"),
            in_order("opened_on", "due_on", name="duty_due_not_before_opened"),
            models.CheckConstraint(
                condition=Q(needs_person_since__isnull=True, needs_person_why="")
                | Q(needs_person_since__isnull=False, needs_person_why__in=NeedsPerson.values),
                name="duty_needs_person_iff_why",
            ),
            models.CheckConstraint(
                condition=Q(state=DutyState.OPEN, closed_on__isnull=True)
                | (~Q(state=DutyState.OPEN) & Q(closed_on__isnull=False)),
                name="duty_closed_iff_day",
            ),
            models.UniqueConstraint(
                fields=["site", "trigger"],
                condition=Q(
                    state=DutyState.OPEN, trigger__in=[Trigger.AFTER_RAIN, Trigger.CALENDAR]
                ),
                name="duty_one_open_per_trigger",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.get_trigger_display()}, {self.due_on}"


class DutyEvent(StateEvent):
    duty = models.ForeignKey(Duty, on_delete=models.CASCADE, related_name="events")

    @property
    def became_words(self) -> str:
        return DutyState(self.became).label


class Reminder(models.Model):
    """That one person is told about one duty, once per round (1 first, 2 second, 3 agency contact, 4 … by hand)."""

    duty = models.ForeignKey(Duty, on_delete=models.PROTECT, related_name="reminders")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="reminders")
    round = models.PositiveSmallIntegerField(_("round"), default=1)
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="reminders")
    made_at = models.DateTimeField(_("made"), default=timezone.now)
    came_back_on = models.DateField(_("found undelivered"), null=True, blank=True)

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["duty", "person", "round"], name="reminder_once_per_round"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.duty}"


class VisitQuerySet(models.QuerySet["Visit"]):
    def looks(self, *, until: date) -> Self:
        """Visits up to that day on which somebody really saw the site: not one where every finding says "not seen"."""
        seen = Finding.objects.filter(visit=OuterRef("pk"))
        return self.filter(outcome=Outcome.DONE, happened_on__lte=until).filter(
            ~Exists(seen) | Exists(seen.exclude(judgement=Judgement.NOT_SEEN))
        )


class Visit(models.Model):
    """What happened at a site: who did it, when it happened, when it was written down. Done by is not owed by."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    duty = models.ForeignKey(
        Duty, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    done_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    done_by_agency = models.ForeignKey(
        Agency, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    happened_on = models.DateField(_("happened"))
    entered_at = models.DateTimeField(_("entered"), default=timezone.now)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.CharField(_("outcome"), max_length=12, choices=Outcome, default=Outcome.DONE)
    evidence = models.CharField(
        _("evidence"), max_length=12, choices=Evidence, default=Evidence.REPORTED
    )
    minutes = models.PositiveSmallIntegerField(_("minutes"), null=True, blank=True)
    note = models.TextField(_("note"), blank=True)
    #: made with the form; the same form sent twice is one visit
    entry_key = models.UUIDField(null=True, blank=True, unique=True, editable=False)

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["-happened_on", "-pk"]
        constraints = [
            one_of("outcome", Outcome.values, name="visit_outcome_known"),
            one_of("evidence", Evidence.values, name="visit_evidence_known"),
            models.CheckConstraint(
                condition=Q(done_by__isnull=True) | Q(done_by_agency__isnull=True),
                name="visit_person_or_agency",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.happened_on}"


class Finding(models.Model):
    """One observation on a visit, judged."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="findings")
    basin = models.ForeignKey(
        Basin, null=True, blank=True, on_delete=models.PROTECT, related_name="findings"
    )
    item = models.CharField(_("item"), max_length=12, choices=Item)
    judgement = models.CharField(_("judgement"), max_length=12, choices=Judgement)
    measured_m = models.FloatField(
        _("measured (m)"),
        null=True,
        blank=True,
        help_text=_("Of a trap: from the inlet bottom down to the silt."),
    )
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            not_negative("measured_m", name="finding_measure_not_negative"),
            one_of("item", Item.values, name="finding_item_known"),
            one_of("judgement", Judgement.values, name="finding_judgement_known"),
            models.UniqueConstraint(
                fields=["visit", "basin", "item"], name="finding_once_per_basin_item"
            ),
            models.UniqueConstraint(
                fields=["visit", "item"],
                condition=Q(basin__isnull=True),
                name="finding_once_per_site_item",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_item_display()}: {self.get_judgement_display()}"


class CleanOut(models.Model):
    """Silt taken out of a sediment trap on a visit."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="clean_outs")
    trap = models.ForeignKey(SedimentTrap, on_delete=models.PROTECT, related_name="clean_outs")
    litres = models.FloatField(_("litres taken out"))
    drop_before_m = models.FloatField(
        _("inlet bottom down to the silt, before (m)"), null=True, blank=True
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "trap"], name="clean_out_once_per_visit"),
            models.CheckConstraint(condition=Q(litres__gt=0), name="clean_out_took_something"),
            not_negative("drop_before_m", name="clean_out_drop_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.litres:g} L"

    @property
    def m3(self) -> float:
        return self.litres / 1000


class Answer(models.Model):
    """What a person answered, about a day: the day it was done, else the day of the answer. The latest counts; all stay."""

    duty = models.ForeignKey(Duty, on_delete=models.PROTECT, related_name="answers")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="answers")
    kind = models.CharField(_("answer"), max_length=12, choices=AnswerKind)
    about_on = models.DateField(_("about the day"))
    note = models.TextField(_("note"), blank=True)
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="answers"
    )
    at = models.DateTimeField(_("when"), default=timezone.now)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            one_of("kind", AnswerKind.values, name="answer_kind_known"),
            models.UniqueConstraint(
                fields=["duty", "person", "kind", "about_on"], name="answer_once_per_kind_and_day"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_kind_display()}"


class ContactCheckQuerySet(models.QuerySet["ContactCheck"]):
    def open(self) -> Self:
        return self.filter(closed_at__isnull=True)


class ContactCheck(models.Model):
    """A job for the coordinator: find out who and where somebody is now."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="contact_checks")
    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="contact_checks"
    )
    reason = models.CharField(_("reason"), max_length=12, choices=CheckReason)
    note = models.TextField(_("note"), blank=True)
    opened_at = models.DateTimeField(_("opened"), default=timezone.now)
    closed_at = models.DateTimeField(_("closed"), null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.CharField(_("what was found out"), max_length=300, blank=True)
    objects = ContactCheckQuerySet.as_manager()

    class Meta:
        ordering = ["opened_at"]
        constraints = [
            one_of("reason", CheckReason.values, name="contact_check_reason_known"),
            models.UniqueConstraint(
                fields=["person", "site", "reason"],
                condition=Q(closed_at__isnull=True, site__isnull=False),
                name="contact_check_open_once_per_site",
            ),
            models.UniqueConstraint(
                fields=["person", "reason"],
                condition=Q(closed_at__isnull=True, site__isnull=True),
                name="contact_check_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_reason_display()}"


class RainQuestionQuerySet(models.QuerySet["RainQuestion"]):
    def open(self) -> Self:
        return self.filter(decided_at__isnull=True)


class RainQuestion(models.Model):
    """Late or unknown rain that no rule acts on by itself: a person decides, once."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="rain_questions")
    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="rain_questions")
    duty = models.ForeignKey(
        Duty, null=True, blank=True, on_delete=models.PROTECT, related_name="rain_questions"
    )
    ask = models.CharField(_("question"), max_length=12, choices=RainAsk)
    storm_revision = models.PositiveIntegerField(_("of storm revision"))
    asked_at = models.DateTimeField(_("asked"), default=timezone.now)
    decided_at = models.DateTimeField(_("decided"), null=True, blank=True)
    decision = models.CharField(_("decision"), max_length=12, choices=RainDecision, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.CharField(_("note"), max_length=300, blank=True)

    objects = RainQuestionQuerySet.as_manager()

    class Meta:
        ordering = ["-storm__end_s", "site", "pk"]
        constraints = [
            one_of("ask", RainAsk.values, name="rain_question_known"),
            models.CheckConstraint(
                condition=Q(decided_at__isnull=True, decision="")
                | Q(decided_at__isnull=False, decision__in=RainDecision.values),
                name="rain_question_decided_iff_time",
            ),
            models.CheckConstraint(
                condition=~Q(ask=RainAsk.NEEDLESS) | Q(duty__isnull=False),
                name="rain_question_needless_names_duty",
            ),
            models.UniqueConstraint(
                fields=["site", "storm"],
                condition=Q(decided_at__isnull=True),
                name="rain_question_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.get_ask_display()}"
