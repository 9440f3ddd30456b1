"""The demo's past as the care services would have written it, kept in memory and saved in one go.

Three years through the services, one storm and visit at a time, would take minutes. The decisions are made by the same rules
(`care.rules`); only the writing is done in bulk. The last days of the story do go through the services (present.py).
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from people.models import Agency, Person, User
from sites.models import Site, phase_on
from stewardship.agreements.choices import ResponsibilityRole
from stewardship.agreements.models import Responsibility
from stewardship.care import rules
from stewardship.care.choices import (
    NEEDS_WORK,
    AnswerKind,
    DutyState,
    Item,
    Judgement,
    NeedsPerson,
    Trigger,
)
from stewardship.care.models import (
    Answer,
    CareRule,
    CleanOut,
    Duty,
    DutyEvent,
    Finding,
    HandOnStep,
    Visit,
)
from stewardship.care.services import Found, TakenOut
from stewardship.management.demo.days import Days
from stewardship.rain.models import SiteRain
from stewardship.rain.times import last_day, local_day


class Ledger:
    """Duties, visits and what came of them, until they are saved."""

    def __init__(self, days: Days, sites: Iterable[Site]) -> None:
        self.days = days
        self.rules = {(rule.trigger, rule.phase): rule for rule in CareRule.objects.on(days.today)}
        self.list_days = HandOnStep.objects.get(action="coordinator", ends_on=None).after_days
        self.duties: list[Duty] = []
        self.rains: list[tuple[Duty, SiteRain]] = []
        self.events: list[DutyEvent] = []
        self.visits: list[Visit] = []
        self.findings: list[Finding] = []
        self.clean_outs: list[CleanOut] = []
        self.answers: list[Answer] = []
        self.found_on: list[tuple[Duty, Visit]] = []
        self.open: dict[int, list[Duty]] = defaultdict(list)
        self.looked_on: dict[int, date] = {}
        self.phases = {
            site.pk: [basin.phase_from for basin in site.basins.all() if basin.phase_from]
            for site in sites
        }
        self.does: dict[int, list[Responsibility]] = defaultdict(list)
        held = Responsibility.objects.filter(role=ResponsibilityRole.DOES)
        for row in held.select_related("person", "agency").order_by("starts_on", "pk"):
            self.does[row.site_id].append(row)

    def owed_by(self, site: Site, on: date) -> Responsibility | None:
        """As `care.services.book.owed_on`: persons before agencies, the longest first."""
        held = [
            row
            for row in self.does[site.pk]
            if row.starts_on <= on and (row.ends_on is None or row.ends_on > on)
        ]
        return min(held, key=lambda row: row.agency_id is not None, default=None)

    def open_at(self, site: Site, *triggers: str) -> Duty | None:
        return next((duty for duty in self.open[site.pk] if duty.trigger in triggers), None)

    # -- duties open ---------------------------------------------------------------------------------------
    def weigh(self, site: Site, rain: SiteRain, *, on: date) -> None:
        """A storm's rain at a site opens a duty, joins the open one, or asks nothing."""
        ended_on = last_day(rain.storm.end_s, self.days.tz)
        rule = self._rule(Trigger.AFTER_RAIN, site, ended_on)
        verdict = rules.weigh(
            depth_um=rain.depth_um,
            sureness=rain.sureness,
            least_depth_um=rule.least_depth_um or 0,
            storm_greatest_um=rain.storm.greatest_um,
        )
        looked_since = self.looked_on.get(site.pk, date.min) > ended_on
        if verdict not in (rules.Verdict.DUE, rules.Verdict.POSSIBLE) or looked_since:
            return
        duty = self.open_at(site, Trigger.AFTER_RAIN)
        if duty is None:
            duty = self._new(site, Trigger.AFTER_RAIN, "Opened after rain", on, rule=rule)
        else:
            self._note(duty, "Another storm joined", on)
        self.rains.append((duty, rain))
        rains = [one for owed, one in self.rains if owed is duty]
        ended = [last_day(one.storm.end_s, self.days.tz) for one in rains]
        duty.reason = {"rains": [self._told(one) for one in rains]}
        duty.due_on = rules.due_day(
            rains=ended,
            opened_on=duty.opened_on,
            within_days=(duty.rule or rule).due_within_days,
        )

    def round(self, site: Site, *, on: date) -> None:
        """A look by calendar, where the last one is too long ago and none is due anyway."""
        if self.open_at(site, Trigger.AFTER_RAIN, Trigger.CALENDAR):
            return
        rule = self._rule(Trigger.CALENDAR, site, on)
        starts = [day for day in self.phases[site.pk] if day <= on]
        last_look = max([self.looked_on.get(site.pk, date.min), built_day(site), *starts])
        if rules.calendar_due(last_look=last_look, every_days=rule.every_days or 0, on=on):
            duty = self._new(site, Trigger.CALENDAR, "Due by calendar", on, rule=rule)
            duty.due_on = on + timedelta(days=rule.due_within_days)
            duty.reason = {"every_days": rule.every_days, "last_look": last_look.isoformat()}

    def put_late_on_list(self, *, on: date) -> None:
        """What nobody has answered for so many days comes onto the coordinator's list."""
        for duties in self.open.values():
            for duty in duties:
                if (on - duty.opened_on).days == self.list_days:
                    duty.needs_person_since, duty.needs_person_why = on, NeedsPerson.NO_ANSWER
                    self._note(duty, str(NeedsPerson.NO_ANSWER.label), on)

    def _rule(self, trigger: str, site: Site, on: date) -> CareRule:
        starts = [day for day in self.phases[site.pk] if day <= on]
        return self.rules[trigger, phase_on(max(starts, default=built_day(site)), on=on)]

    def _new(self, site: Site, trigger: str, why: str, on: date, **fields: Any) -> Duty:
        duty = Duty(
            site=site,
            trigger=trigger,
            state=DutyState.OPEN,
            opened_on=on,
            due_on=on,
            owed_by=self.owed_by(site, on),
            **fields,
        )
        self.duties.append(duty)
        self.open[site.pk].append(duty)
        self._note(duty, why, on, was="")
        return duty

    def _note(
        self, duty: Duty, why: str, on: date, *, was: str | None = None, by: User | None = None
    ) -> None:
        self.events.append(
            DutyEvent(
                duty=duty,
                was=duty.state if was is None else was,
                became=duty.state,
                why=why,
                at=self.days.at(on, 18),
                by=by,
            )
        )

    def _told(self, rain: SiteRain) -> dict[str, Any]:
        """A storm in a duty's reason, as the services write it."""
        return {
            "storm": rain.storm_id,
            "revision": rain.storm_revision,
            "from": local_day(rain.storm.start_s, self.days.tz).isoformat(),
            "day": last_day(rain.storm.end_s, self.days.tz).isoformat(),
            "depth_um": rain.depth_um,
            "sureness": rain.sureness,
            "sources": [{"gauge": s["gauge"], "weight": s["weight"]} for s in rain.sources],
        }

    # -- people come ---------------------------------------------------------------------------------------
    def visit(
        self,
        site: Site,
        *,
        on: date,
        at: datetime,
        person: Person | None = None,
        agency: Agency | None = None,
        duty: Duty | None = None,
        answered: bool = False,
        findings: Iterable[Found] = (),
        clean_outs: Iterable[TakenOut] = (),
        **fields: Any,
    ) -> Visit:
        """Somebody was there: duties are met, and what was found wanting opens follow-ups."""
        findings, clean_outs = list(findings), list(clean_outs)
        visit = Visit(
            site=site,
            duty=duty,
            done_by=person,
            done_by_agency=agency,
            happened_on=on,
            entered_at=at,
            **fields,
        )
        self.visits.append(visit)
        self.findings += [
            Finding(
                visit=visit,
                basin=found.basin,
                item=found.item,
                judgement=found.judgement,
                note=found.note,
                measured_m=found.measured_m,
            )
            for found in findings
        ]
        self.clean_outs += [
            CleanOut(visit=visit, trap=out.trap, litres=out.litres, drop_before_m=out.drop_before_m)
            for out in clean_outs
        ]
        for one in list(self.open[site.pk]):
            if self._met(one, visit, findings, clean_outs):
                others = one.owed_by and person and one.owed_by.person_id != person.pk
                self.close(one, DutyState.MET, "Done by others" if others else "Done", on=on)
        self.looked_on[site.pk] = on
        for found in findings:
            if found.judgement in NEEDS_WORK:
                self._follow_up(visit, found)
        if answered and duty and person:
            self.answers.append(
                Answer(
                    duty=duty,
                    person=person,
                    kind=AnswerKind.DONE,
                    about_on=on,
                    note=visit.note,
                    visit=visit,
                    at=at,
                )
            )
        return visit

    def close(self, duty: Duty, state: str, why: str, *, on: date, by: User | None = None) -> None:
        was, duty.state, duty.closed_on = duty.state, state, on
        self.open[duty.site_id].remove(duty)
        self._note(duty, why, on, was=was, by=by)

    def nobody_any_more(self, site: Site, *, on: date) -> None:
        """Open duties of a site whose responsible party has gone."""
        for duty in self.open[site.pk]:
            duty.owed_by = self.owed_by(site, on)
            self._note(duty, "Nobody is responsible any more", on)

    def _met(
        self, duty: Duty, visit: Visit, findings: list[Found], clean_outs: list[TakenOut]
    ) -> bool:
        if duty.trigger == Trigger.AFTER_RAIN:
            newest = max(rain["day"] for rain in duty.reason["rains"])
            return rules.meets_rain(
                happened_on=visit.happened_on, last_rain=date.fromisoformat(newest)
            )
        if duty.trigger == Trigger.CALENDAR:
            return True
        item, label = duty.reason["item"], duty.reason["basin"]
        good = any(
            found.item == item
            and (found.basin.label if found.basin else "") == label
            and found.judgement in (Judgement.GOOD, Judgement.WATCH)
            for found in findings
        )
        emptied = item == Item.TRAP and any(
            out.trap.inlet.basin.label == label for out in clean_outs
        )
        return good or emptied

    def _follow_up(self, visit: Visit, found: Found) -> None:
        label, on = found.basin.label if found.basin else "", visit.happened_on
        for duty in self.open[visit.site_id]:
            if (duty.reason.get("item"), duty.reason.get("basin")) == (found.item, label):
                self._note(duty, "Seen again on a visit", on)
                return
        duty = self._new(visit.site, Trigger.FINDING, "Found wanting on a visit", on)
        duty.due_on = on + timedelta(days=rules.FINDING_DUE_DAYS[found.judgement])
        duty.reason = {
            "item": found.item,
            "judgement": found.judgement,
            "basin": label,
            "note": found.note,
            "day": on.isoformat(),
        }
        self.found_on.append((duty, visit))

    # -- into the book -------------------------------------------------------------------------------------
    def save(self) -> None:
        Duty.objects.bulk_create(self.duties)
        through = Duty.storms.through
        through.objects.bulk_create(
            through(duty=duty, storm=rain.storm) for duty, rain in self.rains
        )
        Visit.objects.bulk_create(self.visits)
        for duty, visit in self.found_on:
            duty.reason["visit"] = visit.pk
        Duty.objects.bulk_update([duty for duty, _visit in self.found_on], ["reason"])
        DutyEvent.objects.bulk_create(self.events)
        Finding.objects.bulk_create(self.findings)
        CleanOut.objects.bulk_create(self.clean_outs)
        Answer.objects.bulk_create(self.answers)


def built_day(site: Site) -> date:
    assert site.built_on, f"{site.code} was never built"
    return site.built_on
