"""What the database says about rain, without keys, revisions and moments: equal pictures mean the same storms and site rain."""

from stewardship.rain.models import BasinWater, GaugeStorm, SiteRain, Storm


def picture() -> dict[str, list]:
    return {
        "storms": list(
            Storm.objects.standing()
            .order_by("start_s")
            .values_list("start_s", "end_s", "greatest_um", "coarse")
        ),
        "parts": list(
            GaugeStorm.objects.order_by("gauge__code", "start_s").values_list(
                "gauge__code",
                "storm__start_s",
                "start_s",
                "end_s",
                "depth_um",
                "peak_5min_um",
                "peak_15min_um",
                "peak_30min_um",
                "peak_60min_um",
                "peak_24h_um",
                "dry_before_s",
                "coarse",
            )
        ),
        "rains": list(
            SiteRain.objects.standing()
            .order_by("storm__start_s", "site__code")
            .values_list(
                "storm__start_s",
                "site__code",
                "sureness",
                "depth_um",
                "peak_15min_um",
                "peak_60min_um",
                "sources",
                "left_out",
            )
        ),
        "waters": list(
            BasinWater.objects.filter(site_rain__storm__withdrawn_at__isnull=True)
            .order_by("site_rain__storm__start_s", "basin__site__code", "basin__label")
            .values_list(
                "site_rain__storm__start_s",
                "basin__site__code",
                "basin__label",
                "inflow_m3",
                "passed_by_m3",
                "soaked_m3",
                "spilled_m3",
                "greatest_depth_m",
                "hours_to_drain",
                "coarse",
            )
        ),
    }
