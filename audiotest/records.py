"""What was measured: frozen records without audio, one field per figure, units in the names.

``None`` means "not measured"; NaN never appears. The fields of the records that `check --json`
prints are the keys of the machine-readable contract.
"""

from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

InputVerdict = Literal["good", "overloaded", "too_quiet", "silent"]
OverKind = Literal["voice", "tone", "carrier"]
Turn = Literal["raise", "keep", "lower", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class InputReading:
    """The recording as the sound card delivered it; the figures cover all of it, the verdict the overs."""

    peak_dbfs: float | None
    rms_dbfs: float | None
    dc_percent_fs: float | None
    overload_runs: int
    verdict: InputVerdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """Speech level by ITU-T P.56 method B; the crest is the peak over the active level."""

    active_speech_dbfs: float | None
    activity: float | None
    crest_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """Frequency deviation that the modulation causes, corrected for receiver noise; None without a scale."""

    peak_khz: float | None
    p999_khz: float | None
    rms_khz: float | None
    positive_khz: float | None
    negative_khz: float | None
    limit_khz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limiter:
    """How hard speech drives the transmitter's limiter; low and high bound the drive at about 90 %."""

    drive_db: float | None
    drive_low_db: float | None
    drive_high_db: float | None
    clipped_fraction: float | None
    reached: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Noise around the modulation; every ratio is larger when the signal is better."""

    quieting_db: float | None
    snr_db: float | None
    hum_hz: float | None
    hum_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """A steady test tone; harmonics 2 to 10 in dB relative to the fundamental, None where out of band."""

    frequency_hz: float
    level_dbfs: float | None
    sinad_db: float | None
    sinad_psophometric_db: float | None
    thd_percent: float | None
    harmonics_db: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Subaudible:
    """A continuous sub-audible tone under the modulation."""

    frequency_hz: float
    deviation_khz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EndBeep:
    """A short steady tone just before the carrier drops."""

    frequency_hz: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Which control to turn, which way and how far, in one sentence, with the evidence behind it."""

    mic_gain: Turn
    mic_gain_db: float | None
    deviation: Turn
    deviation_factor: float | None
    confidence: float
    sentence: str
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Over:
    """Everything measured between carrier up and carrier down.

    ``conditions`` names what stands in the way of a judgement (see `audiotest.measure.conditions`):
    the advice decides what they forbid. ``notes`` gives the reason of each figure that is None.
    """

    start_s: float
    end_s: float
    kind: OverKind
    speech_start_s: float | None
    speech_end_s: float | None
    level: Level
    deviation: Deviation
    limiter: Limiter
    noise: Noise
    tone: Tone | None
    subaudible: Subaudible | None
    end_beep: EndBeep | None
    overload_runs: int
    conditions: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveReading:
    """One moment of the running feed, for the live line and the meters."""

    time_s: float
    state: Literal["waiting", "carrier", "speech"]
    level_dbfs: float | None
    peak_dbfs: float | None
    deviation_khz: float | None
    quieting_db: float | None
    sinad_db: float | None
    overloaded: bool
    over_s: float | None
    lost_n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PathResponse:
    """Response from the limiter's output to the samples at ``hz``; tuples of one length.

    ``gain_db`` is 0 at 1 kHz; ``phase_rad`` is free of delay (no mean slope over 400-2500 Hz) and of the
    path's polarity, neither of which can be learnt. ``gain_error_db`` and ``phase_error_rad`` are about 95 %.
    ``drive_db`` is how far the tones overdrove the limiter (the least of them, as fitted), ``softness_db``
    what its harmonics fall by per octave of order beyond a clipper's: 0 for a clipper of any knee, 1 for
    diodes, with which the gain is less sure. ``even_db`` is the second harmonic at the limiter relative to
    the fundamental, None where it drowns: above about -35 dB the limiter or the discriminator is lopsided.
    ``ceiling_fs`` is the height of the limiter's flat tops in full scale where the path is undone, as the
    volume and the deviation control stood: None where it is not kept, and for diodes, which have no height.
    ``tones_hz`` are the tones used.
    """

    hz: tuple[float, ...]
    gain_db: tuple[float, ...]
    phase_rad: tuple[float, ...]
    gain_error_db: tuple[float, ...]
    phase_error_rad: tuple[float, ...]
    drive_db: float
    softness_db: float
    even_db: float | None
    tones_hz: tuple[float, ...]
    ceiling_fs: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """Where audio comes from and what one full scale of it means in kilohertz of deviation.

    The scale holds at 1 kHz of the de-emphasised feed: deviation in kHz is the sample value with the
    de-emphasis (unity at 1 kHz) undone, times ``scale_khz_per_fs``.
    ``deemphasis_us`` 0 is a flat discriminator feed; None is "not stated". ``path`` is the response from the
    limiter's output to the samples, where it was learnt.
    """

    name: str
    method: Literal["tone", "hiss", "carrier-null"]
    scale_khz_per_fs: float
    scale_uncertainty_db: float
    deemphasis_us: float | None
    tone_hz: float | None
    deviation_khz: float | None
    if_bandwidth_khz: float | None
    hiss_dbfs: float | None
    learned: str
    path: PathResponse | None = None

    @property
    def keeps_ceiling(self) -> bool:
        """Whether it is known at what height the limiter holds."""
        return self.path is not None and self.path.ceiling_fs is not None

    def without_ceiling(self) -> "Feed":
        """The feed as it is once the limiter's ceiling may have moved."""
        return self if self.path is None else replace(self, path=replace(self.path, ceiling_fs=None))

    def figures(self) -> dict[str, Any]:
        """What the documents print of a feed: its fields, but of the path only whether there is one."""
        known = asdict(replace(self, path=None))
        del known["path"]
        return known | {"path_learnt": self.path is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSet:
    """A service's limits as reference values; the local code and the licence decide."""

    id: str
    title: str
    deviation_khz: float
    spacing_khz: float
    audio_high_hz: float
    channels: str
    source: str
