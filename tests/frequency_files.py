"""Small files in the layout in which NOAA Atlas 14 publishes the frequencies of one point. All figures are invented."""

from collections.abc import Callable

YEARS = "1,2,5,10,25,50,100,200,500,1000"
CHANCES = "'1/2,'1/5,'1/10,'1/25,'1/50,'1/100,'1/200,'1/500,'1/1000"
#: inches by duration; made up, so that 60-min is 0.50, 0.70, 1.00, 1.25, 1.60, 1.90, 2.20, 2.50, 3.00, 3.40
SHARES = {
    "5-min": 0.30,
    "10-min": 0.44,
    "15-min": 0.56,
    "30-min": 0.80,
    "60-min": 1.00,
    "2-hr": 1.16,
    "3-hr": 1.22,
    "6-hr": 1.40,
    "12-hr": 1.60,
    "24-hr": 1.80,
    "2-day": 2.00,
    "3-day": 2.20,
}
HOUR_IN = (0.50, 0.70, 1.00, 1.25, 1.60, 1.90, 2.20, 2.50, 3.00, 3.40)
HOURS = {"5-min": 1 / 12, "10-min": 1 / 6, "15-min": 0.25, "30-min": 0.5, "60-min": 1.0}
HOURS |= {"2-hr": 2, "3-hr": 3, "6-hr": 6, "12-hr": 12, "24-hr": 24, "2-day": 48, "3-day": 72}


def table_file(
    *,
    unit: str = "inches",
    annual: bool = False,
    lat: str = "34.5210 Degree",
    lon: str = "-106.2440 Degree",
    source: str = "NOAA Atlas 14 Volume 1 Version 5",
    place: str = "Palo Azul, New Mexico, USA",
    bounds: bool = False,
    change: Callable[[str], str] = lambda text: text,
) -> str:
    """The whole file, and what `change` makes of it. Metric figures are printed in whole millimetres."""
    metric, hourly = unit.startswith("millimeters"), unit.endswith("/hour")

    def printed(share: float, hours: float, hour_in: float) -> str:
        value = share * hour_in * (25.4 if metric else 1) / (hours if hourly else 1)
        return f"{value:.0f}" if metric else f"{value:.3f}"

    def block(times: float) -> list[str]:
        heading = f"AEP:, {CHANCES}" if annual else f"ARI (years):, {YEARS}"
        columns = HOUR_IN[1:] if annual else HOUR_IN
        rows = [
            f"{name}:, " + ",".join(printed(share * times, HOURS[name], one) for one in columns)
            for name, share in SHARES.items()
        ]
        return [f"by duration for {heading}", *rows, ""]

    lines = [
        f"Point precipitation frequency estimates ({unit})",
        source,
        f"Data type: Precipitation {'intensity' if hourly else 'depth'}",
        f"Time series type: {'Annual maximum' if annual else 'Partial duration'}",
        "Project area: Invented",
        f"Location name (ESRI Maps): {place}",
        "Station Name: None",
        f"Latitude: {lat}",
        f"Longitude: {lon}",
        "Elevation (USGS): None None",
        "",
        "",
        "PRECIPITATION FREQUENCY ESTIMATES",
        *block(1),
    ]
    if bounds:
        for name, times in (("UPPER", 1.2), ("LOWER", 0.8)):
            lines += [
                f"PRECIPITATION FREQUENCY ESTIMATES AT {name} BOUND OF 90% CONFIDENCE INTERVAL",
                *block(times),
            ]
    lines += ["Date/time (GMT):  Wed Jul 15 18:00:00 2026", "pyRunTime:  0.01"]
    return change("\n".join(lines) + "\n")


def row(name: str, becomes: str) -> Callable[[str], str]:
    """A change of one row of the first block."""

    def change(text: str) -> str:
        old = next(line for line in text.splitlines() if line.startswith(f"{name}:"))
        return text.replace(old, becomes, 1)

    return change


def swap(old: str, new: str) -> Callable[[str], str]:
    return lambda text: text.replace(old, new, 1)


