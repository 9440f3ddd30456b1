"""The last days of the demo's story, through the services themselves: the sweep once a morning, and what people answered."""

from datetime import date, timedelta

from sites.models import Site
from stewardship.care import services as care
from stewardship.care.choices import AnswerKind, Evidence, Trigger
from stewardship.care.models import ContactCheck, Duty, DutyEvent
from stewardship.management.demo import read_table
from stewardship.management.demo.days import Days
from stewardship.management.demo.letters import record_sent
from stewardship.management.demo.silt import Silt
from stewardship.management.demo.where import Where
from stewardship.management.demo.who import Who
from stewardship.outbox.choices import Channel, Status
from stewardship.outbox.models import Message, MessageEvent
from stewardship.rain.models import SiteRain
from stewardship.rain.times import local_s

PARTS = 8  # of the sweep of duties; one that fails is left out of what it returns
SWEPT_AT = 9, 30  # hour and minute
DONE_AT = 18, 30
PRINTED_DAYS = 3  # letters on paper of the last days still wait for somebody to print them
BOUNCES = "thane.bellwood@example.org"


class Present:
    """The days from `since` until yesterday; what is due today is left to the real sweep."""

    def __init__(self, days: Days, who: Who, where: Where, *, since: date, silt: Silt) -> None:
        self.days, self.who, self.where, self.silt = days, who, where, silt
        self.day = since
        self.acts = read_table("last_days")

    def tell(self) -> None:
        while self.day < self.days.today:
            self._sweep()
            self._send()
            for row in self.acts:
                if self.days.ago(int(row["days_ago"])) == self.day:
                    self._act(row, self.where.sites[row["site"]])
            self._date(*DONE_AT)
            self.day += timedelta(days=1)

    def _sweep(self) -> None:
        """What the sweep does on that morning, knowing only the rain until then."""
        midnight_s = local_s(self.day, self.days.tz)
        SiteRain.objects.filter(
            storm__end_s__gt=midnight_s - 86_400, storm__end_s__lte=midnight_s
        ).update(weighed_at=None)
        done = care.sweep(at=self.days.at(self.day, *SWEPT_AT))
        assert len(done) == PARTS, f"a part of the sweep failed on {self.day}: {done}"
        self._date(*SWEPT_AT)
        if self.day < self.days.ago(1):
            # A letter that took in a further duty is due at the real hour; in the story it was that morning.
            at = self.days.at(self.day, *SWEPT_AT)
            Message.objects.filter(status=Status.QUEUED, queued_at=at).update(due_at=at)

    def _send(self) -> None:
        """Letters go out; one comes back; the latest ones on paper wait."""
        due = Message.objects.filter(
            status=Status.QUEUED, due_at__lte=self.days.at(self.day, *DONE_AT)
        )
        for message in due:
            if message.to_address == BOUNCES:
                self._bounce(message)
            elif message.channel != Channel.LETTER or self.day < self.days.ago(PRINTED_DAYS):
                record_sent(message, days=self.days)

    def _bounce(self, message: Message) -> None:
        message.status, message.tries = Status.FAILED, 1
        message.error, message.error_code = "550 5.1.1 There is no such mailbox", "5.1.1"
        message.save(update_fields=["status", "tries", "error", "error_code"])
        MessageEvent.objects.create(
            message=message, was=Status.QUEUED, became=Status.FAILED, why=message.error
        )

    def _act(self, row: dict[str, str], site: Site) -> None:
        """What this row of fixtures/last_days.csv says that somebody did."""
        duty = Duty.objects.open().filter(site=site, trigger=Trigger.AFTER_RAIN).get()
        minutes = int(row["minutes"]) if row["minutes"] else None
        at = self.days.at(self.day, *DONE_AT)
        if row["act"] in AnswerKind.values:
            care.record_answer(
                duty=duty,
                person=self.who.people[row["who"]],
                kind=row["act"],
                minutes=minutes,
                note=row["note"],
                at=at,
            )
            return
        crew = self.who.agencies.get(row["who"])
        care.record_visit(
            site=site,
            happened_on=self.day,
            done_by=None if crew else self.who.people[row["who"]],
            done_by_agency=crew,
            duty=duty,
            evidence=Evidence.PHOTO if crew else Evidence.REPORTED,
            minutes=minutes,
            note=row["note"],
            clean_outs=self.silt.taken_out(site, self.day),
            at=at,
            by=self.who.coordinator if row["act"] == "paper" else None,
        )

    def _date(self, hour: int, minute: int) -> None:
        """What the services have just written was written at that hour of the day."""
        at = self.days.at(self.day, hour, minute)
        self.days.backdate(DutyEvent.objects.all(), at)
        self.days.backdate(MessageEvent.objects.all(), at)
        self.days.backdate(Message.objects.all(), at, "queued_at")
        self.days.backdate(ContactCheck.objects.all(), at, "opened_at")
