"""The sentences of an evidence file that are the same in each."""

from joulebook.evidence.raw import RawReadings

NO_ADVICE = (
    "This file holds measurements and what was computed from them. It is no legal advice, no "
    "opinion of an expert, and no statement of the maker or the installer. What a warranty covers "
    "is decided by its own words."
)

NOT_A_TEST = (
    "The capacity was measured in daily use by voltage, current and temperature at the battery's "
    "terminals, not in a laboratory. The battery's own state of charge and state of health are "
    "listed beside it and were used nowhere: they are the battery's own belief."
)

CAUTIONS = (
    "A battery stores energy that no switch removes, and direct current draws arcs that do not go "
    "out by themselves. Nobody needs to open an enclosure to check this file.",
    "Any measurement at the equipment is for a qualified person, locked out, under the local code "
    "and the maker's instructions.",
)

NOT_KNOWN = (
    "Whether the current sensor counts all charge up to 1 % too high or too low: the readings "
    "cannot tell. Fade and health do not suffer from it, the ampere-hours do, and their interval "
    "allows for it.",
    "Single cells: only the pack's terminals were measured, and the highest and lowest cell where "
    "the battery reports them.",
    "What happened before the first reading, between making and installation, and in the gaps "
    "that the table of coverage lists.",
    "Whether the sensors were calibrated: nothing in the readings says so.",
    "Whether the readings were true when they came. The chain shows changes after a day was "
    "sealed, two days later; it cannot show what a wrong sensor or a false one sent.",
    "A turn for the worse that has not begun: no reading shows it.",
)

CHAIN = (
    "Two days after a day has ended its readings are sealed, and a SHA-256 sum of them goes into a "
    "chain in which each link holds the sum of the one before. A reading that is changed later no "
    "longer fits its link, and a link that is changed no longer fits those after it. Readings that "
    "came late make a new link; the old one stays. Who can write to the database could make a "
    "whole new chain: what speaks against that is an older head of it in somebody else's hands, in "
    "an earlier evidence file, a letter or a signed page. Give check.py the folder of an earlier "
    "file, and it looks whether this chain continues that one."
)

METHODS = (
    "Each number names the method that made it and the method's version. The methods are "
    "described, with formula, inputs, interval, sources and known errors, in the pages "
    "docs/methods/ of the program joulebook, whose source is open."
)


def how_to_check() -> tuple[str, ...]:
    """Return the steps by which anybody checks the file."""
    return (
        "Unpack the ZIP file into a folder of its own.",
        "With Python 3.10 or newer and numpy (pip install numpy), run in that folder: "
        "python check.py",
        "It compares every file with manifest.txt, follows the chain, compares the readings with "
        "it, and works capacity, fade, cycles, heat and round trip out anew from the tables, by a "
        "program of its own. It ends with status 0 where all agrees. Who changes numbers could "
        "change it too: where that matters, take check.py and the four check_*.py from the program "
        "joulebook.",
        "Without Python: sha256sum --check manifest.txt compares the files, and nights.csv can be "
        "followed by hand or in a spreadsheet: charge drawn, by the share of the battery that lies "
        "between full and the state that the rest voltage means (curve.csv).",
    )


def what_is_in(raw: RawReadings) -> tuple[tuple[str, str], ...]:
    """Return the files and what each holds."""
    if not raw.series:
        readings = "none: the battery has sent no numbers"
    elif raw.whole:
        readings = "every reading of the battery, as it came"
    else:
        readings = (
            f"every reading of the battery from {str(raw.begins)[:10]} on, as it came; older ones "
            "are too many for one file: ask for `joulebook export` of the days in question, whose "
            "sums are in the chain"
        )
    return (
        ("evidence.pdf", "this file for people"),
        ("check.py and four check_*.py", "check all of it"),
        ("manifest.txt", "SHA-256 sums of all files"),
        ("results.json", "every result, the headline first"),
        ("days.csv", "the numbers of each local day"),
        ("nights.csv", "every full charge and what was drawn after it, with what it implies"),
        ("segments.csv", "energy and charge from full charge to full charge"),
        ("analysed.csv", "what the analysis was made of: corrected, averaged to minutes or more"),
        ("offset.csv", "what the current sensor shows at no current"),
        ("curve.csv", "rest voltage of a cell against its state of charge, as used"),
        ("readings.csv", readings),
        ("chain.csv", "the chain of sealed days"),
        ("events.csv, corrections.csv, deep-tests.csv", "what the owner said, taken back or not"),
        ("photos.csv, photo-N.jpg", "photos of events, made smaller, with what each shows"),
        ("sign-off-N.json", "what was signed off, to the character"),
    )
