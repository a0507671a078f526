"""Readings of a device on their way to storage: rows of one column set, in order of arrival."""

from joulebook.storage.records import Column, Value

Row = tuple[Value, ...]


class Layout:
    """A site, a device and a set of columns. Made once and compared by identity: it is a key."""

    __slots__ = ("columns", "device", "site_id")

    def __init__(self, site_id: int, device: str, columns: tuple[Column, ...]) -> None:
        self.site_id = site_id
        self.device = device
        self.columns = columns


class Layouts:
    """Makes layouts, the same one for the same columns."""

    #: A sender that invents names would otherwise fill the memory: so many layouts are kept, of
    #: so many columns at most.
    MOST, MOST_COLUMNS = 4096, 128

    def __init__(self) -> None:
        self._made: dict[tuple[int, str, tuple[Column, ...]], Layout] = {}

    def get(self, site_id: int, device: str, columns: tuple[Column, ...]) -> Layout:
        """Return the layout of a device's columns."""
        if len(columns) > self.MOST_COLUMNS:
            return Layout(site_id, device, columns)
        key = (site_id, device, columns)
        layout = self._made.get(key)
        if layout is None:
            if len(self._made) >= self.MOST:
                self._made.clear()
            layout = self._made[key] = Layout(site_id, device, columns)
        return layout


class RowGroups:
    """Collects rows by layout so that the order of writing cannot change what is stored last.

    Storage keeps the later of two values for one series and instant. Rows of one layout may be
    put together freely as long as no other layout of the device holds the same instant, and that
    is certain while the device's rows come in order of time; when they do not, a new group opens.
    """

    def __init__(self) -> None:
        self.groups: list[tuple[Layout, list[Row]]] = []
        self._open: dict[Layout, list[Row]] = {}
        # Per device: the latest instant so far, and the layout that was added to last.
        self._latest: dict[tuple[int, str], tuple[int, Layout]] = {}

    def add(self, layout: Layout, at_ms: int, row: Row) -> None:
        """Add a row, whose first element is ``at_ms``."""
        device = (layout.site_id, layout.device)
        latest_ms, last = self._latest.get(device, (-1, layout))
        if at_ms <= latest_ms and layout is not last:
            self._close(layout.site_id, layout.device)
        rows = self._open.get(layout)
        if rows is None:
            rows = self._open[layout] = []
            self.groups.append((layout, rows))
        rows.append(row)
        self._latest[device] = (max(at_ms, latest_ms), layout)

    def _close(self, site_id: int, device: str) -> None:
        for layout in list(self._open):
            if layout.device == device and layout.site_id == site_id:
                del self._open[layout]
