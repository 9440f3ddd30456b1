"""Where: sites, their basins, inlets, sediment traps and plantings. Lengths in metres, areas in m²."""

from calendar import monthrange
from datetime import date
from typing import Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Max, Q
from django.utils.translation import gettext_lazy as _

from people.models import Agency
from sites.choices import InletKind, Phase, SourceClass, Stage, Weekday
from stewardship.common.constraints import in_order, not_negative, one_of
from stewardship.common.events import StateEvent
from stewardship.common.foreign import ForeignId

#: Months after acceptance or planting at which the next phase begins (program default, no source).
ESTABLISHING_FROM_MONTH = 12
SETTLED_FROM_MONTH = 24
#: [%] No street is steeper; more is a slip of the pen. Common practice, no source.
STEEPEST_PERCENT = 30


class SiteQuerySet(models.QuerySet["Site"]):
    def known(self) -> Self:
        """All but those found to be another site's second entry."""
        return self.filter(merged_into__isnull=True)

    def built(self, *, on: date) -> Self:
        """Sites that stood, built and not retired, on that day."""
        return self.filter(built_on__lte=on).filter(
            Q(retired_on__isnull=True) | Q(retired_on__gt=on)
        )

    def of_agencies(self, agencies: models.QuerySet[Agency]) -> Self:
        """Sites on ground that one of these agencies owns."""
        return self.filter(agency__in=agencies)

    def with_youngest(self, *, on: date) -> Self:
        """Annotates `youngest`: the day of the latest acceptance or replanting among the site's basins, until `on`."""
        until = Q(basins__phase_from__lte=on)
        return self.annotate(youngest=Max("basins__phase_from", filter=until))

    def in_phase(self, phase: str, *, on: date) -> Self:
        """Sites whose youngest planting is in that phase on the day; the same rule as `phase_on`."""
        year_ago, two_years_ago = (
            months_before(on, ESTABLISHING_FROM_MONTH),
            months_before(on, SETTLED_FROM_MONTH),
        )
        young = Q(youngest__isnull=True) | Q(youngest__gt=year_ago)
        settled = Q(youngest__lte=two_years_ago)
        wanted = {Phase.SETTLING_IN: young, Phase.SETTLED: settled}.get(
            Phase(phase), ~young & ~settled
        )
        return self.with_youngest(on=on).filter(wanted)


class Site(models.Model):
    """One frontage: the unit of responsibility."""

    code = models.SlugField(_("site code"), max_length=16, unique=True)
    street = models.CharField(_("street"), max_length=120)
    address = models.CharField(
        _("nearest address"),
        max_length=200,
        help_text=_("A strip has no address of its own; name the nearest one."),
    )
    lat = models.FloatField(
        _("latitude"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-90), MaxValueValidator(90)],
    )
    lon = models.FloatField(
        _("longitude"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
    )
    stage = models.CharField(_("stage"), max_length=12, choices=Stage, default=Stage.PROPOSED)
    agency = models.ForeignKey(
        Agency,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="sites",
        verbose_name=_("agency that owns the ground"),
    )
    source_class = models.CharField(
        _("what the street drains"), max_length=12, choices=SourceClass, default=SourceClass.QUIET
    )
    collection_weekday = models.PositiveSmallIntegerField(
        _("trash collection day"), choices=Weekday, null=True, blank=True
    )
    cart_litres = models.PositiveSmallIntegerField(_("cart size (L)"), null=True, blank=True)
    built_on = models.DateField(_("built"), null=True, blank=True)
    retired_on = models.DateField(_("retired"), null=True, blank=True)

    merged_into = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="merged_from",
        verbose_name=_("the same site as"),
    )

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            one_of("stage", Stage.values, name="site_stage_known"),
            one_of("source_class", SourceClass.values, name="site_source_class_known"),
            models.CheckConstraint(
                condition=Q(lat__isnull=True, lon__isnull=True)
                | Q(
                    # said outright, since a comparison with null passes a check constraint
                    lat__isnull=False,
                    lon__isnull=False,
                    lat__gte=-90,
                    lat__lte=90,
                    lon__gte=-180,
                    lon__lte=180,
                ),
                name="site_place_both_or_neither",
            ),
            models.CheckConstraint(
                condition=Q(stage__in=[Stage.BUILT, Stage.RETIRED]) | Q(built_on__isnull=True),
                name="site_built_day_only_when_built",
            ),
            models.CheckConstraint(
                condition=~Q(stage=Stage.BUILT) | Q(built_on__isnull=False),
                name="site_built_has_a_day",
            ),
            models.CheckConstraint(
                condition=Q(stage=Stage.RETIRED, retired_on__isnull=False)
                | (~Q(stage=Stage.RETIRED) & Q(retired_on__isnull=True)),
                name="site_retired_iff_day",
            ),
            in_order("built_on", "retired_on", name="site_days_in_order"),
            models.CheckConstraint(
                condition=Q(merged_into__isnull=True)
                | (Q(stage=Stage.RETIRED) & ~Q(merged_into=models.F("pk"))),
                name="site_merged_is_retired",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} · {self.address}"

    @property
    def has_place(self) -> bool:
        return self.lat is not None and self.lon is not None

    def phase(self, *, on: date) -> str:
        """The phase of the youngest planting among the site's basins on that day; what was replanted later does not count."""
        starts = [b.phase_from for b in self.basins.all() if b.phase_from and b.phase_from <= on]
        return phase_on(max(starts), on=on) if starts else Phase.SETTLING_IN


