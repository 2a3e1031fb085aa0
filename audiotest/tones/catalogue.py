"""Every procedure by its name, made from what the user gave."""

from collections.abc import Callable
from dataclasses import dataclass

from audiotest.records import Feed, LimitSet
from audiotest.tones.balance import balance
from audiotest.tones.carriernull import carrier_null
from audiotest.tones.frequency import frequency_by_beat, frequency_by_iq
from audiotest.tones.guided import Guided
from audiotest.tones.limiting import START_MV, modulation_limiting
from audiotest.tones.monitor import scaled
from audiotest.tones.rxaudio import rx_distortion, rx_hum_noise, rx_response
from audiotest.tones.sensitivity import START_DBM, sensitivity
from audiotest.tones.speechdrive import VOICE, drive_by_speech
from audiotest.tones.squelch import squelch
from audiotest.tones.tonedrive import TONE_HZ, drive_by_tone
from audiotest.tones.txaudio import audio_response, tx_distortion, tx_hum_noise, tx_two_tone


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What a procedure may need: scale of the monitor's feed, limits, where to start, most that is sent."""

    feed: Feed | None
    limits: LimitSet
    start_mv: float = START_MV
    start_dbm: float = START_DBM
    nominal_mhz: float | None = None
    tolerance_hz: float | None = None
    lower_sideband: bool = False
    deemphasis_us: float | None = None
    speech_mv: float | None = None
    own_mv: float | None = None
    voice: str = VOICE
    tone_hz: float = TONE_HZ
    most_mv: float | None = None
    wanted_khz: float | None = None
    iq: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A procedure: what it does in a line, whether it keys a transmitter and sends tones, how it is made."""

    words: str
    keys: bool
    sends: bool
    make: Callable[[Given], Guided]


TOLERANCE_SOURCE = "as given"

PROCEDURES: dict[str, Entry] = {
    "limiting": Entry(
        words="modulation limiting: onset, knee, +20 dB, the worst tone", keys=True, sends=True,
        make=lambda g: modulation_limiting(
            scaled(g.feed), g.limits.deviation_khz, g.limits.source, start_mv=g.start_mv
        ),
    ),
    "response": Entry(
        words="transmitter's audio response against +6 dB per octave", keys=True, sends=True,
        make=lambda g: audio_response(scaled(g.feed), g.limits.deviation_khz, start_mv=g.start_mv),
    ),
    "distortion": Entry(
        words="transmitter's distortion at 60 %", keys=True, sends=True,
        make=lambda g: tx_distortion(scaled(g.feed), g.limits.deviation_khz, start_mv=g.start_mv),
    ),
    "hum": Entry(
        words="transmitter's hum and noise", keys=True, sends=True,
        make=lambda g: tx_hum_noise(scaled(g.feed), g.limits.deviation_khz, start_mv=g.start_mv),
    ),
    "two-tone": Entry(
        words="transmitter's intermodulation of two tones", keys=True, sends=True,
        make=lambda g: tx_two_tone(scaled(g.feed), g.limits.deviation_khz, start_mv=g.start_mv),
    ),
    "balance": Entry(
        words="mic gain and deviation: talk and turn until both stand right", keys=True, sends=False,
        make=lambda g: balance(g.feed, g.limits),
    ),
    "drive-by-speech": Entry(
        words="limiter drive by a known speech into the microphone socket", keys=True, sends=True,
        make=lambda g: drive_by_speech(
            g.feed, g.limits, speech_mv=g.speech_mv, own_mv=g.own_mv, voice=g.voice, most_mv=g.most_mv
        ),
    ),
    "drive-by-tone": Entry(
        words="limiter's onset and knee by a tone in small steps", keys=True, sends=True,
        make=lambda g: drive_by_tone(
            tone_hz=g.tone_hz, start_mv=g.start_mv, most_mv=g.most_mv, own_mv=g.own_mv
        ),
    ),
    "frequency": Entry(
        words="frequency error by beat note against a reference", keys=True, sends=False,
        make=lambda g: frequency_by_beat(
            nominal_mhz=g.nominal_mhz, lower_sideband=g.lower_sideband, tolerance_hz=g.tolerance_hz,
            tolerance_source=TOLERANCE_SOURCE,
        ),
    ),
    "frequency-iq": Entry(
        words="frequency error from an I/Q feed", keys=True, sends=False,
        make=lambda g: frequency_by_iq(
            nominal_mhz=g.nominal_mhz, tolerance_hz=g.tolerance_hz, tolerance_source=TOLERANCE_SOURCE
        ),
    ),
    "carrier-null": Entry(
        words="exact deviation by carrier null, and the scale of the FM feed from it", keys=True, sends=True,
        make=lambda g: carrier_null(
            g.limits.deviation_khz, deemphasis_us=g.deemphasis_us, start_mv=g.start_mv
        ),
    ),
    "sensitivity": Entry(
        words="receiver's 12 and 20 dB SINAD and 20 dB quieting", keys=False, sends=False,
        make=lambda g: sensitivity(g.limits.deviation_khz, start_dbm=g.start_dbm),
    ),
    "squelch": Entry(
        words="receiver's squelch: opening, closing, hysteresis", keys=False, sends=False,
        make=lambda g: squelch(),
    ),
    "rx-response": Entry(
        words="receiver's audio response against -6 dB per octave", keys=False, sends=False,
        make=lambda g: rx_response(g.limits.deviation_khz),
    ),
    "rx-distortion": Entry(
        words="receiver's distortion and SINAD on a strong signal", keys=False, sends=False,
        make=lambda g: rx_distortion(g.limits.deviation_khz),
    ),
    "rx-hum": Entry(
        words="receiver's hum and noise", keys=False, sends=False,
        make=lambda g: rx_hum_noise(g.limits.deviation_khz),
    ),
}  # fmt: skip
