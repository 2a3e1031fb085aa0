"""The transmitter's audio against closed forms and against a second computation."""

import numpy as np
import pytest
import scipy.signal as sps

from audiotest.radio.settings import Transmitter
from audiotest.radio.transmitter import Modulation, analogue_highpass, analogue_lowpass, emphasis, modulate
from audiotest.radio.voices import load_voice

RATE_HZ = 192000
FLAT = Transmitter(
    preemphasis_us=None, mic_highpass_hz=20.0, splatter=("butterworth", 1, 5e6), ceiling_khz=1.0
)
"""A bare limiter: nothing before it and next to nothing after it."""


def with_(tx: Transmitter, **changes) -> Transmitter:
    return Transmitter(**{name: getattr(tx, name) for name in tx.__slots__} | changes)


def sent(samples, tx: Transmitter, **timing) -> Modulation:
    timing = {"lead_s": 0.0, "trail_s": 0.0} | timing
    return modulate(samples, 16000, tx, rate_hz=RATE_HZ, rng=np.random.default_rng(1), **timing)


def tone(hz: float, seconds: float = 0.6) -> np.ndarray:
    return np.sin(2 * np.pi * hz * np.arange(round(16000 * seconds)) / 16000)


def driven(drive_db: float, **changes) -> Transmitter:
    """`FLAT` with a tone of full scale this far above the threshold once it is steady.

    Set by the gain: a drive over the whole tone would count the transient of its onset.
    """
    return with_(FLAT, drive_db=None, mic_gain_db=drive_db, **changes)


def lines(tx: Transmitter, hz: float, count: int = 9) -> np.ndarray:
    """Complex amplitudes of harmonics 1 to `count`, turned so that the fundamental's phase is 0."""
    steady = sent(tone(hz), tx).speech_khz[RATE_HZ // 5 : RATE_HZ // 5 + RATE_HZ // 4]
    t = np.arange(len(steady)) / RATE_HZ
    found = np.array([2 * np.mean(steady * np.exp(-2j * np.pi * n * hz * t)) for n in range(1, count + 1)])
    return found * np.exp(-1j * np.arange(1, count + 1) * np.angle(found[0]))


# -- limiter --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("drive_db", "h3_percent", "h5_percent"),
    [(1, 3.6842, 2.4718), (3, 12.9234, 2.6092), (6, 22.5839, 4.4738), (10, 28.9505, 12.7382),
     (12, 30.5533, 15.2475), (20, 32.8895, 19.2075)],
)  # fmt: skip
def test_a_clipped_tone_has_the_harmonics_of_its_fourier_series(drive_db, h3_percent, h5_percent):
    """bₙ = 4/(πn(n²−1))·[n·sin(na)·cos a − cos(na)·sin a], a = arcsin r (Fourier series)."""
    r = 10 ** (-drive_db / 20)
    a = np.arcsin(r)
    found = lines(driven(float(drive_db)), 400.0)
    first = (2 * a + np.sin(2 * a)) / np.pi
    assert np.abs(found[0]) == pytest.approx(first / r, rel=5e-4)
    for n in (3, 5, 7, 9):
        b = 4 / (np.pi * n * (n**2 - 1)) * (n * np.sin(n * a) * np.cos(a) - np.cos(n * a) * np.sin(a))
        assert np.abs(found[n - 1]) == pytest.approx(abs(b) / r, abs=5e-4)
    assert 100 * np.abs(found[2] / found[0]) == pytest.approx(h3_percent, abs=0.02)
    assert 100 * np.abs(found[4] / found[0]) == pytest.approx(h5_percent, abs=0.02)
    assert np.max(np.abs(found[1::2])) < 1e-4


