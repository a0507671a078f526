"""Is the data directory in a good place: whose it is, on what disk, how fast that syncs."""

import os
import pwd
import statistics
import time
from collections.abc import Iterator
from pathlib import Path

from joulebook.cli.doctor.findings import Finding, look, trouble, unknown, well
from joulebook.cli.health import FEW_FILES, LITTLE_ROOM_BYTES, NO_ROOM_BYTES
from joulebook.storage.room import room_of

#: File systems that live on another machine: neither locks nor syncs are what they seem there.
NETWORKED = frozenset(
    {
        *("nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "fuse.sshfs", "ncpfs"),
        *("fuse.glusterfs", "fuse.s3fs", "fuse.rclone", "davfs", "fuse.davfs"),
    }
)
#: A commit waits for one sync. Common practice, no source: cards take some tens of milliseconds.
SLOW_SYNC_S = 0.5
_SYNCS = 10


def check_directory(data_dir: Path) -> Iterator[Finding]:
    """Look at the directory: there, writable, and nobody else's to read."""
    if not data_dir.is_dir():
        yield trouble(
            "data directory",
            f"{data_dir} is no directory",
            "check --data; `joulebook serve` makes the directory at its first start",
        )
        return
    if not os.access(data_dir, os.R_OK | os.W_OK | os.X_OK):
        yield trouble(
            "data directory",
            f"{data_dir} cannot be read and written by {_user(os.geteuid())}",
            f"run this as {_user(data_dir.stat().st_uid)}, or change the directory's owner",
        )
    owners = {_user(path.stat().st_uid) for path in (data_dir, *data_dir.iterdir())}
    if len(owners) > 1:
        yield look(
            "owner",
            f"files of {' and '.join(sorted(owners))} lie in one data directory",
            "let one user run every command; give him all files: chown -R USER DIR",
        )
    exposed = data_dir.stat().st_mode & 0o077
    if exposed:
        sentence = "others on this machine may look into the data directory"
        yield look("permissions", sentence, f"chmod 700 {data_dir}")
    if not exposed and len(owners) == 1:
        yield well("data directory", f"{data_dir} belongs to {owners.pop()} alone")


def check_file_system(
    data_dir: Path, mounts: Path = Path("/proc/self/mountinfo")
) -> Iterator[Finding]:
    """Look at what kind of disk the directory is on."""
    try:
        kind = _kind_of_mount(data_dir, mounts.read_text(encoding="utf-8"))
    except OSError:
        yield unknown("file system", "this system does not tell how its disks are mounted")
        return
    if kind in NETWORKED:
        yield trouble(
            "file system",
            f"the data directory is on a network share ({kind})",
            "move it to a disk of this machine: a lock and a sync mean less on a share",
            status=4,
        )
    else:
        yield well("file system", f"the data directory is on a disk of this machine ({kind})")


def check_room(
    data_dir: Path, grows_bytes_a_day: float | None, *, with_database: bool = True
) -> Iterator[Finding]:
    """Look at the room that is left, against how fast the database grows, if it is there."""
    room = room_of(data_dir)
    free = f"{room.free_bytes / 1e9:.1f} GB free"
    if room.free_bytes < NO_ROOM_BYTES:
        yield trouble("room", free, "free some space: nothing can be stored", status=4)
    elif room.free_bytes < LITTLE_ROOM_BYTES:
        yield look("room", free, "free some space, or move the data to a larger disk")
    elif grows_bytes_a_day:
        years = room.free_bytes / grows_bytes_a_day / 365
        sentence = f"{free}; at {grows_bytes_a_day / 1e6:.1f} MB a day enough for {years:.0f} years"
        next_step = "plan a larger disk, or set keep_years"
        yield well("room", sentence) if years >= 1 else look("room", sentence, next_step)
    else:
        grows = "how fast the database grows is not known yet"
        yield well("room", f"{free}; {grows if with_database else 'the database is elsewhere'}")
    if room.free_files is not None and room.free_files < FEW_FILES:
        yield look("files", f"room for {room.free_files} more files", "remove some")


def check_sync(data_dir: Path) -> Iterator[Finding]:
    """Write to the disk as a commit does, and take the time."""
    file = data_dir / f"joulebook.doctor.{os.getpid()}"
    took_s = []
    try:
        descriptor = os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
        try:
            for _ in range(_SYNCS):
                began_s = time.perf_counter()
                os.write(descriptor, bytes(4096))
                os.fsync(descriptor)
                took_s.append(time.perf_counter() - began_s)
        finally:
            os.close(descriptor)
    except OSError as error:
        yield trouble(
            "disk",
            f"a file cannot be written into the data directory: {error.strerror}",
            "check how the disk is mounted, its room, and the directory's owner",
        )
        return
    finally:
        file.unlink(missing_ok=True)
    middle_ms, longest_ms = statistics.median(took_s) * 1000, max(took_s) * 1000
    sentence = f"4 kB are on disk after {middle_ms:.1f} ms, after {longest_ms:.0f} ms at the most"
    if longest_ms > SLOW_SYNC_S * 1000:
        yield look(
            "disk", sentence, "see what else writes there; a worn card gets slow before it fails"
        )
    else:
        yield well("disk", sentence)


def _kind_of_mount(path: Path, mountinfo: str) -> str:
    """Return the kind of the mount that a path is on: the longest one that holds it (proc(5))."""
    place = path.resolve()
    found = ("", "?")
    for line in mountinfo.splitlines():
        before, _, after = line.partition(" - ")
        mounted = before.split()[4].encode().decode("unicode_escape")
        if place.is_relative_to(mounted) and len(mounted) >= len(found[0]):
            found = (mounted, after.split()[0])
    return found[1]


def _user(number: int) -> str:
    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:  # a container's user has a number and often no name
        return f"user {number}"
