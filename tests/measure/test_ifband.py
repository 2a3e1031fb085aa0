"""The receiver's IF filter: how wide the hiss says it is, and whether the peaks outrun it.

The hiss is the simulated radio's, whose filters have the bandwidth that was asked for; the table of factors
itself is recomputed from Rice's correlation in tests/feeds/test_scale.py.
"""

import numpy as np
import pytest

from audiotest.measure.ifband import bandwidth_of_hiss, hiss_khz, outruns_if
from audiotest.measure.over import OverAudio, measure_over
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.limits import get_limits
from tests.made import bench_feed

RATE_HZ = 48000
SCALE_KHZ = 16.0


def hiss(bandwidth_khz: float, order: int, deemphasis_us: float, seed: int = 1) -> np.ndarray:
    """Two seconds without a carrier."""
    rx = Receiver(
        scale_khz_per_fs=SCALE_KHZ,
        if_bandwidth_khz=bandwidth_khz,
        if_order=order,
        deemphasis_us=deemphasis_us,
    )
    timing = Timing(before_s=2.0, bare_carrier_s=0.1, after_s=0.1, end_s=0.1)
    made = simulate(
        np.zeros(1600), 16000, Transmitter(), rx, SoundCard(), timing, seed=seed, baseband_rate_hz=96000
    )
    return made.audio[: round(1.9 * RATE_HZ)]


@pytest.mark.parametrize("deemphasis_us", [0.0, 750.0])
@pytest.mark.parametrize(("bandwidth_khz", "order"), [(7.0, 4), (8.5, 3), (12.0, 6), (16.0, 4)])
def test_the_hiss_tells_the_bandwidth(bandwidth_khz, order, deemphasis_us):
    found = bandwidth_of_hiss(hiss(bandwidth_khz, order, deemphasis_us), RATE_HZ, deemphasis_us, SCALE_KHZ)
    # The filter order moves the level by 3 %, chance in two seconds by 1.5 %: twice that in the bandwidth.
    assert found == pytest.approx(bandwidth_khz, rel=0.1)


def test_what_is_no_hiss_of_this_scale_has_no_bandwidth():
    heard = hiss(8.5, 4, 0.0)
    assert bandwidth_of_hiss(heard[:9600], RATE_HZ, 0.0, SCALE_KHZ) is None
    assert bandwidth_of_hiss(heard, RATE_HZ, 0.0, 10.0 * SCALE_KHZ) is None
    assert bandwidth_of_hiss(np.clip(heard, -0.1, 0.1), RATE_HZ, 0.0, SCALE_KHZ) is None


def test_hiss_grows_with_the_root_of_the_bandwidth():
    """By about 0.75 kHz per root kHz, common practice, no source; 0.75 to 0.79 here."""
    for bandwidth_khz in (7.0, 10.0, 15.0):
        assert hiss_khz(bandwidth_khz) == pytest.approx(0.75 * bandwidth_khz**0.5, rel=0.07)


def over_through(bandwidth_khz: float, ceiling_khz: float, *, stated: bool):
    """An over of real speech, driven 6 dB into the limiter, open squelch before it."""
    voice, voice_hz = load_voice("english_reading")
    tx = Transmitter(drive_db=6.0, ceiling_khz=ceiling_khz)
    rx = Receiver(scale_khz_per_fs=SCALE_KHZ, if_bandwidth_khz=bandwidth_khz, cnr_db=30.0, squelch="open")
    timing = Timing(before_s=0.8)
    made = simulate(voice, voice_hz, tx, rx, SoundCard(), timing, seed=3, baseband_rate_hz=96000)
    truth = made.truth[0]
    start_n, end_n = round(truth.start_s * RATE_HZ), round(truth.end_s * RATE_HZ)
    feed = bench_feed(
        scale_khz_per_fs=SCALE_KHZ, deemphasis_us=rx.deemphasis_us,
        if_bandwidth_khz=bandwidth_khz if stated else None,
    )  # fmt: skip
    audio = OverAudio(
        samples=made.audio[start_n:end_n], sample_rate_hz=RATE_HZ, start_s=truth.start_s,
        hiss=made.audio[: start_n - 2400],
    )  # fmt: skip
    return measure_over(audio, feed=feed, limits=get_limits("uk-27fm"))


@pytest.mark.parametrize("stated", [True, False])
def test_a_swing_past_the_filter_is_named(stated):
    narrow = over_through(7.5, 6.0, stated=stated)
    wide = over_through(16.0, 2.5, stated=stated)
    assert "if_narrow" in narrow.conditions
    assert "if_narrow" not in wide.conditions


def test_the_edge():
    assert outruns_if(4.7, 8.0)
    assert not outruns_if(4.5, 8.0)
