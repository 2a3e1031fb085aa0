"""What is sent beside the speech: a sub-audible tone and an end beep, measured and taken out of it."""

from dataclasses import replace

import numpy as np

from audiotest.measure.beep import find_end_beep
from audiotest.measure.emphasis import low_response
from audiotest.measure.filters import emphasis_response
from audiotest.measure.subaudible import find_subaudible, may_be_ripple, without_tone
from audiotest.measure.views import Sound, flat_view
from audiotest.records import EndBeep, Feed, Subaudible

LEAST_TONE_SHARE = 0.05
FAINTEST_SUBAUDIBLE = 0.01
"""Of the peaks, the high-pass undone: no tone is sent 40 dB below them, but rooms and motors hum there."""
BEFORE_BEEP_S = 0.02


def added_subaudible(
    sound: Sound, deemphasis_us: float, hiss: Sound | None, feed: Feed | None
) -> Subaudible | None:
    """A sub-audible tone that is sent, with its deviation where hiss and scale tell it; None without one."""
    rate_hz = sound.low_rate_hz
    found = find_subaudible(sound.low, rate_hz)
    if found is None:
        return None
    frequency_hz, amplitude_fs = found
    flat_fs = float(amplitude_fs * abs(emphasis_response(np.array([frequency_hz]), deemphasis_us)[0]))
    # The receiver's high-pass takes most of the tone; only hiss, flat before it, tells how much.
    gain = None if hiss is None else low_response(hiss.low, rate_hz, frequency_hz)
    peak_fs = float(np.quantile(np.abs(flat_view(sound.low, rate_hz, deemphasis_us)), 0.999))
    if gain is not None and amplitude_fs / gain < FAINTEST_SUBAUDIBLE * peak_fs:
        return None
    deviation_khz = None
    if feed is not None and gain is not None:
        deviation_khz = float(amplitude_fs / gain * feed.scale_khz_per_fs)
    # Alone on a mains harmonic: a tone is sent at a tenth of the peaks or so, hum far below.
    if may_be_ripple(frequency_hz) and flat_fs < LEAST_TONE_SHARE * peak_fs:
        return None
    return Subaudible(frequency_hz=float(frequency_hz), deviation_khz=deviation_khz)


def sound_without_tone(sound: Sound, frequency_hz: float) -> Sound:
    """Both views of a sound without its sub-audible tone."""
    if sound.rate_hz == sound.low_rate_hz:
        wave = low = without_tone(sound.wave, sound.rate_hz, frequency_hz)
    else:
        wave = without_tone(sound.wave, sound.rate_hz, frequency_hz)
        low = without_tone(sound.low, sound.low_rate_hz, frequency_hz)
    return replace(sound, wave=wave, low=low)


def split_beep(sound: Sound, offset_s: float) -> tuple[EndBeep | None, Sound]:
    """The end beep with times in the stream, and the over without it."""
    found = find_end_beep(sound.low, sound.low_rate_hz)
    if found is None:
        return None, sound
    beep = EndBeep(
        frequency_hz=found.frequency_hz, start_s=offset_s + found.start_s, end_s=offset_s + found.end_s
    )
    return beep, sound.cut(0.0, max(found.start_s - BEFORE_BEEP_S, 1.0 / sound.low_rate_hz))