@pytest.mark.parametrize(("kind", "knee", "null_db"), [("hard", 4.0, 4.26), ("soft", 8.0, 3.90)])
def test_the_fifth_harmonic_vanishes_at_the_drive_it_should(kind, knee, null_db):
    """No filter after the limiter can move this null. Hard: a root of b₅; soft: y = u/(1+|u|^p)^(1/p), p = 8,
    by numerical integration over one period here."""
    angle = np.linspace(0, 2 * np.pi, 20001)

    def fifth(drive_db: float) -> float:
        u = 10 ** (drive_db / 20) * np.sin(angle)
        y = np.clip(u, -1, 1) if kind == "hard" else u / (1 + np.abs(u) ** knee) ** (1 / knee)
        return float(np.trapezoid(y * np.sin(5 * angle), angle))

    assert fifth(null_db - 0.02) * fifth(null_db + 0.02) < 0
    below, above = (lines(driven(null_db + step, limiter=kind, knee=knee), 400.0)[4] for step in (-0.1, 0.1))
    # The harmonic turns over, whatever its phase.
    assert np.real(below * np.conj(above)) < 0
    assert max(abs(below), abs(above)) < 4e-3


def test_a_lopsided_limiter_makes_even_harmonics():
    """Two thresholds 10 % either way. A square wave of +1.1 and −0.9 with equal times would have none; it is
    the unequal clipping angles that make them, so H2 has to be worked out: numerical Fourier integral."""
    angle = np.linspace(0, 2 * np.pi, 20001)
    for drive_db in (1.0, 4.0, 8.0):
        y = np.clip(10 ** (drive_db / 20) * np.sin(angle), -0.9, 1.1)
        h1, h2 = (abs(np.trapezoid(y * np.exp(1j * n * angle), angle)) for n in (1, 2))
        found = lines(driven(drive_db, limiter="lopsided", asymmetry=0.1), 400.0)
        assert abs(found[1] / found[0]) == pytest.approx(h2 / h1, rel=0.01)


def test_levelling_holds_the_level_without_harmonics():
    found = [abs(lines(with_(FLAT, drive_db=d, limiter="levelling"), 1000.0)) for d in (4.0, 12.0)]
    assert found[1][0] == pytest.approx(found[0][0], rel=0.01)
    assert all(20 * np.log10(h[2] / h[0]) < -60 for h in found)


def test_levelling_lets_an_onset_through_and_recovers_slowly():
    loud = np.concatenate([0.1 * tone(1000, 0.5), tone(1000, 0.5), 0.1 * tone(1000, 1.0)])
    tx = with_(FLAT, drive_db=12.0, limiter="levelling", attack_s=0.01, release_s=0.3)
    y = np.abs(sent(loud, tx).speech_khz)

    def peak(start_s, stop_s):
        return np.max(y[round(start_s * RATE_HZ) : round(stop_s * RATE_HZ)])

    assert peak(0.5, 0.52) > 2.0
    assert peak(0.9, 0.99) == pytest.approx(1.0, abs=0.02)
    assert peak(1.01, 1.03) < 0.35 * peak(1.9, 1.95)
    assert peak(1.9, 1.95) == pytest.approx(10 ** (12 / 20) * 0.1, rel=0.05)


def test_what_the_limiter_folds_back_is_inaudible():
    """A tone of 2.9 kHz, 20 dB into hard clipping, has harmonics far above half the rate; near bₙ ≈ 0.3 % at
    the 66th, the first to land in the audio, and falling as 1/n² there."""
    y = sent(tone(2900), with_(FLAT, drive_db=20.0)).speech_khz[RATE_HZ // 5 : RATE_HZ // 5 + RATE_HZ // 4]
    spectrum = np.abs(np.fft.rfft(y * np.blackman(len(y))))
    hz = np.fft.rfftfreq(len(y), 1 / RATE_HZ)
    audible = (hz > 100) & (hz < 5000)
    main = np.abs(hz - 2900) < 40
    assert 20 * np.log10(spectrum[audible & ~main].max() / spectrum[main].max()) < -50


# -- filters --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tau_us", "db"),
    [(50, (-0.37, -0.30, 1.04, 1.68, 2.35)), (75, (-0.79, -0.64, 1.89, 2.91, 3.90)),
     (530, (-7.82, -5.06, 5.74, 7.65, 9.21)), (750, (-8.89, -5.49, 5.88, 7.80, 9.37))],
)  # fmt: skip
def test_emphasis_re_1_khz(tau_us, db):
    """Closed form √(1+(2πfτ)²) at 300, 500, 2000, 2500 and 3000 Hz; two-way values of τ from memory."""
    response = emphasis(tau_us, np.array([1000.0, 300, 500, 2000, 2500, 3000]))
    assert abs(response[0]) == pytest.approx(1.0)
    assert 20 * np.log10(np.abs(response[1:])) == pytest.approx(db, abs=0.0051)