def cut_before(start: str) -> Callable[[str], str]:
    """The file as it is when it breaks off before a line."""
    return lambda text: text[: text.index(f"\n{start}") + 1]


OUTSIDE = (
    "result = 'none';\nErrorMsg =  'Error 3.0: Selected location is not within a project area';\n"
)
WEB_PAGE = (
    "<!DOCTYPE html>\n<html><body><p>Point precipitation frequency estimates</p></body></html>\n"
)

ZERO_FIVE = "5-min:, 0,0.05,0.06,0.07,0.08,0.09,0.10,0.11,0.12,0.13"
FALLING = "60-min:, 0.500,0.700,0.650,1.25,1.60,1.90,2.20,2.50,3.00,3.40"
SHORT = "60-min:, 0.500,0.700"
WORD = "60-min:, 0.500,some,1.00,1.25,1.60,1.90,2.20,2.50,3.00,3.40"
LESS_IN_TWO_HOURS = "2-hr:, 0.400,0.600,0.90,1.15,1.50,1.80,2.10,2.40,2.90,3.30"

#: what is wrong: (the file, the fault, the line that is to blame)
BROKEN: dict[str, tuple[str, str, int]] = {
    "nothing in it": ("", "EMPTY", 0),
    "blank lines only": ("\n \n\n", "EMPTY", 0),
    "a web page": (WEB_PAGE, "WEB_PAGE", 0),
    "the answer for a place outside the coverage": (OUTSIDE, "OUTSIDE", 0),
    "readings of a gauge": ("time,depth\n2026-07-14 16:15,0.02\n", "OTHER", 0),
    "no unit": (table_file(change=swap(" (inches)", "")), "UNIT", 1),
    "an unknown unit": (table_file(change=swap("(inches)", "(furlongs)")), "UNIT", 1),
    "a unit that fits no intensity": (
        table_file(change=swap("Precipitation depth", "Precipitation intensity")),
        "UNIT",
        0,
    ),
    "no source": (
        table_file(change=swap("NOAA Atlas 14 Volume 1 Version 5\n", "")),
        "OTHER",
        0,
    ),
    "no latitude": (table_file(lat="None"), "PLACE", 0),
    "a longitude off the globe": (table_file(lon="-1906.2 Degree"), "PLACE", 0),
    "a bound of the estimates only": (
        table_file(
            change=swap(
                "PRECIPITATION FREQUENCY ESTIMATES",
                "PRECIPITATION FREQUENCY ESTIMATES AT UPPER BOUND OF 90% CONFIDENCE INTERVAL",
            )
        ),
        "BOUND",
        13,
    ),
    "no table at all": (table_file(change=cut_before("PRECIPITATION")), "HEADING", 0),
    "years that fall": (table_file(change=swap("1,2,5,10", "1,5,2,10")), "HEADING", 14),
    "chances turned into dates": (
        table_file(annual=True, change=swap("'1/5", "5-Jan")),
        "HEADING",
        14,
    ),
    "broken off in the middle of a row": (table_file(change=row("60-min", SHORT)), "SHORT", 19),
    "broken off between two rows": (table_file(change=cut_before("24-hr")), "MISSING", 0),
    "a word for a depth": (table_file(change=row("60-min", WORD)), "NUMBER", 19),
    "a depth below zero": (
        table_file(change=row("60-min", WORD.replace("some", "-9.0"))),
        "NUMBER",
        19,
    ),
    "a row that is none": (table_file(change=swap("60-min", "sixty")), "ROW", 19),
    "a row twice": (table_file(change=swap("2-hr", "60-min")), "ROW", 20),
    "a rarer rain that is smaller": (table_file(change=row("60-min", FALLING)), "ORDER", 19),
    "every rain the same": (
        table_file(change=row("60-min", "60-min:, " + ",".join(["0.50"] * 10))),
        "ORDER",
        19,
    ),
    "less rain in a longer time": (
        table_file(change=row("2-hr", LESS_IN_TWO_HOURS)),
        "ORDER",
        20,
    ),
}
