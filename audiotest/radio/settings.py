"""What can be set on the simulated radio: transmitter, receiver, sound card and the timing of an over."""

from dataclasses import dataclass
from typing import Literal

LimiterKind = Literal["hard", "soft", "diode", "lopsided", "levelling", "levelling+hard", "none"]
FilterFamily = Literal["bessel", "butterworth", "chebyshev", "elliptic"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Transmitter:
    """Microphone to antenna.

    Either ``drive_db`` sets the mic gain so that speech drives the limiter that hard (the contract's
    definition), or ``mic_gain_db`` is the gain at 1 kHz from a source sample of 1.0 to the limiter's
    threshold. ``ceiling_khz`` is the deviation for a limiter output of one threshold; ``splatter`` is the
    family, order and corner in Hz of the low-pass after the limiter. ``end_beep_level`` is the beep's
    amplitude at the limiter, whose threshold is 1.
    """

    drive_db: float | None = 4.0
    mic_gain_db: float | None = None
    ceiling_khz: float = 2.2
    preemphasis_us: float | None = 530.0
    mic_highpass_hz: float = 200.0
    limiter: LimiterKind = "hard"
    knee: float = 4.0
    asymmetry: float = 0.0
    attack_s: float = 0.005
    release_s: float = 0.2
    splatter: tuple[FilterFamily, int, float] = ("butterworth", 4, 3000.0)
    hum_hz: float | None = None
    hum_khz: float = 0.0
    subaudible_hz: float | None = None
    subaudible_khz: float = 0.0
    end_beep_hz: float | None = None
    end_beep_s: float = 0.25
    end_beep_level: float = 0.7
    ambient_db: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    """Antenna to line output; ``scale_khz_per_fs`` is the deviation at 1 kHz that gives full scale 1.0."""

    if_bandwidth_khz: float = 8.0
    if_order: int = 4
    mistune_khz: float = 0.0
    cnr_db: float = 25.0
    deemphasis_us: float = 750.0
    highpass_hz: float | None = 300.0
    highpass_order: int = 2
    lowpass_hz: float | None = 3000.0
    lowpass_order: int = 4
    lowpass: FilterFamily = "butterworth"
    squelch: Literal["open", "closed"] = "open"
    squelch_attack_s: float = 0.05
    squelch_tail_s: float = 0.12
    scale_khz_per_fs: float = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundCard:
    """Line input to samples; overload is what the converter does above ``full_scale``."""

    sample_rate_hz: int = 48000
    noise_dbfs: float = -85.0
    dc_fs: float = 0.0
    mains_hz: float | None = None
    mains_dbfs: float | None = None
    gain_db: float = 0.0
    overload: bool = True
    full_scale: float = 1.0
    bits: int | None = 16
    agc: bool = False
    codec: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Seconds of no carrier, bare carrier, speech, bare carrier, no carrier."""

    before_s: float = 1.0
    bare_carrier_s: float = 0.4
    after_s: float = 0.2
    end_s: float = 1.0
