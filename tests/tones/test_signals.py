"""Test signals: level, frequency, shape, and what is refused before it can sound."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import welch

from audiotest.errors import FileError, RequestError
from audiotest.measure.dtmf import find_dtmf
from audiotest.measure.sequences import find_burst, find_calls
from audiotest.measure.tone import fit_sine
from audiotest.measure.toneruns import find_tone_runs
from audiotest.tones import signals
from audiotest.tones.level import OutputScale, learn_output, load_output, prepare, save_output, soft_edges

SCALE = OutputScale(name="bench", full_scale_mv=100.0, ceiling_mv=100.0)


def every_signal():
    return [
        signals.sine(1000.0, 0.5), signals.two_tone(700.0, 1900.0, 0.5), signals.stepped([400.0, 900.0], 0.2),
        signals.swept(300.0, 3000.0, 1.0), signals.speech_noise(1.0), signals.speech("english_reading", 2.0),
        signals.dtmf("19#"), signals.five_tone("CCIR", "12334"), signals.subaudible(88.5, 0.5),
        signals.burst(), signals.step_up(1000.0, 20.0, 0.2, 0.4),
    ]  # fmt: skip


@pytest.mark.parametrize("signal", every_signal(), ids=lambda signal: signal.name)
def test_level_in_millivolts_and_silence_at_both_ends(signal):
    level_mv = 10.0
    x = prepare(signal, level_mv, SCALE)
    assert x.dtype == np.float32
    assert abs(x[0]) < 1e-3
    assert abs(x[-1]) < 1e-3
    assert np.max(np.abs(x)) <= level_mv * signal.crest / SCALE.full_scale_mv / np.sqrt(2) * 1.001
    steady = signal.samples[np.abs(signal.samples) >= 0]
    # While it sounds the RMS is 1: over all of a continuous signal, over less of one with pauses.
    assert 0.5 < np.sqrt(np.mean(steady**2)) <= 1.0001


def test_a_sine_has_the_millivolts_asked_for():
    x = prepare(signals.sine(1000.0, 1.0), 25.0, SCALE)
    fit = fit_sine(x[4800:-4800], 48000)
    # Full scale is 100 mV RMS as a sine: a peak of 1.0.
    assert fit.amplitude == pytest.approx(0.25, rel=1e-4)
    assert fit.frequency_hz == pytest.approx(1000.0, abs=1e-3)


@given(st.floats(0.01, 1e4), st.floats(1.0, 1e3))
def test_the_ceiling_holds_for_every_level(level_mv, ceiling_mv):
    scale = OutputScale(name="bench", full_scale_mv=1000.0, ceiling_mv=ceiling_mv)
    signal = signals.speech_noise(0.2)
    if level_mv * signal.crest > min(ceiling_mv, 1000.0 * np.sqrt(2)):
        with pytest.raises(RequestError, match=r"ceiling|more than the output"):
            prepare(signal, level_mv, scale)
    else:
        peak_mv = np.max(np.abs(prepare(signal, level_mv, scale))) * 1000.0 * np.sqrt(2)
        assert peak_mv <= ceiling_mv * (1 + 1e-6)


def test_start_and_stop_are_soft():
    gain = soft_edges(48000, 48000)
    assert np.max(np.abs(np.diff(gain))) < 2e-3
    assert gain[24000] == 1.0
    assert len(soft_edges(3, 48000)) == 3


def test_speech_noise_has_the_shape_of_its_formula():
    x = signals.speech_noise(30.0)
    hz, density = welch(x.samples, x.rate_hz, nperseg=4800)
    at = np.array([200.0, 600.0, 1000.0, 2000.0, 3000.0])
    found = 10 * np.log10(np.interp(at, hz, density))
    assert found - found[1] == pytest.approx(
        signals.speech_shape_db(at) - signals.speech_shape_db(at[1:2]), abs=0.8
    )  # 600 segments scatter by 0.2 dB
    assert np.interp(8000.0, hz, density) < 1e-8 * density.max()


def test_what_is_sent_is_heard():
    rate = 48000
    assert "".join(k.key for k in find_dtmf(signals.dtmf("159*0#D").samples, rate)) == "159*0#D"
    call = find_calls(find_tone_runs(signals.five_tone("ZVEI-1", "12234").samples, rate))
    assert [(c.set_name, c.digits) for c in call] == [("ZVEI-1", "12234")]
    quiet = np.zeros(rate // 2)
    x = np.concatenate([quiet, prepare(signals.burst(), 10.0, SCALE), quiet])
    found = find_burst(find_tone_runs(x, rate))
    assert found is not None
    assert found.good


@pytest.mark.parametrize(
    "make",
    [
        lambda: signals.sine(5.0, 1.0), lambda: signals.sine(1000.0, 0.0),
        lambda: signals.sine(1000.0, 3600.0),
        lambda: signals.dtmf("12X"), lambda: signals.dtmf(""), lambda: signals.subaudible(90.0, 1.0),
        lambda: signals.five_tone("none", "12345"), lambda: signals.five_tone("CCIR", "12a45"),
        lambda: signals.speech("nobody", 1.0), lambda: signals.speech("english_reading", 1.0, start_s=1e4),
        lambda: signals.stepped([], 0.1),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused(make):
    with pytest.raises(RequestError):
        make()


def test_an_output_is_learned_once_and_read_again(tmp_path):
    learned = learn_output(7.75, sent_dbfs=-20.0, name="bench", ceiling_mv=50.0)
    assert learned.full_scale_mv == pytest.approx(77.5)
    save_output(learned, tmp_path / "out.toml")
    assert load_output(tmp_path / "out.toml") == learned
    with pytest.raises(RequestError):
        learn_output(0.0)
    (tmp_path / "bad.toml").write_text('schema = "audiotest-output-1"\nfull_scale_mv = true\nceiling_mv = 1')
    for name in ("bad.toml", "none.toml"):
        with pytest.raises(FileError, match=name):
            load_output(tmp_path / name)