def test_filters_have_the_responses_of_their_families():
    """Butterworth: 1/√(1+(f/fc)^2n); Bessel: −3.01 dB at the corner and less peaking than any; Chebyshev:
    0.5 dB of ripple up to the corner; elliptic: 40 dB of stop band (textbook)."""
    hz = np.array([300.0, 1500.0, 3000.0, 6000.0, 12000.0])
    for order in (1, 4, 7):
        expected = 1 / np.sqrt(1 + (hz / 3000) ** (2 * order))
        assert np.abs(analogue_lowpass("butterworth", order, 3000.0, hz)) == pytest.approx(expected, rel=1e-6)
        expected = 1 / np.sqrt(1 + (3000 / hz) ** (2 * order))
        assert np.abs(analogue_highpass(order, 3000.0, hz)) == pytest.approx(expected, rel=1e-6)
    assert abs(analogue_lowpass("bessel", 4, 3000.0, hz)[2]) == pytest.approx(np.sqrt(0.5), rel=1e-3)
    below = np.linspace(1.0, 3000.0, 500)
    ripple = 20 * np.log10(np.abs(analogue_lowpass("chebyshev", 5, 3000.0, below)))
    assert (ripple.max(), ripple.min()) == pytest.approx((0.0, -0.5), abs=1e-3)
    stop = 20 * np.log10(np.abs(analogue_lowpass("elliptic", 5, 3000.0, np.linspace(6000.0, 9e4, 500))))
    assert stop.max() == pytest.approx(-40.0, abs=0.1)


