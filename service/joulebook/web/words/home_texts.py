"""The English of the page of all homes, apart from what its template says."""

#: What homes can be chosen by: a state, or a reason.
SHOWN = {
    "all": "All homes",
    "now": "Need someone now",
    "ahead": "Something ahead",
    "lacking": "Lack only proof",
    "fine": "Need nobody",
    "new": "Not looked at yet",
    "danger": "Could hurt somebody",
    "silent": "Nothing is heard",
    "alert": "An alert is open",
    "checks": "A check found trouble",
    "capacity-low": "Hold less than promised",
    "worse-than-peers": "Worse than homes like it",
    "forecast-low": "Will probably not hold",
    "warranty-ends": "Warranty ends within a year",
    "unproven": "A claim would lack something",
}

#: What stands with a home for which there is no reason.
NOTES = {
    "fine": "It needs nobody.",
    "new": "Nothing was found out of it yet; that takes about a minute.",
}

#: What a claim lacks, in the words of a list.
MISSING = {
    "terms": "the terms of the warranty",
    "installed": "the day the battery first ran",
    "capacity": "a measured capacity",
    "sign-off": "a signed commissioning record",
}

#: Columns of the table: name, and what is in it.
COLUMNS = {
    "home": "its name",
    "state": "now, ahead, lacking (only proof), fine or new",
    "reasons": "codes, the gravest first",
    "first_reason": "a sentence",
    "heard": "when its newest reading was taken, UTC",
    "capacity_ratio": "of the rated charge",
    "capacity_low_ratio": "90 % interval",
    "capacity_high_ratio": "90 % interval",
    "capacity_reason": "why no capacity is given",
    "capacity_peers": "how many homes are like it",
    "capacity_peers_ratio": "what is expected of homes like it",
    "capacity_peers_low_ratio": "90 % of homes like it lie between",
    "capacity_peers_high_ratio": "90 % of homes like it lie between",
    "fade_ratio_per_year": "above zero for a loss",
    "fade_low": "90 % interval",
    "fade_high": "90 % interval",
    "fade_reason": "why no fade is given",
    "fade_peers": "how many homes are like it",
    "fade_peers_ratio_per_year": "what is expected of homes like it",
    "fade_peers_low": "90 % of homes like it lie between",
    "fade_peers_high": "90 % of homes like it lie between",
    "discovery_rate": "at which it would just be named as worse",
    "peers_reason": "why its capacity is not compared",
    "warranty_ends": "date",
    "warranty_floor_ratio": "promised until then",
    "warranty_assumed": "whether a term was assumed",
    "chance_ratio": "that the floor is held until then",
    "made": "when this was found out, UTC",
}

#: With what could hurt somebody stands what not to do.
CAUTION = (
    "What could hurt somebody comes first. Send nobody to a live box who is not qualified for it."
)
