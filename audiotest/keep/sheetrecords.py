"""What a job sheet holds: frozen records, one per row."""

from dataclasses import dataclass
from typing import Any, Literal

from audiotest.keep.quantities import QUANTITIES

Stage = Literal["found", "left"]
Kind = Literal["clip", "plot", "picture"]
STAGES: tuple[Stage, ...] = ("found", "left")
STAGE_WORDS: dict[Stage, str] = {"found": "as found", "left": "as left"}


@dataclass(frozen=True, slots=True, kw_only=True)
class RadioSet:
    """One set; maker, model and the rest are free text, ``service`` is the id of a limit set or empty."""

    id: int
    maker: str
    model: str
    serial: str
    service: str
    options: str
    note: str
    added: str

    @property
    def name(self) -> str:
        """What one calls it."""
        words = " ".join(word for word in (self.maker, self.model) if word) or "unnamed set"
        return f"{words}, serial {self.serial}" if self.serial else words


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One stay of a set on the bench; ``assigned_mhz`` counts where the service has no channels."""

    id: int
    set_id: int
    opened: str
    closed: str | None
    limits: str
    channel: int | None
    assigned_mhz: float | None
    complaint: str
    owner: str
    bench: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A measured figure on its way to a sheet, in its quantity's own unit."""

    quantity: str
    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One figure in its quantity's own unit; ``typed`` as it was written, None when it was measured."""

    id: int
    visit_id: int
    stage: Stage
    quantity: str
    point: str
    value: float
    low: float | None
    high: float | None
    typed: str | None
    attachment_id: int | None
    taken: str
    withdrawn: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A fault; ``cure`` is None while it has not been cured."""

    id: int
    visit_id: int
    fault: str
    cure: str | None
    noted: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFitted:
    """A part that went into the set."""

    id: int
    visit_id: int
    name: str
    count: int
    fitted: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken:
    """The helper's report: readability 1 to 5, strength 1 to 9, and what was said."""

    id: int
    visit_id: int
    stage: Stage
    readability: int
    strength: int
    who: str
    place: str
    words: str
    heard: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment:
    """A kept file; ``measured`` holds what was measured on a clip and under which conditions."""

    id: int
    visit_id: int
    stage: Stage
    kind: Kind
    file: str
    sha256: str
    title: str
    measured: dict[str, Any] | None
    added: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Everything about one visit; of several readings of the same thing the last stands."""

    radio: RadioSet
    visit: Visit
    readings: tuple[Reading, ...]
    faults: tuple[Fault, ...]
    parts: tuple[PartFitted, ...]
    spoken: tuple[Spoken, ...]
    attachments: tuple[Attachment, ...]

    def standing(self, stage: Stage) -> dict[tuple[str, str], Reading]:
        """The last reading of each quantity and point at a stage, withdrawn ones left out.

        A quantity that this version does not know is left out too: a newer one may have written it.
        """
        return {
            (reading.quantity, reading.point): reading
            for reading in self.readings
            if reading.stage == stage and reading.withdrawn is None and reading.quantity in QUANTITIES
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Typical:
    """What sets of one model came to here, as left: one reading per set, the last."""

    quantity: str
    point: str
    sets: int
    median: float
    lowest: float
    highest: float
