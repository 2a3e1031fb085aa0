"""Whether the sound came through a narrow digital link: real codecs, a simulated radio, analogue filters.

G.711, G.721 and GSM 06.10 are libsndfile's. The limit of the fall was set with G.711 and Opus, not with the
others.
"""

import io
from functools import cache

import numpy as np
import pytest
import soundfile
import soxr
from scipy.signal.windows import blackmanharris

from audiotest.measure.narrowlink import WINDOW, ends_at_4_khz, link_conditions
from audiotest.measure.over import OverAudio, measure_over
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.limits import get_limits

RATE_HZ = 48000


@cache
def heard(lowpass_order: int = 4, cnr_db: float = 25.0) -> np.ndarray:
    """Six seconds of speech over the simulated radio, between the carrier's edges."""
    voice, voice_hz = load_voice("english_reading")
    timing = Timing(before_s=0.1, bare_carrier_s=0.4, after_s=0.2, end_s=0.1)
    rx = Receiver(cnr_db=cnr_db, lowpass_order=lowpass_order, lowpass_hz=3400.0, lowpass="chebyshev")
    card = SoundCard(noise_dbfs=-90.0)
    made = simulate(
        voice[: 6 * voice_hz], voice_hz, Transmitter(splatter=("elliptic", 5, 3200.0)), rx, card, timing,
        seed=3, baseband_rate_hz=96000,
    )  # fmt: skip
    return made.audio[round(0.1 * RATE_HZ) : round(-0.1 * RATE_HZ)]


def coded(samples: np.ndarray, rate_hz: int, form: str, subtype: str) -> np.ndarray:
    """`samples` at 48 kHz through a codec that works at `rate_hz`, and back."""
    kept = io.BytesIO()
    soundfile.write(kept, soxr.resample(samples, RATE_HZ, rate_hz), rate_hz, format=form, subtype=subtype)
    kept.seek(0)
    return np.asarray(soxr.resample(soundfile.read(kept, dtype="float32")[0], rate_hz, RATE_HZ))


@pytest.mark.parametrize("subtype", ["ULAW", "ALAW", "GSM610", "G721_32"])
@pytest.mark.parametrize("cnr_db", [15.0, 40.0])
def test_telephone_codecs_leave_nothing_above_4_khz(subtype, cnr_db):
    behind = coded(heard(cnr_db=cnr_db), 8000, "WAV", subtype)
    assert ends_at_4_khz(behind, RATE_HZ)
    # A level control behind the codec changes nothing, nor does the sound card's rounding.
    assert ends_at_4_khz(np.round(0.2 * behind * 2.0**15) / 2.0**15, RATE_HZ)


@pytest.mark.parametrize("lowpass_order", [2, 4, 6])
@pytest.mark.parametrize("cnr_db", [15.0, 40.0])
def test_filters_of_a_radio_and_codecs_of_full_width_make_no_such_edge(lowpass_order, cnr_db):
    sound = heard(lowpass_order, cnr_db)
    assert not ends_at_4_khz(sound, RATE_HZ)
    assert not ends_at_4_khz(coded(sound, RATE_HZ, "MP3", "MPEG_LAYER_III"), RATE_HZ)
    at_16_khz = np.asarray(soxr.resample(sound, RATE_HZ, 16000))
    assert not ends_at_4_khz(at_16_khz, 16000)


def test_a_recording_at_8_khz_tells_nothing_and_silence_has_no_edge():
    behind = coded(heard(), 8000, "WAV", "GSM610")
    assert not ends_at_4_khz(np.asarray(soxr.resample(behind, RATE_HZ, 8000)), 8000)
    assert not ends_at_4_khz(np.zeros(RATE_HZ, dtype=np.float32), RATE_HZ)
    assert not ends_at_4_khz(np.zeros(10, dtype=np.float32), RATE_HZ)


def test_the_window_is_the_one_that_scipy_has():
    turns = 2.0 * np.pi * np.arange(4800) / 4800
    made = sum(share * np.cos(k * turns) for k, share in enumerate(WINDOW))
    np.testing.assert_allclose(made, blackmanharris(4800, sym=False), atol=1e-12)


def test_a_whistle_below_4_khz_is_no_edge():
    sound = heard(6, 40.0)
    for hz in (3500.0, 3900.0):
        whistle = 0.05 * np.sin(2 * np.pi * hz * np.arange(len(sound)) / RATE_HZ)
        assert not ends_at_4_khz(sound + whistle, RATE_HZ)


def test_an_over_behind_a_codec_has_the_condition_and_the_same_over_without_has_not():
    for samples, expected in ((heard(), []), (coded(heard(), 8000, "WAV", "GSM610"), ["codec"])):
        assert link_conditions(samples, RATE_HZ) == expected
        audio = OverAudio(samples=samples, sample_rate_hz=RATE_HZ, start_s=0.0, hiss=None)
        over = measure_over(audio, feed=None, limits=get_limits("land-12k5"))
        assert over.kind == "voice"
        assert [name for name in over.conditions if name == "codec"] == expected