@pytest.mark.parametrize(("family", "order"), [("butterworth", 3), ("bessel", 4), ("chebyshev", 4)])
def test_overshoot_of_the_splatter_filter_is_that_of_its_differential_equation(family, order):
    """The clipped tone through the filter in the frequency domain, and solved in time."""
    tx = with_(FLAT, drive_db=20.0, splatter=(family, order, 3000.0))
    y = sent(tone(1000), tx).speech_khz[RATE_HZ // 5 : RATE_HZ // 5 + RATE_HZ // 10]
    w = 2 * np.pi * 3000
    made = {
        "butterworth": lambda: sps.butter(order, w, analog=True),
        "bessel": lambda: sps.bessel(order, w, analog=True, norm="mag"),
        "chebyshev": lambda: sps.cheby1(order, 0.5, w, analog=True),
    }[family]()
    t = np.arange(RATE_HZ // 50) / RATE_HZ
    _, solved, _ = sps.lsim(made, np.clip(10 * np.sin(2 * np.pi * 1000 * t), -1, 1), t)
    assert np.max(np.abs(y)) == pytest.approx(np.max(np.abs(solved[len(t) // 2 :])), rel=0.01)


# -- truth ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("voice", ["german_male", "russian_female"])
def test_drive_and_deviation_are_those_of_a_second_computation(voice):
    """In time instead of frequency: polyphase resampling, digital filters, and s·τ as a difference of five
    points (0.02 % low at 8 kHz; one of three would be 1.1 %)."""
    speech, _ = load_voice(voice)
    # Nothing near half the source's rate, where one resampler's edge is not the other's.
    speech = sps.sosfilt(sps.butter(8, 6000.0, fs=16000, output="sos"), speech[:64000])
    tx = Transmitter(mic_gain_db=16.0, drive_db=None, ceiling_khz=2.0, splatter=("butterworth", 4, 3000.0))
    found = sent(speech, tx, lead_s=0.2, trail_s=0.1)
    x = sps.resample_poly(np.concatenate([np.zeros(3200), speech, np.zeros(1600)]).astype(float), 12, 1)
    v = sps.sosfilt(sps.butter(2, 200.0, "highpass", fs=RATE_HZ, output="sos"), x)
    tau = 530e-6
    slope = np.convolve(v, np.array([-1.0, 8.0, 0.0, -8.0, 1.0]) / 12, mode="same")
    v = (v + tau * RATE_HZ * slope) / np.hypot(1, 2 * np.pi * 1000 * tau) * 10 ** (16 / 20)
    frames = v[: len(v) // 3840 * 3840].reshape(-1, 3840)
    rms = np.sqrt(np.mean(frames**2, axis=1))
    active = rms >= np.percentile(rms, 98) * 10 ** (-25 / 20)
    size = np.abs(frames[active])
    drive_db = 20 * np.log10(np.quantile(size, 0.999))
    assert 3.0 < drive_db < 25.0
    assert found.drive_db == pytest.approx(drive_db, abs=0.05)
    assert found.clipped_fraction == pytest.approx(np.mean(size > 1), abs=0.002)
    assert np.mean(found.active != active) < 0.02
    splatter = sps.butter(4, 3000.0, fs=RATE_HZ, output="sos")
    deviation = 2.0 * sps.sosfilt(splatter, np.clip(v, -1, 1))
    assert np.max(found.speech_khz) == pytest.approx(np.max(deviation), rel=0.02)
    assert np.min(found.speech_khz) == pytest.approx(np.min(deviation), rel=0.02)


@pytest.mark.parametrize("drive_db", [-12.0, 0.0, 18.0])
def test_the_drive_asked_for_is_the_drive_sent(drive_db):
    speech, _ = load_voice("italian_male")
    found = sent(speech[:48000], Transmitter(drive_db=drive_db))
    assert found.drive_db == pytest.approx(drive_db, abs=1e-6)
    # One sample in a thousand is above the 99.9th percentile, by definition.
    assert {-12.0: found.clipped_fraction == 0.0, 0.0: abs(found.clipped_fraction - 1e-3) < 1e-5,
            18.0: found.clipped_fraction > 0.05}[drive_db]  # fmt: skip


def test_the_gain_of_the_microphone_moves_the_drive_alike():
    speech, _ = load_voice("italian_male")
    low, high = (
        sent(speech[:32000], Transmitter(mic_gain_db=g, drive_db=None)).drive_db for g in (10.0, 16.0)
    )
    assert high - low == pytest.approx(6.0, abs=1e-6)


def test_the_gain_of_the_microphone_is_that_of_a_1_khz_tone():
    """A full-scale 1 kHz tone and +6 dB: drive 6 dB, since the emphasis is 1 there."""
    tx = Transmitter(mic_gain_db=6.0, drive_db=None, mic_highpass_hz=20.0)
    # The step at the start and end of the tone is emphasised too; one sample in a thousand may show it.
    assert sent(tone(1000, 2.0), tx).drive_db == pytest.approx(6.0, abs=0.1)


def test_ambient_noise_has_its_level_and_is_no_speech():
    speech, _ = load_voice("german_male")
    tx = with_(FLAT, ambient_db=-15.0, limiter="none", mic_gain_db=0.0, drive_db=None)
    found = sent(speech[:64000], tx, lead_s=2.0)
    # The level is re the speech alone: pauses filled with room noise would pull the reference down.
    clean = sent(speech[:64000], with_(tx, ambient_db=None), lead_s=2.0).speech_khz
    rms = np.sqrt(np.mean(clean.reshape(-1, 3840) ** 2, axis=1))
    active = rms[rms > np.percentile(rms, 98) * 10 ** (-25 / 20)]
    room_db = 20 * np.log10(np.std(found.speech_khz[: 2 * RATE_HZ - 3840]) / np.sqrt(np.mean(active**2)))
    assert room_db == pytest.approx(-15.0, abs=1.0)
    assert not found.spoken[:95].any()
    assert found.active[:95].any()
