"""A tap at the discriminator, the best feed there is, must not read otherwise than a line output."""

import pytest

from audiotest.measure.over import OverAudio, measure_over
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.limits import get_limits

RATE_HZ = 48000


def read_db(drive_db, mistune_khz, **receiver):
    """Drive read of eight seconds of speech through a receiver."""
    voice, voice_hz = load_voice("english_reading")
    rx = Receiver(
        scale_khz_per_fs=12.0, if_bandwidth_khz=12.0, cnr_db=40.0, mistune_khz=mistune_khz, **receiver
    )
    tx = Transmitter(drive_db=drive_db, ceiling_khz=1.8, mic_highpass_hz=150.0)
    made = simulate(
        voice[: 8 * voice_hz], voice_hz, tx, rx, SoundCard(), Timing(), seed=7, baseband_rate_hz=96000
    )
    truth = made.truth[0]
    heard = made.audio[round(truth.start_s * RATE_HZ) : round(truth.end_s * RATE_HZ)]
    audio = OverAudio(samples=heard, sample_rate_hz=RATE_HZ, start_s=0.0, hiss=None)
    return measure_over(audio, feed=None, limits=get_limits("uk-27fm")).limiter.drive_db


@pytest.mark.parametrize("mistune_khz", [0.0, 0.4])
@pytest.mark.parametrize("drive_db", [8.0, 16.0])
def test_no_coupling_capacitor_makes_no_difference(drive_db, mistune_khz):
    coupled = read_db(drive_db, 0.0, deemphasis_us=0.0, highpass_hz=60.0, highpass_order=1)
    straight = read_db(drive_db, mistune_khz, deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None)
    assert straight == pytest.approx(coupled, abs=2.0)
