"""Job sheets: sets, their visits, and what was read, heard, found and fitted on each.

Nothing is overwritten: a later reading of the same thing stands in front of the earlier one, and one that
was a slip is withdrawn, not deleted. Once the set has left the bench nothing is added to its sheet.
"""

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from audiotest.errors import RequestError
from audiotest.keep.attachments import keep_file, read_kept
from audiotest.keep.judging import nominal_mhz, nominal_of, off_channel
from audiotest.keep.quantities import (
    check_point,
    get_quantity,
    implausible,
    impossible,
    parse_reading,
)  # fmt: skip
from audiotest.keep.sheetfile import change, open_sheets, unusable
from audiotest.keep.sheetrecords import (
    Attachment,
    Fault,
    Figure,
    Kind,
    PartFitted,
    RadioSet,
    Reading,
    Sheet,
    Spoken,
    Stage,
    Visit,
)  # fmt: skip
from audiotest.keep.texts import clean, line, needed
from audiotest.standards.limits import get_limits

SURE = "check it; if it is right, say so with --sure"
CLOSED = "begin a new sheet for the set"


class Sheets:
    """The job sheets in one file; several programs may have it open.

    Parameters
    ----------
    path : Path
        The file; made when it is not there. Attached files are kept in a folder beside it.
    now : callable
        The clock on the wall.

    Raises
    ------
    FileError
        From any call, when the file cannot be used.
    """

    def __init__(self, path: Path, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.path = path
        self.base = open_sheets(path)  # first, since it refuses "." and "/", which nothing can be beside
        self.files = path.with_name(f"{path.stem} files")
        self._now = now

    def __enter__(self) -> "Sheets":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; safe to call twice."""
        self.base.close()

    # -- sets and visits --------------------------------------------------------------------------

    def add_set(
        self,
        maker: str,
        model: str,
        serial: str = "",
        *,
        service: str = "",
        options: str = "",
        note: str = "",
    ) -> int:
        """Put a set on the books and return its number; ``service`` is the id of a limit set or empty.

        Raises `RequestError` without maker and model, or for a limit set that there is not.
        """
        if not (line(maker) or line(model)):
            raise RequestError("a set needs a maker or a model", "give at least one of them")
        if service:
            get_limits(service)
        row = {
            "maker": line(maker), "model": line(model), "serial": line(serial), "service": service,
            "options": clean(options), "note": clean(note), "added": self._stamp(),
        }  # fmt: skip
        return self._insert("sets", row)

    def get_set(self, set_id: int) -> RadioSet:
        """A set by its number; `RequestError` when there is none."""
        return RadioSet(**self._one("sets", set_id, "set"))

    def sets(self) -> list[RadioSet]:
        """Every set, in the order of their numbers."""
        return [RadioSet(**row) for row in self._rows("SELECT * FROM sets ORDER BY id")]

    def open_visit(
        self,
        set_id: int,
        *,
        limits: str = "",
        channel: int | None = None,
        assigned_mhz: float | None = None,
        complaint: str = "",
        owner: str = "",
        bench: str = "",
    ) -> int:
        """Begin a sheet for a set and return its number; the limits default to those of its service.

        Raises `RequestError` for a set, limits, channel or frequency that there is not.
        """
        radio = self.get_set(set_id)
        chosen = limits or radio.service
        if not chosen:
            raise RequestError(f"set {set_id} has no service on record", "choose a limit set with --limits")
        get_limits(chosen)
        if channel is not None and nominal_mhz(chosen, channel) is None:
            raise RequestError(f"{chosen} has no channel {channel}", "see 'audiotest limits'")
        if assigned_mhz is not None and not 0.1 <= assigned_mhz <= 3000.0:
            raise RequestError(f"{assigned_mhz} MHz is no carrier's frequency", "give 0.1 to 3000 MHz")
        row = {
            "set_id": set_id, "opened": self._stamp(), "closed": None, "limits": chosen, "channel": channel,
            "assigned_mhz": assigned_mhz, "complaint": clean(complaint), "owner": clean(owner),
            "bench": clean(bench),
        }  # fmt: skip
        return self._insert("visits", row)

    def close_visit(self, visit_id: int) -> None:
        """Note that the set has left the bench: nothing is put on its sheet any more."""
        self._on_bench(visit_id)
        with self.all_or_nothing():
            self.base.execute("UPDATE visits SET closed = ? WHERE id = ?", (self._stamp(), visit_id))

    def get_visit(self, visit_id: int) -> Visit:
        """A visit by its number; `RequestError` when there is none."""
        return Visit(**self._one("visits", visit_id, "sheet"))

    def visits(self, set_id: int | None = None) -> list[Visit]:
        """The visits of a set, or all of them, oldest first."""
        where, values = ("", ()) if set_id is None else ("WHERE set_id = ?", (set_id,))
        return [Visit(**row) for row in self._rows(f"SELECT * FROM visits {where} ORDER BY id", values)]

    def sheet(self, visit_id: int) -> Sheet:
        """Everything about one visit, as it was at one moment."""
        with self._reading():
            visit = self.get_visit(visit_id)
            attached = self._of(visit_id, "attachments")
            return Sheet(
                radio=self.get_set(visit.set_id),
                visit=visit,
                readings=tuple(Reading(**row) for row in self._of(visit_id, "readings")),
                faults=tuple(Fault(**row) for row in self._of(visit_id, "faults")),
                parts=tuple(PartFitted(**row) for row in self._of(visit_id, "parts")),
                spoken=tuple(Spoken(**row) for row in self._of(visit_id, "spoken")),
                attachments=tuple(Attachment(**_with_measured(row)) for row in attached),
            )

    # -- what was read ----------------------------------------------------------------------------

    def type_reading(
        self, visit_id: int, stage: Stage, key: str, text: str, *, point: str = "", sure: bool = False
    ) -> Reading:
        """Put a typed reading on a sheet, once its unit and its size have been checked.

        Raises `RequestError` for what cannot be, and without ``sure`` for what is unlikely.
        """
        visit = self._on_bench(visit_id)
        nominal = nominal_of(visit)
        key = get_quantity(key).key
        point = check_point(key, point)
        value = parse_reading(key, text, nominal_mhz=nominal)
        wrong = impossible(key, value)
        if wrong is not None:
            raise RequestError(wrong, "check the reading")
        doubt = implausible(key, value) or off_channel(key, value, nominal)
        if doubt is not None and not sure:
            raise RequestError(doubt, SURE)
        number = self.add_figure(visit_id, stage, Figure(quantity=key, value=value), point=point, typed=text)
        return Reading(**self._one("readings", number, "reading"))

    def add_measured(
        self, visit_id: int, stage: Stage, figures: Iterable[Figure], attachment_id: int | None = None
    ) -> int:
        """Put measured figures on a sheet, all or none; returns how many."""
        self._on_bench(visit_id)
        possible = [figure for figure in figures if impossible(figure.quantity, figure.value) is None]
        with self.all_or_nothing():
            for figure in possible:
                self.add_figure(visit_id, stage, figure, attachment_id=attachment_id)
        return len(possible)

    def add_figure(
        self,
        visit_id: int,
        stage: Stage,
        figure: Figure,
        *,
        point: str = "",
        typed: str | None = None,
        attachment_id: int | None = None,
    ) -> int:
        """Put one figure on a sheet as it is; what a person types goes through `type_reading`."""
        self._on_bench(visit_id)
        row = {
            "visit_id": visit_id, "stage": stage, "point": point, "attachment_id": attachment_id,
            "typed": None if typed is None else clean(typed), "taken": self._stamp(), "withdrawn": None,
            **asdict(figure),
        }  # fmt: skip
        return self._insert("readings", row)

    def withdraw_reading(self, reading_id: int) -> None:
        """Take a reading that was a slip out of what stands; it stays on record."""
        self._one("readings", reading_id, "reading")
        with self.all_or_nothing():
            values = (self._stamp(), reading_id)
            self.base.execute("UPDATE readings SET withdrawn = ? WHERE id = ? AND withdrawn IS NULL", values)

    # -- what was found, fitted and heard ---------------------------------------------------------

    def add_fault(self, visit_id: int, fault: str, cure: str | None = None) -> int:
        """Note a fault, with its cure if it has been cured."""
        self._on_bench(visit_id)
        cured = None if cure is None else needed(cure, "the cure")
        row = {
            "visit_id": visit_id, "fault": needed(fault, "the fault"), "cure": cured, "noted": self._stamp(),
        }  # fmt: skip
        return self._insert("faults", row)

    def cure_fault(self, fault_id: int, cure: str) -> None:
        """Note how a fault was cured."""
        self._on_bench(self._one("faults", fault_id, "fault")["visit_id"])
        with self.all_or_nothing():
            self.base.execute("UPDATE faults SET cure = ? WHERE id = ?", (needed(cure, "the cure"), fault_id))

    def add_part(self, visit_id: int, name: str, count: int = 1) -> int:
        """Note a part that was fitted; `RequestError` for a count outside 1 to 1000 or no name."""
        self._on_bench(visit_id)
        if not 1 <= count <= 1000:
            raise RequestError(f"{count} parts", "give a count from 1 to 1000")
        row = {
            "visit_id": visit_id, "name": needed(line(name), "the part"), "count": count,
            "fitted": self._stamp(),
        }  # fmt: skip
        return self._insert("parts", row)

    def add_spoken(
        self,
        visit_id: int,
        stage: Stage,
        readability: int,
        strength: int,
        *,
        who: str = "",
        place: str = "",
        words: str = "",
    ) -> int:
        """Note the helper's spoken report: readability 1 to 5, strength 1 to 9; `RequestError` outside."""
        self._on_bench(visit_id)
        if not 1 <= readability <= 5:
            raise RequestError(f"readability {readability}", "it goes from 1, unreadable, to 5, perfect")
        if not 1 <= strength <= 9:
            raise RequestError(f"strength {strength}", "it goes from 1, faint, to 9, extremely strong")
        row = {
            "visit_id": visit_id, "stage": stage, "readability": readability, "strength": strength,
            "who": clean(who), "place": clean(place), "words": clean(words), "heard": self._stamp(),
        }  # fmt: skip
        return self._insert("spoken", row)

    def attach(
        self,
        visit_id: int,
        stage: Stage,
        kind: Kind,
        file: Path,
        *,
        title: str = "",
        measured: dict[str, Any] | None = None,
    ) -> int:
        """Copy a file to the sheets' own folder and note it; ``measured`` is what was measured on it."""
        self._on_bench(visit_id)
        name, digest = keep_file(self.files, file)
        row = {
            "visit_id": visit_id, "stage": stage, "kind": kind, "file": name,
            "sha256": digest, "title": line(title) or line(file.stem),
            "measured": None if measured is None else json.dumps(measured, allow_nan=False),
            "added": self._stamp(),
        }  # fmt: skip
        return self._insert("attachments", row)

    def attachment_bytes(self, attachment: Attachment) -> bytes:
        """Contents of an attached file; `FileError` when it is gone or not what was attached."""
        return read_kept(self.files, attachment)

    # -- inside -----------------------------------------------------------------------------------

    def _on_bench(self, visit_id: int) -> Visit:
        """A visit that may be added to; `RequestError` when the set has left: what was handed over stands."""
        visit = self.get_visit(visit_id)
        if visit.closed is not None:
            raise RequestError(f"sheet {visit_id} is closed: the set left on {visit.closed[:10]}", CLOSED)
        return visit

    def _stamp(self) -> str:
        return self._now().astimezone(UTC).isoformat(timespec="seconds")

    @contextmanager
    def as_of(self, moment: datetime | None) -> Iterator[None]:
        """Date what is written meanwhile to another moment, where one is given."""
        before = self._now
        try:
            if moment is not None:
                self._now = lambda: moment
            yield
        finally:
            self._now = before

    @contextmanager
    def all_or_nothing(self) -> Iterator[None]:
        """Several changes as one: when one of them fails, none has happened."""
        if self.base.in_transaction:
            yield
            return
        try:
            with change(self.base):
                yield
        except sqlite3.DatabaseError as error:
            raise unusable(self.path, error) from error

    @contextmanager
    def _reading(self) -> Iterator[None]:
        """Several looks at the same moment: what others write meanwhile is not seen in between."""
        try:
            self.base.execute("BEGIN")
            try:
                yield
            finally:
                self.base.execute("ROLLBACK")
        except sqlite3.DatabaseError as error:
            raise unusable(self.path, error) from error

    def _insert(self, table: str, row: dict[str, Any]) -> int:
        names = ", ".join(row)
        places = ", ".join(f":{name}" for name in row)
        with self.all_or_nothing():
            done = self.base.execute(f"INSERT INTO {table} ({names}) VALUES ({places})", row)
        return int(done.lastrowid or 0)

    def _rows(self, query: str, values: tuple[Any, ...] = ()) -> list[dict[str, Any]]:
        try:
            found = self.base.execute(query, values)
            names = [column[0] for column in found.description]
            return [dict(zip(names, row, strict=True)) for row in found]
        except sqlite3.DatabaseError as error:
            raise unusable(self.path, error) from error

    def _of(self, visit_id: int, table: str) -> list[dict[str, Any]]:
        return self._rows(f"SELECT * FROM {table} WHERE visit_id = ? ORDER BY id", (visit_id,))

    def _one(self, table: str, number: int, word: str) -> dict[str, Any]:
        rows = self._rows(f"SELECT * FROM {table} WHERE id = ?", (number,)) if 0 < number < 2**63 else []
        if not rows:
            raise RequestError(f"there is no {word} {number}", "see 'audiotest sheet list'")
        return rows[0]


def _with_measured(row: dict[str, Any]) -> dict[str, Any]:
    text = row["measured"]
    try:
        found = None if text is None else json.loads(text)
    except ValueError:
        found = None
    return {**row, "measured": found if isinstance(found, dict) else None}
