"""A transmitter on the bench: its truth against closed forms, and its transmission against the truth."""

import numpy as np
import pytest

from audiotest.errors import RequestError
from audiotest.measure.iq import measure_fm
from audiotest.radio.iq import IqReceiver, beat_note, fm_iq
from audiotest.radio.micsocket import (
    SetUnderTest,
    monitor,
    residual_khz,
    response_db,
    sines_mv,
    slope_error_db,
    socket_truth,
    steady,
    steady_tone,
    transmit,
)
from audiotest.radio.settings import Receiver, Transmitter

RATE_HZ = 192000
BARE = Transmitter(
    preemphasis_us=None, mic_highpass_hz=20.0, splatter=("butterworth", 1, 5e6), ceiling_khz=2.0
)
FLAT = Receiver(if_bandwidth_khz=16.0, cnr_db=60.0, deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None,
                scale_khz_per_fs=1.0)  # fmt: skip
KINDS = (
    Transmitter(),
    Transmitter(limiter="soft", knee=4.0),
    Transmitter(limiter="diode"),
    Transmitter(limiter="lopsided", asymmetry=0.1, splatter=("bessel", 4, 3000.0)),
)


def settled(samples: np.ndarray, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A tenth of a second, from the middle on: whole periods of every multiple of 10 Hz."""
    return np.asarray(samples[len(samples) // 2 :][: rate_hz // 10], dtype=float)


def line(samples: np.ndarray, hz: float, rate_hz: int = RATE_HZ) -> float:
    return float(2 * abs(np.mean(samples * np.exp(-2j * np.pi * hz / rate_hz * np.arange(len(samples))))))


# -- truth against closed forms -------------------------------------------------------------------


def test_a_hard_limiter_compresses_and_distorts_as_its_fourier_series():
    """r = threshold over peak, a = arcsin r: fundamental (2a + sin 2a)/π per unit of input, third harmonic
    4/(24π)·(3·sin 3a·cos a - cos 3a·sin a); 1 dB of compression is a root of the first (closed form)."""
    unit = SetUnderTest(transmitter=BARE, onset_mv=4.0)
    for over_db in (1.0, 6.0, 20.0):
        u = 10 ** (over_db / 20)
        a = np.arcsin(1 / u)
        found = steady_tone(unit, 1000, 4.0 * u)
        if over_db < 10.0:  # Steeper edges ring in any finite bandwidth (Gibbs).
            assert found.peak_khz == pytest.approx(2.0, rel=5e-3)
        assert found.fundamental_khz == pytest.approx(2.0 * u * (2 * a + np.sin(2 * a)) / np.pi, rel=1e-3)
        third = 4 / (24 * np.pi) * (3 * np.sin(3 * a) * np.cos(a) - np.cos(3 * a) * np.sin(a))
        first = (2 * a + np.sin(2 * a)) / np.pi
        assert found.harmonics_percent[1] == pytest.approx(100 * abs(third) / first, abs=0.02)
        assert found.harmonics_percent[0] < 1e-6
    truth = socket_truth(unit)
    a = np.arcsin(4.0 / truth.compression_1db_mv)
    assert 20 * np.log10((2 * a + np.sin(2 * a)) / np.pi) == pytest.approx(-1.0, abs=0.005)
    assert truth.khz_per_mv == pytest.approx(2.0 / 4.0, rel=1e-3)


def test_a_saturated_limiter_is_a_square_wave():
    """Odd harmonics of 1/n: 33.3 %, 20 %, 14.3 %; THD over harmonics 2 to 10 is √(1/9+1/25+1/49+1/81)."""
    found = steady_tone(SetUnderTest(transmitter=BARE, onset_mv=1.0), 500, 1000.0)
    assert found.harmonics_percent[1:8:2] == pytest.approx((33.33, 20.0, 14.29, 11.11), abs=0.1)
    assert found.thd_percent == pytest.approx(100 * np.sqrt(1 / 9 + 1 / 25 + 1 / 49 + 1 / 81), abs=0.1)
    assert found.fundamental_khz == pytest.approx(2.0 * 4 / np.pi, rel=1e-3)


def test_two_equal_tones_in_a_cube_have_the_products_of_the_textbook():
    """y = x·(1 - c·x²) has products 2f1-f2 and 2f2-f1 of 3/4·c·A³ for two tones of A (textbook). A soft
    limiter of p = 2 is x·(1 - x²/2 + …), so far below the onset c = 1/2."""
    unit = SetUnderTest(
        transmitter=Transmitter(limiter="soft", knee=2.0, preemphasis_us=None, mic_highpass_hz=20.0,
                                splatter=("butterworth", 1, 5e6), ceiling_khz=1.0), onset_mv=1.0
    )  # fmt: skip
    found = steady(unit, [(1000, 0.05), (1600, 0.05)])
    for hz in (400, 2200):
        assert found.line_khz(hz) == pytest.approx(0.75 * 0.5 * 0.05**3, rel=0.03)
    assert found.line_khz(1000) == pytest.approx(0.05, rel=0.01)
    assert found.line_khz(600) < 1e-6


@pytest.mark.parametrize("tau_us", [530.0, 750.0])
def test_the_response_is_the_closed_form_and_its_distance_from_the_line(tau_us):
    """√(1+(2πfτ)²), Butterworth 2 below, Butterworth 4 above, against 20·lg(f/1 kHz)."""
    unit = SetUnderTest(transmitter=Transmitter(preemphasis_us=tau_us, splatter=("butterworth", 4, 3000.0)))

    def size(f):
        turn = 2e-6 * np.pi * tau_us * f
        return np.hypot(1, turn) / np.sqrt(1 + (200 / f) ** 4) / np.sqrt(1 + (f / 3000) ** 8)

    for hz in (300.0, 500.0, 2000.0, 3000.0):
        expected = 20 * np.log10(size(hz) / size(1000.0))
        assert response_db(unit, hz) == pytest.approx(expected, abs=1e-6)
        assert slope_error_db(unit, hz) == pytest.approx(expected - 20 * np.log10(hz / 1000), abs=1e-6)


# -- transmission against truth -------------------------------------------------------------------


@pytest.mark.parametrize("tx", KINDS, ids=lambda tx: tx.limiter)
@pytest.mark.parametrize("over_db", [-6.0, 6.0, 20.0])
def test_a_tone_on_the_air_is_the_tone_of_the_truth(tx, over_db):
    unit = SetUnderTest(transmitter=tx, onset_mv=3.0)
    mv = 3.0 * 10 ** (over_db / 20)
    sent = settled(transmit(sines_mv([(500.0, mv)], 0.4), 48000, unit).deviation_khz)
    true = steady_tone(unit, 500, mv)
    assert np.max(sent) == pytest.approx(true.positive_khz, rel=2e-3)
    assert -np.min(sent) == pytest.approx(true.negative_khz, rel=2e-3)
    assert line(sent, 500.0) == pytest.approx(true.fundamental_khz, rel=1e-3)
    for n in (2, 3, 5):
        found = 100 * line(sent, 500.0 * n) / line(sent, 500.0)
        assert found == pytest.approx(true.harmonics_percent[n - 2], abs=0.02)


@pytest.mark.parametrize(("over_db", "peak"), [(-6.0, 0.501), (6.0, 1.0), (20.0, 1.0)])
def test_a_levelling_set_holds_its_ceiling_without_harmonics(over_db, peak):
    unit = SetUnderTest(transmitter=Transmitter(limiter="levelling", ceiling_khz=2.0), onset_mv=3.0)
    mv = 3.0 * 10 ** (over_db / 20)
    sent = settled(transmit(sines_mv([(1000.0, mv)], 1.0), 48000, unit).deviation_khz)
    assert np.max(sent) == pytest.approx(2.0 * peak, rel=2e-3)
    assert steady_tone(unit, 1000, mv).peak_khz == pytest.approx(2.0 * peak, rel=2e-3)
    assert line(sent, 3000.0) / line(sent, 1000.0) < 2e-3


def test_two_tones_on_the_air_are_those_of_the_truth():
    unit = SetUnderTest(onset_mv=5.0)
    tones = [(1000, 5.0), (1600, 5.0)]
    sent = settled(transmit(sines_mv(tones, 0.4), 48000, unit).deviation_khz)
    true = steady(unit, tones)
    for hz in (400, 1000, 1600, 2200):
        assert line(sent, hz) == pytest.approx(true.line_khz(hz), abs=2e-3), hz


def test_a_monitor_receiver_hears_the_lines_of_the_truth():
    """De-emphasis, coupling and audio filter included; 1 kHz at 2 kHz of deviation in an IF of 16 kHz."""
    unit = SetUnderTest(onset_mv=5.0)
    receiver = Receiver(if_bandwidth_khz=20.0, if_order=6, cnr_db=60.0, scale_khz_per_fs=1.0)
    heard = settled(monitor(transmit(sines_mv([(500.0, 15.0)], 0.4), 48000, unit), unit, receiver), 48000)
    true = steady_tone(unit, 500, 15.0, through=receiver)
    assert line(heard, 500.0, 48000) == pytest.approx(true.fundamental_khz, rel=0.01)
    assert 100 * line(heard, 1500.0, 48000) / line(heard, 500.0, 48000) == pytest.approx(
        true.harmonics_percent[1], rel=0.03
    )


def test_hum_and_noise_are_what_a_silent_socket_leaves():
    """4 s of 3.1 kHz of noise scatter by 0.5 %."""
    tx = Transmitter(hum_hz=100.0, hum_khz=0.02)
    unit = SetUnderTest(transmitter=tx, onset_mv=5.0, noise_mv=0.02)
    sent = transmit(np.zeros(4 * 48000), 48000, unit, seed=4).deviation_khz
    power = 2.0 * np.abs(np.fft.rfft(sent) / len(sent)) ** 2
    hz = np.fft.rfftfreq(len(sent), 1 / RATE_HZ)
    for low, high in ((300.0, 3400.0), (90.0, 110.0)):
        found = np.sqrt(np.sum(power[(hz >= low) & (hz <= high)]))
        assert found == pytest.approx(residual_khz(unit, low, high), rel=0.03)
    assert line(sent, 100.0) == pytest.approx(0.02, rel=0.02)


@pytest.mark.parametrize("offset_hz", [-600.0, 350.0])
def test_the_error_of_the_carrier_shows_in_iq_as_a_beat_and_as_an_offset(offset_hz):
    unit = SetUnderTest(onset_mv=5.0, offset_hz=offset_hz)
    sent = transmit(sines_mv([(1000.0, 2.5)], 0.6), 48000, unit)
    made = fm_iq(sent.deviation_khz, RATE_HZ, IqReceiver(sample_rate_hz=48000, offset_hz=offset_hz), seed=1)
    found = measure_fm(made.iq, 48000)
    assert found.offset_hz == pytest.approx(offset_hz, abs=1.0)
    assert found.peak_khz == pytest.approx(steady_tone(unit, 1000, 2.5).peak_khz, rel=0.01)
    assert np.mean(settled(monitor(sent, unit, FLAT), 48000)) == pytest.approx(offset_hz / 1e3, abs=0.005)
    bare = transmit(np.zeros(48000), 48000, unit)
    quiet = fm_iq(bare.deviation_khz, RATE_HZ, IqReceiver(sample_rate_hz=48000, offset_hz=offset_hz), seed=1)
    note = beat_note(quiet.iq, 48000, 1000.0)
    assert np.argmax(np.abs(np.fft.rfft(note * np.hanning(len(note))))) == 1000 + offset_hz


def test_an_onset_of_nothing_is_refused():
    with pytest.raises(RequestError, match="no onset"):
        SetUnderTest(onset_mv=0.0)
