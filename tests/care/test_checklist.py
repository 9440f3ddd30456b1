"""Checklists: only what a site has, only what the storm makes likely."""

from stewardship.care import words
from stewardship.care.checklist import (
    BasinFacts,
    Bring,
    Caution,
    Do,
    Plant,
    SiteFacts,
    Water,
    after_finding,
    after_rain,
    by_calendar,
    silt_plan,
)

GRAMA, WILLOW = Plant("blue grama", 0.12), Plant("desert willow", 1.6)
FULL = BasinFacts("A", ("curb_cut",), traps=1, plants=(GRAMA, WILLOW))
BARE = BasinFacts("B", ("curb_core",))


def does(checklist):
    return [task.do for task in checklist.tasks]


def test_a_basin_without_trap_or_plants_is_asked_for_neither():
    checklist = after_rain(
        SiteFacts((BARE,)), {"B": Water(greatest_depth_m=0.2, spilled_m3=0.0, hours_to_drain=1.0)}
    )
    assert does(checklist) == [Do.CURB_CORE, Do.LITTER]
    assert Bring.BUCKETS not in checklist.bring
    assert Caution.THORNS not in checklist.cautions
    assert checklist.silt is None


def test_only_plants_lower_than_the_water_stood_are_named():
    # Plants that stood under water hold debris: common practice, no source.
    checklist = after_rain(SiteFacts((FULL,)), {"A": Water(greatest_depth_m=0.18)})
    (brush,) = [task for task in checklist.tasks if task.do is Do.PLANTS]
    assert brush.plants == ("blue grama",)
    assert Bring.BRUSH in checklist.bring
    shallow = after_rain(SiteFacts((FULL,)), {"A": Water(greatest_depth_m=0.10)})
    assert Do.PLANTS not in does(shallow)


def test_the_spillway_is_looked_at_only_when_water_ran_over_it():
    dry = after_rain(SiteFacts((FULL,)), {"A": Water(greatest_depth_m=0.1, spilled_m3=0)})
    wet = after_rain(SiteFacts((FULL,)), {"A": Water(greatest_depth_m=0.2, spilled_m3=0.5)})
    assert Do.SPILLWAY not in does(dry)
    assert Do.SPILLWAY in does(wet)
    assert wet.minutes > dry.minutes


def test_water_that_stands_longer_than_a_day_is_to_be_reported():
    # 24 h: at acceptance of works, Toronto region's construction checklist for bioretention.
    for water, asked in [
        (Water(hours_to_drain=24.0), False),
        (Water(hours_to_drain=31.0), True),
        (Water(drains=False), True),
    ]:
        assert (Do.STANDING in does(after_rain(SiteFacts((FULL,)), {"A": water}))) is asked


def test_a_basin_whose_water_is_not_known_gets_what_rain_always_brings():
    assert does(after_rain(SiteFacts((FULL,)), {})) == [Do.CURB_CUT, Do.TRAP, Do.LITTER]


def test_tasks_name_the_basin_only_where_there_are_several():
    waters = {"A": Water(spilled_m3=1.0), "B": Water(spilled_m3=0.0)}
    one = after_rain(SiteFacts((FULL,)), waters)
    two = after_rain(SiteFacts((FULL, BARE)), waters)
    assert next(task for task in one.tasks if task.do is Do.SPILLWAY).basins == ()
    spillway = next(task for task in two.tasks if task.do is Do.SPILLWAY)
    assert words.task_text(spillway, "us").startswith("Basin A: Water ran over the lip")


def test_silt_below_a_hot_spot_is_left_to_a_crew():
    # Silt of busy or spill-prone streets can hold metals and oil: routing by source class is the program's own rule.
    site = SiteFacts((FULL,), source_class="hot_spot", cart_litres=363)
    checklist = after_rain(site, {})
    assert Do.TRAP_CREW in does(checklist) and Do.TRAP not in does(checklist)
    assert Bring.BUCKETS not in checklist.bring and Bring.TROWEL not in checklist.bring
    assert Caution.SILT in checklist.cautions and Caution.LIFTING not in checklist.cautions
    assert checklist.silt is not None and checklist.silt.route == "crew"
    assert "Do not handle it" in words.silt_text(checklist.silt)


def test_a_small_cart_takes_a_third_of_loose_soil_and_a_fifth_of_wet_sand():
    # A third and a fifth: common practice, no source. 32 gal = 121.1 L; half of a 5-gal bucket = 9.46 L:
    # 121.1 / 3 / 9.46 = 4.27 and 121.1 / 5 / 9.46 = 2.56, rounded down.
    plan = silt_plan(SiteFacts((FULL,), cart_litres=121.1, collection_weekday=2))
    assert (plan.loose_buckets, plan.wet_sand_buckets) == (4, 2)
    assert "Wednesday" in words.silt_text(plan)


