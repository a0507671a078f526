"""Which topics a filter of MQTT takes (3.1.1 §4.7)."""


def levels_taken(topic_filter: str, topic: str) -> list[str] | None:
    """Return what each ``+`` of a filter stands for in a topic; ``None`` where it does not match.

    ``#`` takes its parent level too, and a wildcard in front takes no topic that begins with
    ``$`` (§4.7.1.2, §4.7.2).
    """
    wanted, given = topic_filter.split("/"), topic.split("/")
    if topic.startswith("$") and wanted[0] in ("+", "#"):
        return None
    rest = wanted[-1] == "#"
    if rest:
        wanted.pop()
    if len(given) < len(wanted) or (len(given) > len(wanted) and not rest):
        return None
    taken = []
    for level, part in zip(wanted, given, strict=False):
        if level == "+":
            taken.append(part)
        elif level != part:
            return None
    return taken
