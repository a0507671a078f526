"""The PDF's parts on the site: what was entered, signed, said, measured and sealed."""

from collections import Counter
from collections.abc import Iterator

from reportlab.platypus import Flowable

from joulebook.evidence import texts
from joulebook.evidence.gathered import Gathered
from joulebook.evidence.pdf.blocks import heading, listed, paragraph, table
from joulebook.evidence.pdf.words import NOT_ENTERED, fixed, moment, percent
from joulebook.evidence.tables import photo_name
from joulebook.storage.sign_offs import SignOff

#: More damaged or changed days than this are counted and not listed.
_MOST_LISTED = 20


def site_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield site, equipment and terms as they were entered."""
    site = gathered.site
    rows: list[tuple[str, object, str]] = [
        ("Site", site.name, ""),
        ("Time zone", site.timezone, ""),
        ("Battery", _joined(site.battery_maker, site.battery_model), ""),
        ("Its serial number", site.battery_serial, ""),
        ("Rated charge", site.battery_ah, "Ah"),
        ("Cells in series", site.battery_cells, ""),
        ("Inverter", _joined(site.inverter_maker, site.inverter_model), ""),
        ("Its serial number", site.inverter_serial, ""),
        ("Inverter's rating", site.inverter_w, "W"),
        ("First ran", site.installed, ""),
        ("Put up by", site.installer, ""),
        ("Handed over", site.commissioned, ""),
        ("Warranty", site.warranty_years, "years"),
        ("Warranted share of rated charge", _percent(site.warranty_floor_ratio), ""),
        ("Warranted energy out", _kwh(site.warranty_throughput_wh), "kWh"),
        ("Charging allowed from", site.charge_low_c, "°C"),
        ("Charging allowed up to", site.charge_high_c, "°C"),
        ("Discharging allowed from", site.discharge_low_c, "°C"),
        ("Discharging allowed up to", site.discharge_high_c, "°C"),
        ("Charge voltage allowed up to", site.charge_max_v, "V"),
    ]
    yield heading("Site, equipment and terms, as the owner entered them")
    yield from table(
        ("What", "Entered"),
        [
            (what, NOT_ENTERED if value is None else f"{value} {unit}".strip())
            for what, value, unit in rows
        ],
        (45, 55),
        width=width,
    )


def signed_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield the commissioning record."""
    yield heading("Signed off")
    yield paragraph(
        "What the checks of wiring and signals said on a day, and who stood for it. The documents "
        "are in this file to the character, under the sums below."
    )
    yield from table(
        ("When", "Who", "What the checks said", "SHA-256"),
        [
            (moment(each.at_ms), f"{each.name}, {each.role}", _verdicts(each), _sum(each))
            for each in gathered.sign_offs
        ],
        (20, 20, 25, 35),
        width=width,
    )


def said_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield what the owner said of the record: events and corrections."""
    yield heading("Events")
    yield from table(
        ("When", "Kind", "What", "Entered", "Taken back"),
        [
            (
                *(moment(each.at_ms), each.kind, each.title),
                *(moment(each.made_ms), moment(each.removed_ms)),
            )
            for each in gathered.events
        ],
        (20, 14, 30, 18, 18),
        width=width,
    )
    if gathered.photos:
        yield from _photos(gathered, width)
    yield heading("Corrections of readings")
    yield paragraph("Readings are never edited: a correction is applied when numbers are computed.")
    yield from table(
        ("Series", "What", "From", "To", "Why", "Withdrawn"),
        [
            (
                f"{each.device}/{each.quantity}",
                each.kind if each.value is None else f"{each.kind} {each.value:g}",
                *(moment(each.from_ms) or "all before", moment(each.to_ms) or "all after"),
                *(each.note, moment(each.withdrawn_ms)),
            )
            for each in gathered.corrections
        ],
        (18, 12, 18, 18, 18, 16),
        width=width,
    )


def _photos(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield which photos there are; the pictures are files beside this one."""
    events = {each.id: each for each in gathered.events}
    yield heading("Photos of events")
    yield paragraph(
        "They lie beside this PDF as they are kept: made smaller, and without what the camera "
        "wrote into them. When one was added is known, and not when it was taken."
    )
    yield from table(
        ("Added", "Event", "Shows", "File", "SHA-256"),
        [
            (
                *(moment(each.made_ms), events[each.event_id].title, each.caption),
                *(photo_name(each), each.sha256),
            )
            for each, _ in gathered.photos
        ],
        (16, 20, 24, 12, 28),
        width=width,
    )


def coverage_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield how much of each year was measured."""
    years: dict[str, list[float]] = {}
    for day in gathered.days:
        years.setdefault(day["date"][:4], []).append(day["coverage_ratio"])
    yield heading("How much was measured")
    yield paragraph(
        "The share of time in which the battery's power was read; days.csv has it day by day."
    )
    yield from table(
        ("Year", "Days of the record", "Measured", "Days below 90 %", "Days without any"),
        [
            (
                *(year, len(shares), percent(sum(shares) / len(shares))),
                sum(share < 0.9 for share in shares),
                sum(share == 0 for share in shares),
            )
            for year, shares in years.items()
        ],
        (16, 24, 20, 20, 20),
        width=width,
    )


def chain_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield the chain's state when the file was made."""
    links = gathered.links
    yield heading("The chain of sealed days")
    yield paragraph(texts.CHAIN)
    if not links:
        yield paragraph("Nothing was sealed yet.")
        return
    days = Counter((link.device, link.day) for link in links)
    yield from table(
        ("What", ""),
        [
            ("Links", len(links)),
            ("Days of devices", len(days)),
            ("Days that were sealed again with late readings", sum(n > 1 for n in days.values())),
            ("Readings in the newest links", _readings(gathered)),
            ("First link sealed", moment(links[0].sealed_ms)),
            ("Last link sealed", moment(links[-1].sealed_ms)),
            ("Head", links[-1].hash.hex()),
        ],
        (35, 65),
        width=width,
    )
    wrong = list(gathered.differing)
    if gathered.broken is not None:
        link = gathered.broken
        wrong.insert(0, f"link {link.number}, {link.device} on {link.day}, does not follow")
    if not wrong:
        yield paragraph("When this file was made, every sealed day was compared with it, and fits.")
        return
    yield paragraph("When this file was made, these did not fit:")
    yield from listed(wrong[:_MOST_LISTED])
    if len(wrong) > _MOST_LISTED:
        yield paragraph(f"And {len(wrong) - _MOST_LISTED} more.")


def _readings(gathered: Gathered) -> str:
    newest = {(link.device, link.day): link.readings for link in gathered.links}
    return fixed(sum(newest.values()), 0)


def _verdicts(signed: SignOff) -> str:
    checks = signed.content().get("checks", {})
    told = checks.get("checks", []) if isinstance(checks, dict) else checks
    counts = Counter(each["verdict"] for each in told)
    return ", ".join(f"{count} {verdict}" for verdict, count in sorted(counts.items()))


def _sum(signed: SignOff) -> str:
    return signed.sha256 if signed.is_whole else f"{signed.sha256}: the document was changed"


def _joined(*words: str | None) -> str | None:
    return " ".join(word for word in words if word) or None


def _percent(ratio: float | None) -> str | None:
    return None if ratio is None else percent(ratio, 0)


def _kwh(energy_wh: float | None) -> str | None:
    return None if energy_wh is None else fixed(energy_wh / 1000, 0)
