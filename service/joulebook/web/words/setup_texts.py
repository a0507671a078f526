"""The English of the setup: what is asked of an owner, and what is not told without it."""

from joulebook.summaries.warranty import USUAL_FLOOR_RATIO, USUAL_YEARS

#: The pages of the setup: each one's title, and what stands below it.
TOPICS = {
    "site": ("Site and equipment", "{equipment}, in {zone}."),
    "terms": (
        "Terms of the warranty",
        "What the maker promised, and the limits it asks you to keep.",
    ),
    "devices": ("Devices", "Heard of: {devices}."),
    "tokens": ("Tokens", "The secrets by which bridges and programs may write to this site."),
    "tariff": ("Tariff", "What a kilowatt-hour costs, by hour and season."),
    "events": ("Events", "Changes that were noted: {count}. They stand in every picture."),
    "corrections": (
        "Corrections",
        "Corrections in force: {count}. Readings stay as they came.",
    ),
    "sign-off": ("Sign-off", "Last signed on {when} by {name}."),
}
#: What stands below instead while there is nothing.
WITHOUT = {
    "site": "Battery and inverter",
    "devices": "Nothing was heard yet.",
    "sign-off": "The checks, kept as they stand on a day, with a name below them.",
}
#: What is missing then, and what is not told without it.
MISSING_TOPICS = {
    "devices": ("A device that is heard", "without readings nothing can be told"),
    "tariff": ("A tariff", "no amount can be told, of cost or of what was saved"),
    "sign-off": ("A sign-off", "the evidence file has no record of commissioning"),
}

NEW_SITE_LABELS = {"name": "Name", "timezone": "Time zone", "organisation": "Belongs to"}
NO_ORGANISATION = "no organisation"
LOCALE_LABEL = "Numbers and dates as in"
NO_LOCALE = "No region: as each reader's browser asks"
FACT_GROUPS = ("The battery", "The inverter", "Who installed it")
#: What the facts of a site are called, by their fields in storage.
FACT_LABELS = {
    "battery_ah": "Rated charge",
    "battery_cells": "Cells in series",
    "installed": "Battery first ran on",
    "battery_maker": "Battery: maker",
    "battery_model": "Battery: model",
    "battery_serial": "Battery: serial number",
    "inverter_w": "Inverter gives for long",
    "inverter_peak_w": "Inverter gives for some seconds",
    "inverter_maker": "Inverter: maker",
    "inverter_model": "Inverter: model",
    "inverter_serial": "Inverter: serial number",
    "installer": "Installed by",
    "commissioned": "Handed over on",
    "warranty_years": "The warranty lasts",
    "warranty_floor_ratio": "Promised at the warranty's end",
    "warranty_throughput_wh": "Over earlier, after so much energy out",
    "charge_low_c": "Charging: coldest cell",
    "charge_high_c": "Charging: hottest cell",
    "discharge_low_c": "Discharging: coldest cell",
    "discharge_high_c": "Discharging: hottest cell",
    "charge_max_v": "Charging: highest voltage",
}
_SERIALS = "Of several, all of them."
#: What helps to enter them.
FACT_HINTS = {
    "battery_ah": "As on the label or in the data sheet; of packs in parallel, all of them "
    "together.",
    "battery_cells": "16 in most batteries of 48 volts.",
    "battery_serial": _SERIALS,
    "inverter_w": "Its continuous rating.",
    "inverter_peak_w": "Its surge rating: what it may give while something large starts.",
    "inverter_serial": _SERIALS,
    "installer": "A name, or a firm.",
    "warranty_years": "From the day it first ran.",
    "warranty_throughput_wh": "Leave it empty where your terms have no such limit.",
    "charge_max_v": "Of the whole battery, not of a cell.",
}

_HEADROOM = "the room left above the largest starts is not told"
_EVIDENCE = "the evidence file cannot say which one it is about"
#: What each is called where it is missing, and what is not told or is assumed without it.
MISSING_FACTS = {
    "battery_ah": (
        "The battery's rated charge",
        "cycles, capacity and the warranty's share of it are not told",
    ),
    "battery_cells": (
        "Its cells in series",
        "no capacity is measured, for a cell's voltage is what tells it",
    ),
    "installed": (
        "The day it first ran",
        "the warranty is taken to begin with the first reading",
    ),
    "inverter_w": ("What the inverter gives for long", _HEADROOM),
    "inverter_peak_w": ("What it gives for some seconds", _HEADROOM),
    "battery_serial": ("The battery's serial number", _EVIDENCE),
    "inverter_serial": ("The inverter's serial number", _EVIDENCE),
    "warranty_years": ("How long the warranty lasts", f"{USUAL_YEARS:.0f} years are assumed"),
    "warranty_floor_ratio": (
        "What it promises at its end",
        f"{USUAL_FLOOR_RATIO:.0%} of the rated charge are assumed",
    ),
}
MISSING_LIMITS = (
    "Limits of temperature and voltage",
    "the evidence file cannot say whether they were kept",
)

#: What is said after something was saved.
SETUP_DONE = {
    "added": "The site is there. What is missing stands below, and why it matters.",
    "site": "The site and its equipment are saved.",
    "terms": "The terms are saved.",
}
TARIFF_DONE = {
    "added": "The tariff is kept. The page of money is computed with it.",
    "withdrawn": "The tariff is withdrawn. That it was entered stays on record.",
}

#: Days that a row of a tariff can name.
TARIFF_DAYS = {
    "all": "Every day",
    "weekdays": "Monday to Friday, but for listed dates",
    "weekend": "Saturday, Sunday and listed dates",
    "weekend-only": "Saturday and Sunday, but for listed dates",
    "listed": "Listed dates",
}
#: What the fields of a tariff are called, and those of its rows.
TARIFF_LABELS = {
    "currency": "Currency",
    "from": "First day",
    "import": "A kWh bought costs",
    "export": "A kWh sold brings",
    "fixed_per_day": "Fixed fee a day",
    "fixed_per_month": "Fixed fee a month",
    "listed_dates": "Listed dates",
    "note": "Note",
}
TARIFF_ROW_LABELS = {
    "days": "On",
    "from": "From",
    "to": "To",
    "first": "First day of the year",
    "last": "Last day of the year",
    "import": "A kWh bought costs",
    "export": "A kWh sold brings",
}
