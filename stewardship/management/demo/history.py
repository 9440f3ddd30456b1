"""Three years of care, told day by day: it rains, duties open, people come, late, or not at all."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

from people.models import Agency, Person
from sites.models import Site
from stewardship.care.choices import DutyState, Evidence, Trigger
from stewardship.care.models import CareRule, Duty
from stewardship.care.services import Found
from stewardship.management.demo import read_table
from stewardship.management.demo.days import Days
from stewardship.management.demo.findings import inspected, seen
from stewardship.management.demo.habits import HELP_DAYS, Care, cares_by_site, luck
from stewardship.management.demo.ledger import Ledger, built_day
from stewardship.management.demo.silt import Silt
from stewardship.management.demo.where import Where
from stewardship.management.demo.who import Who
from stewardship.rain.models import SiteRain
from stewardship.rain.times import last_day

INSPECT_DAYS = 170  # between two inspections of a site
EXCUSE_DAYS = 8  # after which the coordinator lets a duty pass
NOTES = {
    "en": (
        "",
        "",
        "",
        "Two bags of leaves.",
        "Raked the rock back to the lip.",
        "Hardly any silt this time.",
        "Water had gone by morning.",
        "Pulled the runners off the walk and laid them back.",
    ),
    "es": (
        "",
        "",
        "",
        "Dos bolsas de hojas.",
        "Acomodé las piedras del borde.",
        "Casi no había lodo.",
        "Por la mañana ya no había agua.",
    ),
}


@dataclass(frozen=True, slots=True)
class Doer:
    """Who comes: a person, or an agency's crew."""

    person: Person | None = None
    agency: Agency | None = None