def test_a_big_cart_is_bound_by_the_weight_it_may_hold():
    # 175 lb = 79.4 kg is the lowest cart limit in published city rules (two Texas cities). 96 gal = 363 L would take
    # 121 L by its third; at 1.6 kg/L (damp silt, from memory) 79.4 kg are 49.6 L: 5 half buckets, not 12.
    plan = silt_plan(SiteFacts((FULL,), cart_litres=363.4))
    assert plan.loose_buckets == 5
    assert plan.loose_buckets * 9.46 * 1.6 <= 175 * 0.45359237


def test_without_a_known_cart_one_is_told_to_ask_first():
    assert "ask us" in words.silt_text(silt_plan(SiteFacts((FULL,))))


def test_no_silt_sentence_ever_sends_it_to_the_street_or_the_drain():
    for site in (SiteFacts((FULL,)), SiteFacts((FULL,), cart_litres=363)):
        assert "Never into the street, a drain or a vegetable bed." in words.silt_text(
            silt_plan(site)
        )


def test_every_checklist_carries_the_cautions():
    for checklist in (
        after_rain(SiteFacts((FULL,)), {}),
        by_calendar(SiteFacts((FULL,))),
        after_finding(SiteFacts((FULL,)), item="inlet"),
    ):
        said = " ".join(words.caution_texts(checklist.cautions))
        for needed in ("traffic", "running water", "lightning", "heat", "Needles", "local rules"):
            assert needed in said


def test_lifting_and_thorns_are_cautioned_where_there_is_silt_to_lift_or_a_plant():
    cautions = after_rain(SiteFacts((FULL,)), {}).cautions
    assert Caution.LIFTING in cautions and Caution.THORNS in cautions


def test_digging_sprays_nests_and_sight_lines_are_cautioned_where_the_work_touches_them():
    # Marking before digging, licensed sprays, nests, sight triangles: common practice, no source; local code decides.
    def said(checklist):
        return " ".join(words.caution_texts(checklist.cautions))

    calendar = said(by_calendar(SiteFacts((FULL,))))
    for needed in ("underground lines marked", "No pesticides", "nests", "corners and driveways"):
        assert needed in calendar
        assert needed in said(after_finding(SiteFacts((FULL,)), item="plants"))
    brushed = after_rain(SiteFacts((FULL,)), {"A": Water(greatest_depth_m=0.18)})
    assert "nests" in said(brushed) and "No pesticides" in said(brushed)
    litter_only = said(after_rain(SiteFacts((BARE,)), {}))
    assert "pesticides" not in litter_only and "underground" not in litter_only


def test_a_calendar_look_asks_for_weeds_and_the_sidewalk_edge():
    assert {Do.WEEDS, Do.EDGE} <= set(does(by_calendar(SiteFacts((FULL,)))))


def test_a_follow_up_says_what_was_found():
    checklist = after_finding(SiteFacts((FULL,)), item="spillway", note="two rocks have rolled off")
    assert words.task_texts(checklist, "us") == ["Spillway and rock: two rocks have rolled off"]


def test_quantities_follow_the_programs_units():
    checklist = after_rain(SiteFacts((FULL,)), {"A": Water(greatest_depth_m=0.18)})
    us, metric = (" ".join(words.task_texts(checklist, units)) for units in ("us", "metric"))
    assert "Less than 2\u00a0in?" in us and "7.1 in deep" in us
    assert "Less than 5\u00a0cm?" in metric and "18.0 cm deep" in metric


def test_two_basins_that_need_the_same_are_told_once():
    twins = SiteFacts((FULL, BasinFacts("B", ("curb_cut",), traps=1, plants=(GRAMA,))))
    water = Water(greatest_depth_m=0.18, hours_to_drain=31.0)
    checklist = after_rain(twins, {"A": water, "B": water})
    assert does(checklist).count(Do.PLANTS) == 1
    assert does(checklist).count(Do.STANDING) == 1
    apart = after_rain(twins, {"A": water, "B": Water(greatest_depth_m=0.3)})
    said = " ".join(words.task_texts(apart, "us"))
    assert "Basin A: Brush debris off the blue grama; the water stood about 7.1 in" in said
    assert "Basin B: Brush debris off the blue grama; the water stood about 11.8 in" in said
