"""Is the database well, and does it hear from its bridges; when was it backed up."""

from collections.abc import Iterator

from joulebook.cli.doctor.findings import Finding, look, trouble, unknown, well
from joulebook.errors import JoulebookError
from joulebook.ingest.pace import is_this_machine
from joulebook.settings import Settings
from joulebook.storage.backup_notes import last_backup
from joulebook.storage.database import FILE_NAME, Database
from joulebook.storage.quick_look import QuickLook, quick_look

_DAY_MS = 86_400_000
#: A bridge says every 10 s or so that it is there.
SILENT_MS = 3_600_000
#: Common practice, no source: what a week brought can be lost and borne.
OLD_BACKUP_DAYS = 7


def look_into(database: Database) -> tuple[QuickLook | None, list[Finding]]:
    """Return what the database looks like, and what is to be said of that."""
    if database.server is None and not database.path.exists():
        next_step = "nothing, if this is new: `joulebook serve` or `joulebook site add` makes it"
        return None, [look("database", f"there is no {FILE_NAME} yet", next_step)]
    try:
        seen = quick_look(database)
    except JoulebookError as error:
        return None, [trouble("database", error.what, error.next_step, status=error.exit_status)]
    findings = [
        trouble(
            "database",
            f"SQLite says: {sentence}",
            "see 'When a file is damaged' in docs/operating.md; back up what can be read now",
            status=4,
        )
        for sentence in seen.sentences
    ]
    if seen.outdated:
        next_step = "make a backup, then start the service: it brings the schema up to date"
        findings.append(look("schema", f"schema {seen.schema} is an older one", next_step))
    elif not findings:
        sentence = (
            "SQLite finds nothing wrong"
            if database.server is None
            else f"{seen.store} answers at {database.where}"
        )
        findings.append(well("database", f"{sentence}; schema {seen.schema}"))
    return seen, findings


def check_owner(seen: QuickLook, settings: Settings) -> Iterator[Finding]:
    """Look whether somebody owns what may be reached from elsewhere."""
    if seen.outdated:
        return
    if seen.owned:
        yield well("owner account", "there is an owner, so everybody has to sign in")
    elif is_this_machine(settings.host):
        yield look(
            "owner account",
            "there is no owner yet: whoever uses this machine may see and change everything",
            "open the link that `joulebook serve` prints at its start",
        )
    else:
        yield trouble(
            "owner account",
            f"there is no owner yet, and the service listens on {settings.host}",
            "open the link that `joulebook serve` prints at its start, and choose a password",
        )


def check_bridges(seen: QuickLook, now_ms: int) -> Iterator[Finding]:
    """Look when each site was heard last."""
    if not seen.sites and not seen.outdated:
        yield look("sites", "there is no site yet", "add one: joulebook site add NAME")
    for site in seen.sites:
        about = f"site {site.name}"
        if site.newest_ms is None:
            next_step = "make a token with `joulebook token add` and start its bridge"
            yield look(about, "no reading has come yet", next_step)
            continue
        silent_ms = now_ms - site.newest_ms
        sentence = f"the newest reading is {_ago(silent_ms)}"
        if silent_ms < -600_000:
            yield trouble(
                about,
                f"the newest reading is {_ago(-silent_ms).removesuffix(' old')} ahead of the clock",
                "set this machine's clock, or the bridge's",
            )
        elif silent_ms > SILENT_MS:
            next_step = "look at the bridge: joulebook-bridge check FILE"
            yield look(about, sentence, next_step)
        else:
            yield well(about, sentence)


def check_backup(database: Database, now_ms: int) -> Iterator[Finding]:
    """Look when the last backup was made, as `joulebook backup` noted it."""
    if database.server is not None:
        yield unknown("backup", "the server's own tools make it, and do not tell here")
        return
    backup = last_backup(database.data_dir)
    if backup is None:
        yield look("backup", "no backup is known", "joulebook backup FILE --data DIR")
        return
    age_ms = now_ms - backup.at_ms
    sentence = f"the last one is {_ago(age_ms)}: {backup.file}"
    if age_ms > OLD_BACKUP_DAYS * _DAY_MS:
        yield look("backup", sentence, "make one now, and let it be made every night")
    else:
        yield well("backup", sentence)


def growth(seen: QuickLook, size_bytes: int, now_ms: int) -> float | None:
    """Return by how much the database grows; ``None`` before it has a week of readings. [B/day]"""
    first_ms = min((site.first_ms for site in seen.sites if site.first_ms), default=now_ms)
    days = (now_ms - first_ms) / _DAY_MS
    return size_bytes / days if days >= 7 else None


def _ago(ms: int) -> str:
    minutes = ms / 60_000
    if minutes < 120:
        return f"{max(minutes, 0):.0f} minutes old"
    if minutes < 2880:
        return f"{minutes / 60:.0f} hours old"
    return f"{minutes / 1440:.0f} days old"