class History:
    """The story until the day before `until`; its ledger is saved by the caller."""

    def __init__(self, days: Days, who: Who, where: Where, *, until: date) -> None:
        self.days, self.who, self.until = days, who, until
        self.sites = [site for site in where.sites.values() if site.built_on]
        self.by_pk = {site.pk: site for site in self.sites}
        self.cares = cares_by_site(days)
        self.silt = Silt(days, self.sites)
        self.ledger = Ledger(days, self.sites)
        self.plans: dict[date, list[Callable[[], None]]] = defaultdict(list)
        self.rain_of_day: dict[date, list[SiteRain]] = defaultdict(list)
        self.planned = 0
        self.day = days.first

    def tell(self) -> Ledger:
        self._plan_ahead()
        self._sort_rain()
        while self.day < self.until:
            for rain in self.rain_of_day[self.day - timedelta(days=1)]:
                self.ledger.weigh(self.by_pk[rain.site_id], rain, on=self.day)
            for site in self.sites:
                if self._stands(site):
                    self.ledger.round(site, on=self.day)
            self._plan_responses()
            for act in self.plans[self.day]:
                act()
            self.ledger.put_late_on_list(on=self.day)
            self.day += timedelta(days=1)
        return self.ledger

    def _stands(self, site: Site) -> bool:
        return built_day(site) <= self.day and not (site.retired_on and site.retired_on <= self.day)

    def _sort_rain(self) -> None:
        """Only rain that reached the lowest rule can make anything due."""
        after_rain = CareRule.objects.on(self.days.today).filter(trigger=Trigger.AFTER_RAIN)
        rains = SiteRain.objects.filter(
            storm__withdrawn_at=None,
            depth_um__gte=min(rule.least_depth_um or 0 for rule in after_rain),
        )
        for rain in rains.select_related("storm").order_by("storm__start_s", "site"):
            self.rain_of_day[last_day(rain.storm.end_s, self.days.tz)].append(rain)

    # -- what is known to come -----------------------------------------------------------------------------
    def _plan_ahead(self) -> None:
        sold = {
            row["sites"]: self.days.months_ago(row["ended_months_ago"])
            for row in read_table("agreements")
            if row["ended_months_ago"]
        }
        for site in self.sites:
            if site.retired_on:
                self.plans[site.retired_on].append(partial(self._give_up, site))
            elif site.code in sold:
                gone = partial(self.ledger.nobody_any_more, site, on=sold[site.code])
                self.plans[sold[site.code]].append(gone)
            day = built_day(site) + timedelta(days=luck("inspect", site.code).randint(25, 120))
            while day < (site.retired_on or self.until):
                self.plans[day].append(partial(self._inspect, site))
                day += timedelta(days=INSPECT_DAYS)

    def _give_up(self, site: Site) -> None:
        for duty in list(self.ledger.open[site.pk]):
            self.ledger.close(
                duty,
                DutyState.WITHDRAWN,
                "The basin was taken out",
                on=self.day,
                by=self.who.coordinator,
            )

    def _inspect(self, site: Site) -> None:
        """The coordinator, or on the streets' ground their permit desk, looks at everything and takes nothing out."""
        self.ledger.visit(
            site,
            on=self.day,
            at=self.days.at(self.day, 16),
            person=self.who.people["ottley-ruth" if site.agency_id else "solano-maren"],
            evidence=Evidence.INSPECTED,
            minutes=20,
            entered_by=self.who.coordinator,
            findings=inspected(site, self.silt.of_site(site, self.day), on=self.day),
        )

    # -- what follows from a duty --------------------------------------------------------------------------
    def _plan_responses(self) -> None:
        for duty in self.ledger.duties[self.planned :]:
            care = self._care(duty.site)
            habit, die = care.habit, luck(duty.site.code, duty.trigger, self.day)
            if die.random() < habit.share:
                on = self.day + timedelta(days=die.randint(habit.soonest, habit.latest))
                doer = self._doer(die.choice(care.does))
                self.plans[on].append(partial(self._respond, duty, doer, own=True))
                continue
            if die.random() < habit.helped or (duty.trigger == Trigger.FINDING and not habit.left):
                on = self.day + timedelta(days=die.randint(*HELP_DAYS))
                named = [key for key in care.does if self._helps(key)]
                doer = self._doer(die.choice(named or self._helpers()))
                self.plans[on].append(partial(self._respond, duty, doer, own=False))
            elif not habit.left:
                on = self.day + timedelta(days=EXCUSE_DAYS)
                self.plans[on].append(partial(self._excuse, duty))
        self.planned = len(self.ledger.duties)

    def _care(self, site: Site) -> Care:
        return [care for care in self.cares[site.code] if care.since <= self.day][-1]

    def _doer(self, key: str) -> Doer:
        if key in self.who.agencies:
            return Doer(agency=self.who.agencies[key])
        return Doer(person=self.who.people[key])

    def _helps(self, key: str) -> bool:
        """Whether that is a crew, or a volunteer who had joined and not left."""
        if key in self.who.agencies:
            return True
        helper = getattr(self.who.people[key], "volunteer", None)
        return bool(
            helper
            and helper.joined_on <= self.day
            and (helper.left_on is None or helper.left_on > self.day)
        )

    def _helpers(self) -> list[str]:
        return [key for key in self.who.people if self._helps(key)]

    def _respond(self, duty: Duty, doer: Doer, *, own: bool) -> None:
        """Somebody comes, unless it was looked after meanwhile."""
        if duty.state != DutyState.OPEN:
            return
        site, die = duty.site, luck("visit", duty.site.code, self.day)
        photo = die.random() < (0.5 if doer.agency else 0.3)
        taken = self.silt.taken_out(site, self.day)
        self.ledger.visit(
            site,
            on=self.day,
            at=self.days.at(self.day, 18),
            person=doer.person,
            agency=doer.agency,
            duty=duty,
            answered=own,
            evidence=Evidence.PHOTO if photo else Evidence.REPORTED,
            minutes=10 + 5 * die.randint(0, 6) + 10 * len(taken),
            note=die.choice(NOTES[doer.person.language if doer.person else "en"]),
            findings=self._found(duty, photo),
            clean_outs=taken,
        )

    def _found(self, duty: Duty, photo: bool) -> list[Found]:
        """What was seen; after a finding, that it is good again."""
        if duty.trigger == Trigger.FINDING:
            label = duty.reason["basin"]
            basin = next((b for b in duty.site.basins.all() if b.label == label), None)
            return [Found(item=duty.reason["item"], judgement="good", basin=basin)]
        if not photo:
            return []
        return seen(duty.site, self.silt.of_site(duty.site, self.day), on=self.day)

    def _excuse(self, duty: Duty) -> None:
        if duty.state == DutyState.OPEN:
            self.ledger.close(
                duty,
                DutyState.EXCUSED,
                "Away for two weeks and nobody free to stand in; the inlet was open",
                on=self.day,
                by=self.who.coordinator,
            )
