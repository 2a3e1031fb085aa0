"""Learning a feed's scale, against the simulated radio's truth."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.errors import AudiotestError, MeasureError, RequestError
from audiotest.feeds.scale import learn_from_hiss, learn_from_tone
from audiotest.measure.ifband import HISS_BANDWIDTH_KHZ, HISS_FACTOR
from audiotest.radio.link import laboratory_hiss, laboratory_tone
from audiotest.radio.settings import Receiver, SoundCard, Timing
from audiotest.radio.voices import load_voice

RATE_HZ = 48000
SCALE_KHZ = 12.0


def tone_fs(hz: float, amplitude: float, seconds: float, rate_hz: int = RATE_HZ) -> NDArray[np.float64]:
    return amplitude * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz + 0.3)


def noise_fs(level: float, seconds: float, seed: int = 1) -> NDArray[np.float64]:
    return level * np.random.default_rng(seed).normal(size=round(seconds * RATE_HZ))


def error_db(value: float, truth: float) -> float:
    return abs(20 * math.log10(value / truth))


def tone_scale(samples: NDArray[np.floating], hz: float = 1000.0, deemphasis_us: float | None = 0.0) -> float:
    return learn_from_tone(samples, RATE_HZ, hz, 1.5, deemphasis_us, "bench").scale_khz_per_fs


# -- tone -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("hz", [300.0, 1000.0, 2500.0])
def test_a_clean_tone_gives_the_exact_scale(hz: float) -> None:
    assert tone_scale(tone_fs(hz, 0.25, 2.0), hz) == pytest.approx(6.0, rel=1e-3)


@pytest.mark.parametrize(("hz", "tau_us"), [(400.0, 750.0), (1000.0, 750.0), (2000.0, 530.0)])
def test_the_scale_of_a_deemphasised_feed_holds_at_1_khz(hz: float, tau_us: float) -> None:
    """First-order network, gain |1 + j2πfτ| (textbook)."""
    tau_s = tau_us * 1e-6
    loss = math.hypot(1, 2 * math.pi * 1000 * tau_s) / math.hypot(1, 2 * math.pi * hz * tau_s)
    heard = tone_fs(hz, 0.25 * loss, 2.0)
    assert tone_scale(heard, hz, tau_us) == pytest.approx(6.0, rel=1e-3)
    assert tone_scale(heard, hz, None) == pytest.approx(1.5 / (0.25 * loss), rel=1e-3)


@pytest.mark.parametrize("offset", [-0.018, 0.018])
def test_a_tone_off_by_less_than_2_percent_is_accepted(offset: float) -> None:
    assert tone_scale(tone_fs(1000 * (1 + offset), 0.25, 2.0)) == pytest.approx(6.0, rel=1e-3)


def test_hiss_and_silence_around_the_tone_do_no_harm() -> None:
    parts = [
        noise_fs(0.3, 1.0),
        np.zeros(RATE_HZ // 2),
        tone_fs(1000, 0.25, 1.57),
        noise_fs(0.3, 1.23, seed=2),
    ]
    samples = np.concatenate(parts) + 0.02
    assert tone_scale(samples) == pytest.approx(6.0, rel=2e-3)


@pytest.mark.parametrize("tau_us", [0.0, 750.0])
@pytest.mark.parametrize("tone_hz", [400.0, 1000.0])
def test_a_generator_through_the_radio_gives_the_radio_s_scale(tau_us: float, tone_hz: float) -> None:
    receiver = Receiver(deemphasis_us=tau_us, scale_khz_per_fs=SCALE_KHZ, cnr_db=20.0, highpass_hz=None)
    heard = laboratory_tone(
        tone_hz, 1.5, 2.0, receiver, SoundCard(), seed=3, timing=Timing(before_s=0.6, end_s=0.4)
    )
    feed = learn_from_tone(heard.audio, heard.sample_rate_hz, tone_hz, 1.5, tau_us, "bench")
    assert error_db(feed.scale_khz_per_fs, SCALE_KHZ) < 0.15
    assert feed.scale_uncertainty_db < (0.2 if tone_hz == 1000.0 else 1.3)
    assert (feed.method, feed.tone_hz, feed.deviation_khz) == ("tone", tone_hz, 1.5)


@pytest.mark.parametrize("tone_hz", [400.0, 1000.0, 2500.0])
def test_the_uncertainty_covers_the_receiver_s_audio_filters(tone_hz: float) -> None:
    receiver = Receiver(scale_khz_per_fs=SCALE_KHZ, if_bandwidth_khz=8.5)
    heard = laboratory_tone(tone_hz, 1.5, 1.5, receiver, SoundCard(), seed=3)
    feed = learn_from_tone(heard.audio, heard.sample_rate_hz, tone_hz, 1.5, 750.0, "bench")
    assert error_db(feed.scale_khz_per_fs, SCALE_KHZ) <= feed.scale_uncertainty_db + 0.01
    assert (feed.scale_uncertainty_db > 1.0) == (tone_hz != 1000.0)


def test_the_uncertainty_covers_the_error_the_error_and_follows_the_noise() -> None:
    clean = learn_from_tone(tone_fs(1000, 0.25, 2.0), RATE_HZ, 1000.0, 1.5, 0.0, "clean")
    inside, widths = 0, []
    for seed in range(20):
        rng_noise = noise_fs(0.12, 1.0, seed=seed)
        feed = learn_from_tone(tone_fs(1000, 0.25, 1.0) + rng_noise, RATE_HZ, 1000.0, 1.5, 0.0, "noisy")
        widths.append(feed.scale_uncertainty_db)
        inside += error_db(feed.scale_khz_per_fs, 6.0) <= feed.scale_uncertainty_db
    assert clean.scale_uncertainty_db < 0.11
    assert min(widths) > clean.scale_uncertainty_db
    assert max(widths) < 0.5
    assert inside >= 17


@pytest.mark.parametrize(
    ("samples", "what"),
    [
        (noise_fs(0.2, 2.0), "no clear 1000 Hz tone"),
        (np.zeros(2 * RATE_HZ), "no clear 1000 Hz tone"),
        (tone_fs(1000, 0.1, 2.0) + noise_fs(0.5, 2.0), "no clear 1000 Hz tone"),
        (tone_fs(1100, 0.25, 2.0), "one near 1100 Hz"),
        (np.concatenate([tone_fs(1000, 0.25, 0.3), noise_fs(0.2, 1.0)]), "not steady for 0.5 s"),
        (np.linspace(0.1, 1.0, 2 * RATE_HZ) ** 3 * tone_fs(1000, 0.5, 2.0), "not steady for 0.5 s"),
        (np.clip(tone_fs(1000, 1.2, 2.0), -1, 1), "overloads the sound card"),
        (np.full(RATE_HZ, np.nan), "no numbers"),
        (np.zeros(0), "too short"),
        (np.zeros(10), "too short"),
    ],
    ids=["hiss", "silence", "noisy", "other", "short", "swelling", "overload", "nan", "empty", "few"],
)
def test_what_is_no_reference_tone_is_refused(samples: NDArray[np.float64], what: str) -> None:
    with pytest.raises(MeasureError, match=what):
        tone_scale(samples)


def test_speech_is_no_reference_tone() -> None:
    voice, rate_hz = load_voice("english_reading")
    with pytest.raises(MeasureError):
        learn_from_tone(voice[: 6 * rate_hz], rate_hz, 1000.0, 1.5, 0.0, "bench")


@pytest.mark.parametrize(
    ("hz", "khz", "tau_us"),
    [(0.0, 1.5, 0.0), (30_000.0, 1.5, 0.0), (math.nan, 1.5, 0.0), (1000.0, 0.0, 0.0), (1000.0, math.inf, 0.0),
     (1000.0, 1.5, -1.0), (1000.0, 1.5, math.nan)],
)  # fmt: skip
def test_numbers_without_sense_are_refused(hz: float, khz: float, tau_us: float) -> None:
    with pytest.raises(RequestError):
        learn_from_tone(tone_fs(1000, 0.25, 1.0), RATE_HZ, hz, khz, tau_us, "bench")


@pytest.mark.parametrize("rate_hz", [8000, 44100, 192_000])
def test_every_rate_gives_the_scale(rate_hz: int) -> None:
    feed = learn_from_tone(tone_fs(1000, 0.25, 1.5, rate_hz), rate_hz, 1000.0, 1.5, 0.0, "bench")
    assert feed.scale_khz_per_fs == pytest.approx(6.0, rel=2e-3)


# -- hiss -----------------------------------------------------------------------------------------


def rice_factor(bandwidth_hz: float, order: int) -> float:
    """RMS over 2400 Hz at the density of 600-2200 Hz, in kHz per root kHz, from Rice's correlation.

    R(t) = ½ [g''/g − (g'/g)²] ln(1 − g²) is the autocorrelation of the instantaneous angular frequency of
    narrow-band Gaussian noise with a symmetric spectrum, g its normalised envelope correlation (S. O. Rice,
    Bell System Technical Journal 27, 1948; from memory).
    """
    n, fs = 2**19, 1.0e6
    hz = np.fft.fftfreq(n, 1 / fs)
    k = np.pi / (2 * order)
    spectrum = 1 / (1 + (hz / (bandwidth_hz / 2 * np.sin(k) / k)) ** (2 * order))
    spectrum /= spectrum.sum()
    w = 2 * np.pi * hz
    g, g1, g2 = (np.fft.ifft(part).real * n for part in (spectrum, 1j * w * spectrum, -w * w * spectrum))
    small = np.abs(g) < 1e-4
    safe = np.where(small, 0.5, g)
    r = 0.5 * (g2 / safe - (g1 / safe) ** 2) * np.log1p(-np.minimum(safe**2, 1 - 1e-15))
    r = np.where(small, -0.5 * (g2 * g - g1**2), r)
    r[0] = 0.5 * g2[0] * (np.log(-g2[0] / (2 * fs) ** 2) - 2)  # mean over the cell around the singularity
    density = 2 * np.fft.fft(r).real / fs / (2 * np.pi) ** 2
    inside = (hz >= 600) & (hz <= 2200)
    return float(np.sqrt(density[inside].mean() * 2400 / bandwidth_hz / 1000))


@pytest.mark.parametrize(("khz", "factor"), list(zip(HISS_BANDWIDTH_KHZ, HISS_FACTOR, strict=True)))
def test_the_hiss_factor_is_rice_s(khz: float, factor: float) -> None:
    """Source: Rice 1948 (the formula from memory), mean over Butterworth orders 3 to 6."""
    found = np.mean([rice_factor(khz * 1000, order) for order in (3, 4, 5, 6)])
    assert factor == pytest.approx(found, abs=0.002)


def radio_hiss(bandwidth_khz: float, order: int, tau_us: float, seconds: float = 3.0, gain_db: float = 0.0):  # type: ignore[no-untyped-def]
    receiver = Receiver(
        if_bandwidth_khz=bandwidth_khz, if_order=order, deemphasis_us=tau_us, scale_khz_per_fs=SCALE_KHZ
    )
    return laboratory_hiss(seconds, receiver, SoundCard(gain_db=gain_db), seed=5).audio


@pytest.mark.parametrize(
    ("bandwidth_khz", "order", "tau_us"),
    [(7.0, 3, 750.0), (7.0, 6, 0.0), (9.0, 6, 750.0), (12.0, 4, 0.0), (16.0, 3, 0.0), (16.0, 6, 750.0)],
)
def test_hiss_gives_the_scale_within_1_db_told_or_not(
    bandwidth_khz: float, order: int, tau_us: float
) -> None:
    audio = radio_hiss(bandwidth_khz, order, tau_us)
    told = learn_from_hiss(audio, RATE_HZ, bandwidth_khz, tau_us, "bench")
    assert error_db(told.scale_khz_per_fs, SCALE_KHZ) < 1.0
    assert told.scale_uncertainty_db == 1.5
    judged = learn_from_hiss(audio, RATE_HZ, bandwidth_khz, None, "bench")
    assert judged.deemphasis_us == tau_us
    assert judged.scale_khz_per_fs == told.scale_khz_per_fs
    assert "judged" in judged.learned
    assert "judged" not in told.learned


def test_the_hiss_level_is_that_of_the_raw_band() -> None:
    """White noise of 0.1 RMS at 48 kHz has 3100/24000 of its power in 300-3400 Hz."""
    feed = learn_from_hiss(noise_fs(0.1, 5.0), RATE_HZ, 8.0, 0.0, "bench")
    assert feed.hiss_dbfs == pytest.approx(-20 + 10 * math.log10(3100 / 24000), abs=0.2)


def test_an_unusual_bandwidth_widens_the_uncertainty() -> None:
    assert learn_from_hiss(noise_fs(0.1, 3.0), RATE_HZ, 40.0, 0.0, "bench").scale_uncertainty_db == 2.5


def test_a_quiet_carrier_in_the_recording_does_no_harm() -> None:
    hiss = radio_hiss(8.0, 4, 750.0)
    alone = learn_from_hiss(hiss, RATE_HZ, 8.0, 750.0, "bench").scale_khz_per_fs
    mixed = np.concatenate([noise_fs(0.001, 2.0), hiss, noise_fs(0.001, 1.0)])
    assert learn_from_hiss(mixed, RATE_HZ, 8.0, 750.0, "bench").scale_khz_per_fs == pytest.approx(
        alone, rel=0.03
    )


def refused_hiss(samples: NDArray[np.floating], rate_hz: int = RATE_HZ, khz: float = 8.0) -> str:
    with pytest.raises(AudiotestError) as caught:
        learn_from_hiss(samples, rate_hz, khz, None, "bench")
    assert caught.value.remedy
    return caught.value.what


@pytest.mark.parametrize(
    ("samples", "what"),
    [
        (np.zeros(3 * RATE_HZ), "too quiet"),
        (noise_fs(1e-4, 3.0), "too quiet"),
        (tone_fs(1000, 0.3, 3.0), "a tone near 1000 Hz"),
        (noise_fs(0.1, 3.0) + tone_fs(1000, 0.05, 3.0), "a tone near 1000 Hz"),
        (np.clip(noise_fs(0.9, 3.0), -1, 1), "overloads the sound card"),
        (np.repeat([0.02, 0.2] * 6, RATE_HZ // 4) * noise_fs(1.0, 3.0), "no steady hiss"),
        (np.zeros(100), "too short"),
        (np.full(3 * RATE_HZ, np.inf), "no numbers"),
        (np.cumsum(np.cumsum(noise_fs(1.0, 3.0))) * 1e-5, "hiss|tone|slope"),
    ],
    ids=["zero", "dead input", "tone", "beacon", "overload", "pulsing", "short", "inf", "rumble"],
)
def test_what_is_no_hiss_is_refused(samples: NDArray[np.float64], what: str) -> None:
    import re

    assert re.search(what, refused_hiss(samples))


@pytest.mark.parametrize("voice", ["english_reading", "german_male"])
def test_speech_is_no_hiss(voice: str) -> None:
    samples, rate_hz = load_voice(voice)
    refused_hiss(samples[: 10 * rate_hz], rate_hz)


def test_a_bandwidth_without_sense_is_refused() -> None:
    for khz in (0.0, 2.0, 60.0, math.nan):
        assert "IF bandwidth" in refused_hiss(noise_fs(0.1, 3.0), khz=khz)
