"""When what is due, who owes it, who was told, what they answered."""

from datetime import date
from typing import Self

from django.db import models
from django.db.models import Exists, OuterRef, Q, Subquery
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from sites.choices import Phase
from sites.models import Site
from stewardship.agreements.models import Dispute, Responsibility
from stewardship.care import rules
from stewardship.care.choices import (
    AnswerKind,
    DutyState,
    HandOnAction,
    NeedsPerson,
    Trigger,
)
from stewardship.common.constraints import in_order, one_of
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
                    # said outright, since a comparison with null passes a check constraint
                    trigger=Trigger.AFTER_RAIN,
                    least_depth_um__isnull=False,
                    least_depth_um__gt=0,
                    every_days__isnull=True,
                )
                | Q(
                    trigger=Trigger.CALENDAR,
                    every_days__isnull=False,
                    every_days__gt=0,
                    least_depth_um__isnull=True,
                ),
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
        """Open duties whose day has passed, but those of sites where something is disputed: their clocks stand still."""
        disputed = Dispute.objects.open(on=on).filter(site=OuterRef("site"))
        return self.open().filter(~Exists(disputed), due_on__lt=on)

    def without_anybody(self) -> Self:
        """Open duties that nobody in force owes."""
        return self.open().filter(owed_by__isnull=True)

    def needing_a_person(self) -> Self:
        """Open duties on the coordinator’s list."""
        return self.open().filter(needs_person_since__isnull=False)

    def with_latest(self) -> Self:
        """With `told_at` and `told_status` of the latest letter, `answer_kind` and `answer_at` of the latest answer, and
        `disputed_since` where the clocks stand still."""
        told = Reminder.objects.filter(duty=OuterRef("pk")).order_by("-made_at", "-pk")
        answered = Answer.objects.filter(duty=OuterRef("pk")).order_by("-at", "-pk")
        disputed = Dispute.objects.filter(site=OuterRef("site"), closed_on=None)
        return self.annotate(
            told_at=Subquery(told.values("made_at")[:1]),
            told_status=Subquery(told.values("message__status")[:1]),
            answer_kind=Subquery(answered.values("kind")[:1]),
            answer_at=Subquery(answered.values("at")[:1]),
            disputed_since=Subquery(disputed.values("opened_on")[:1]),
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
    #: "revision", "sources": [{"gauge", "weight"}], "declared": {"by", "why"}}], "flows": [{"kind", "day", "note"}]}, days in ISO form; by calendar {"every_days", "last_look"}; after a
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

    @property
    def ask_by(self) -> date:
        """By when people are asked to do it: later than `due_on`, which it is judged by, where it rained again since."""
        return rules.ask_day(due_on=self.due_on, newest_rain=max(self.water_days, default=None))

    @property
    def water_days(self) -> list[date]:
        """The last days of its storms, and the days on which water ran besides."""
        told = [*self.reason.get("rains", []), *self.reason.get("flows", [])]
        return [date.fromisoformat(one["day"]) for one in told]

    def get_trigger_display(self) -> str:
        """Its trigger in words; "after rain" only where it rained."""
        if self.reason.get("flows") and not self.reason.get("rains"):
            return str(_("After water ran"))
        return str(Trigger(self.trigger).label)


class DutyEvent(StateEvent):
    duty = models.ForeignKey(Duty, on_delete=models.CASCADE, related_name="events")

    @property
    def became_words(self) -> str:
        return DutyState(self.became).label


class Reminder(models.Model):
    """That one person is told about one duty, once per round (1 first, 2 second, 3 agency contact, 4 … by hand)."""

    duty = models.ForeignKey(Duty, on_delete=models.PROTECT, related_name="reminders")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="reminders")
    agent = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="reminders_for_others",
        verbose_name=_("through whom"),
    )
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
            models.CheckConstraint(
                condition=Q(agent__isnull=True) | ~Q(agent=models.F("person")),
                name="reminder_through_another",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.duty}"


class Answer(models.Model):
    """What a person answered, about a day: the day it was done, else the day of the answer. The latest counts; all stay."""

    duty = models.ForeignKey(Duty, on_delete=models.PROTECT, related_name="answers")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="answers")
    agent = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="answers_for_others",
        verbose_name=_("who answered for them"),
    )
    kind = models.CharField(_("answer"), max_length=12, choices=AnswerKind)
    about_on = models.DateField(_("about the day"))
    note = models.TextField(_("note"), blank=True)
    visit = models.ForeignKey(
        "Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="answers"
    )
    at = models.DateTimeField(_("when"), default=timezone.now)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            one_of("kind", AnswerKind.values, name="answer_kind_known"),
            models.CheckConstraint(
                condition=Q(agent__isnull=True) | ~Q(agent=models.F("person")),
                name="answer_by_another",
            ),
            models.UniqueConstraint(
                fields=["duty", "person", "kind", "about_on"], name="answer_once_per_kind_and_day"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_kind_display()}"