def months_before(day: date, months: int) -> date:
    """The same day so many months earlier; the last of the month where that day does not exist."""
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def phase_on(started: date, *, on: date) -> str:
    """The phase, on a day, of a planting accepted or replanted on `started`."""
    months = (on.year - started.year) * 12 + on.month - started.month - (on.day < started.day)
    if months < ESTABLISHING_FROM_MONTH:
        return Phase.SETTLING_IN
    return Phase.ESTABLISHING if months < SETTLED_FROM_MONTH else Phase.SETTLED


class SiteEvent(StateEvent):
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="events")

    @property
    def stage_words(self) -> str:
        return str(Stage(self.became).label)


class Parcel(models.Model):
    """A lot of the assessor's map, as numbered for a time: lots are split, joined and renumbered."""

    number = models.CharField(_("parcel number"), max_length=60)
    county = models.CharField(_("county"), max_length=80, blank=True)
    since = models.DateField(_("numbered so since"), null=True, blank=True)
    until = models.DateField(_("until"), null=True, blank=True)

    class Meta:
        ordering = ["county", "number"]
        constraints = [
            models.CheckConstraint(condition=~Q(number=""), name="parcel_has_a_number"),
            models.UniqueConstraint(fields=["county", "number"], name="parcel_number_once"),
            in_order("since", "until", name="parcel_days_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.number}, {self.county}" if self.county else self.number


class SiteParcel(models.Model):
    """That a site lies along a parcel, and with what share of its frontage."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="along")
    parcel = models.ForeignKey(Parcel, on_delete=models.PROTECT, related_name="along")
    share_percent = models.PositiveSmallIntegerField(
        _("share of the frontage (%)"), null=True, blank=True
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["site", "parcel"], name="site_along_parcel_once"),
            models.CheckConstraint(
                condition=Q(share_percent__isnull=True)
                | Q(share_percent__gte=1, share_percent__lte=100),
                name="site_parcel_share_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.parcel}"


class SiteExternalId(ForeignId):
    """What somebody else's list calls this site, or one basin of it."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="external_ids")
    basin = models.ForeignKey(
        "Basin", null=True, blank=True, on_delete=models.CASCADE, related_name="external_ids"
    )

    class Meta(ForeignId.Meta):
        constraints = [
            models.UniqueConstraint(fields=["kept_by", "value"], name="site_external_id_means_one"),
        ]


class Basin(models.Model):
    """One planted hollow, with the street that drains to it."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="basins")
    label = models.CharField(_("label"), max_length=24, default="A")
    bottom_area_m2 = models.FloatField(_("bottom area (m²)"))
    top_area_m2 = models.FloatField(_("area at the lip (m²)"))
    depth_m = models.FloatField(_("depth to the lip (m)"))
    lip_length_m = models.FloatField(_("length of the lip (m)"), default=0.6)
    soak_mm_h = models.FloatField(
        _("soaking-in rate (mm/h)"), help_text=_("Measured, or the design rate.")
    )
    paved_m2 = models.FloatField(_("paved catchment (m²)"))
    planted_catchment_m2 = models.FloatField(_("unpaved catchment (m²)"), default=0)
    unpaved_curve_number = models.FloatField(_("curve number of the unpaved part"), default=77)
    phase_from = models.DateField(_("accepted or replanted"), null=True, blank=True)
    #: what was typed for each measure, e.g. {"depth_m": "8 in"}; the columns hold it in SI
    typed = models.JSONField(_("as typed"), default=dict, blank=True, editable=False)

    class Meta:
        ordering = ["site", "label"]
        constraints = [
            models.UniqueConstraint(fields=["site", "label"], name="basin_label_once_per_site"),
            models.CheckConstraint(
                condition=Q(
                    bottom_area_m2__gt=0, top_area_m2__gte=models.F("bottom_area_m2"), depth_m__gt=0
                ),
                name="basin_has_a_shape",
            ),
            models.CheckConstraint(
                condition=Q(
                    paved_m2__gte=0,
                    planted_catchment_m2__gte=0,
                    soak_mm_h__gte=0,
                    lip_length_m__gt=0,
                ),
                name="basin_sizes_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(unpaved_curve_number__gt=0, unpaved_curve_number__lte=100),
                name="basin_curve_number_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code} {self.label}"


class Inlet(models.Model):
    """A curb cut (width × height) or curb core (diameter) that lets street runoff into a basin."""

    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="inlets")
    kind = models.CharField(_("kind"), max_length=12, choices=InletKind)
    width_m = models.FloatField(_("opening width or diameter (m)"))
    height_m = models.FloatField(_("opening height (m)"), null=True, blank=True)
    #: where both are known, water is taken to run past the opening; else to stand before it
    gutter_slope_percent = models.FloatField(_("slope along the gutter (%)"), null=True, blank=True)
    cross_slope_percent = models.FloatField(
        _("slope of the street toward the curb (%)"), null=True, blank=True
    )
    typed = models.JSONField(_("as typed"), default=dict, blank=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(gutter_slope_percent__isnull=True, cross_slope_percent__isnull=True)
                | Q(
                    gutter_slope_percent__isnull=False,
                    gutter_slope_percent__gt=0,
                    gutter_slope_percent__lte=STEEPEST_PERCENT,
                    cross_slope_percent__isnull=False,
                    cross_slope_percent__gt=0,
                    cross_slope_percent__lte=STEEPEST_PERCENT,
                ),
                name="inlet_slopes_both_or_neither",
            ),
            models.CheckConstraint(
                condition=Q(
                    kind=InletKind.CURB_CUT, width_m__gt=0, height_m__isnull=False, height_m__gt=0
                )
                | Q(kind=InletKind.CURB_CORE, width_m__gt=0, height_m__isnull=True),
                name="inlet_has_the_sizes_of_its_kind",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} · {self.basin}"


class SedimentTrap(models.Model):
    """The unplanted pit inside an inlet that catches silt."""

    inlet = models.OneToOneField(Inlet, on_delete=models.PROTECT, related_name="trap")
    length_m = models.FloatField(_("length (m)"))
    width_m = models.FloatField(_("width (m)"))
    depth_m = models.FloatField(_("depth (m)"))
    lip_below_inlet_m = models.FloatField(
        _("lip below the inlet bottom (m)"),
        help_text=_("2–3 in is usual; a lip at or above the inlet keeps water out."),
    )
    typed = models.JSONField(_("as typed"), default=dict, blank=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(length_m__gt=0, width_m__gt=0, depth_m__gt=0), name="trap_has_a_shape"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.inlet.basin}"


class Planting(models.Model):
    """Plants of one kind in a basin and how tall they stood when last measured."""

    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="plantings")
    species = models.CharField(_("plant"), max_length=80)
    count = models.PositiveSmallIntegerField(_("how many"))
    height_m = models.FloatField(_("height (m)"))
    measured_on = models.DateField(_("measured"))

    class Meta:
        ordering = ["height_m", "species"]
        constraints = [not_negative("height_m", name="planting_height_not_negative")]

    def __str__(self) -> str:
        return f"{self.count} × {self.species}"
