"""The engine on the simulated radio: what it finds against the truth, and that block sizes do not matter."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.measure.over import PEAKS_CUT
from audiotest.radio.link import laboratory_hiss, laboratory_tone, simulate, simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits

LIMITS = get_limits("uk-27fm")
RECEIVER = Receiver(scale_khz_per_fs=10.0, highpass_hz=200.0)
TIMING = Timing(before_s=0.8, bare_carrier_s=0.4, after_s=0.2, end_s=0.8)


def feed(scale_khz_per_fs=10.0, deemphasis_us=750.0):
    return Feed(
        name="test", method="tone", scale_khz_per_fs=scale_khz_per_fs, scale_uncertainty_db=0.2,
        deemphasis_us=deemphasis_us, tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None,
        hiss_dbfs=None, learned="",
    )  # fmt: skip


def speech(name, seconds):
    samples, rate_hz = load_voice(name)
    return samples[: round(seconds * rate_hz)], rate_hz


def run(audio, rate_hz, sizes=(4096,), **options):
    engine = Engine(rate_hz, feed=options.pop("feed", feed()), limits=LIMITS, **options)
    overs, at, k = [], 0, 0
    while at < len(audio):
        size = sizes[k % len(sizes)]
        overs += engine.push(audio[at : at + size])
        at, k = at + size, k + 1
    return overs + engine.finish(), engine


@cache
def two_overs(rate_hz=8000):
    first, source_hz = speech("english_reading", 3.0)
    second, _ = speech("russian_female", 2.5)
    hot = Transmitter(drive_db=15.0, end_beep_hz=1400.0, subaudible_hz=88.5, subaudible_khz=0.25)
    return simulate_session(
        [(first, source_hz, hot), (second, source_hz, Transmitter(drive_db=2.0))],
        RECEIVER, SoundCard(sample_rate_hz=rate_hz), TIMING, seed=5, baseband_rate_hz=96000,
    )  # fmt: skip


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(300, 20000), min_size=1, max_size=6), st.integers(1, 40))
def test_results_do_not_depend_on_the_block_size(sizes, small):
    made = two_overs()
    whole, engine = run(made.audio, 8000, (len(made.audio),))
    cut, other = run(made.audio, 8000, (*sizes, small))
    assert len(whole) == 2
    assert cut == whole
    assert other.input_reading() == engine.input_reading()
    assert other.notes == engine.notes


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
@pytest.mark.parametrize("squelch", ["open", "closed"])
def test_overs_are_found_where_the_carrier_was(rate_hz, squelch):
    voice, source_hz = speech("german_male", 5.0)
    made = simulate(
        voice, source_hz,
        Transmitter(drive_db=8.0, end_beep_hz=1750.0, subaudible_hz=151.4, subaudible_khz=0.3),
        replace(RECEIVER, squelch=squelch), SoundCard(sample_rate_hz=rate_hz), TIMING, seed=2,
        baseband_rate_hz=96000,
    )  # fmt: skip
    overs, _ = run(made.audio, rate_hz)
    assert len(overs) == 1
    over, truth = overs[0], made.truth[0]
    # A closed squelch opens 50 ms after the carrier came up.
    assert over.start_s == pytest.approx(truth.start_s + (0.05 if squelch == "closed" else 0.0), abs=0.02)
    assert over.end_s == pytest.approx(truth.end_s, abs=0.03)
    assert over.kind == "voice"
    assert over.subaudible.frequency_hz == pytest.approx(151.4, abs=0.3)
    if squelch == "open":
        # A second of hiss shows the high-pass at 151 Hz within 1 dB (1 s.d.): 30 % is over two.
        assert over.subaudible.deviation_khz == pytest.approx(0.3, rel=0.3)
    else:
        assert over.subaudible.deviation_khz is None
        assert any("sub-audible deviation unknown" in note for note in over.notes)
    assert over.end_beep.frequency_hz == pytest.approx(1750.0, abs=5.0)
    assert over.end_beep.start_s == pytest.approx(truth.end_beep_start_s, abs=0.03)
    assert over.end_beep.end_s == pytest.approx(truth.end_beep_end_s, abs=0.03)


@pytest.mark.parametrize("deemphasis_us", [0.0, 750.0])
def test_a_laboratory_tone_reads_its_deviation(deemphasis_us):
    # A wide IF: one of 8 kHz takes 0.1 dB from this tone's outer sidebands.
    receiver = replace(
        RECEIVER, deemphasis_us=deemphasis_us, lowpass_hz=None, highpass_hz=None, if_bandwidth_khz=16.0
    )
    made = laboratory_tone(1000.0, 1.5, 2.0, receiver, SoundCard(), seed=1, timing=TIMING)
    overs, _ = run(made.audio, 48000, feed=feed(deemphasis_us=deemphasis_us))
    assert [over.kind for over in overs] == ["tone"]
    assert overs[0].tone.frequency_hz == pytest.approx(1000.0, abs=0.1)
    # 1 %: what the noise at 25 dB carrier-to-noise leaves of a two-second fit is far below it.
    assert overs[0].deviation.peak_khz == pytest.approx(1.5, rel=0.01)
    assert overs[0].limiter.drive_db is None


def test_a_receiver_switched_on_late_changes_no_figure():
    made = two_overs()
    alone, _ = run(made.audio, 8000)
    later, engine = run(np.concatenate([np.zeros(16000, np.float32), made.audio]), 8000)
    assert [over.start_s - 2.0 for over in later] == pytest.approx([over.start_s for over in alone], abs=0.02)
    for over, before in zip(later, alone, strict=True):
        assert over.deviation.peak_khz == pytest.approx(before.deviation.peak_khz, rel=0.03)
        assert over.noise.quieting_db == pytest.approx(before.noise.quieting_db, abs=1.0)
    assert engine.notes == ()


def test_hiss_of_a_receiver_switched_on_is_no_over_and_a_note_says_so():
    hiss = laboratory_hiss(3.0, RECEIVER, SoundCard(), seed=1)
    overs, engine = run(np.concatenate([np.zeros(96000, np.float32), hiss.audio]), 48000)
    assert overs == []
    assert any("no over: the hiss" in note for note in engine.notes)


@pytest.mark.parametrize("cnr_db", [20.0, 26.0, 35.0])
def test_the_live_line_shows_the_deviation_without_noise_and_ringing(cnr_db):
    voice, source_hz = speech("german_male", 4.0)
    made = simulate(
        voice, source_hz, Transmitter(drive_db=10.0), replace(RECEIVER, cnr_db=cnr_db), SoundCard(), TIMING,
        seed=6, baseband_rate_hz=96000,
    )  # fmt: skip
    engine = Engine(48000, feed=feed(), limits=LIMITS)
    shown, bare = [], []
    truth = made.truth[0]
    for at in range(0, len(made.audio), 4800):
        engine.push(made.audio[at : at + 4800])
        reading = engine.reading()
        if truth.start_s + 0.7 < reading.time_s < truth.end_s - 0.1:
            shown.append(reading.deviation_khz)
        elif truth.start_s + 0.32 < reading.time_s < truth.start_s + 0.4:
            bare.append(reading.deviation_khz)
    # A window of 0.3 s has its own 99.9th percentile: the highest of them lies between that of the over and
    # the peak, give or take the decibel that the voices' sibilants lose above the receiver's audio.
    assert 0.9 * truth.p999_khz < max(shown) < 1.1 * truth.peak_khz
    assert max(bare) < 0.1 * truth.peak_khz


def test_harder_drive_reads_as_harder_drive():
    voice, source_hz = speech("english_reading", 9.0)
    read = []
    for drive_db in (0.0, 8.0, 18.0):
        made = simulate(
            voice, source_hz, Transmitter(drive_db=drive_db), RECEIVER, SoundCard(), TIMING, seed=3,
            baseband_rate_hz=96000,
        )  # fmt: skip
        overs, _ = run(made.audio, 48000)
        read.append(overs[0].limiter.drive_db)
    assert read[0] < read[1] < read[2]
    assert read[2] - read[0] > 8.0


def test_without_a_scale_nothing_is_in_khz_and_the_reason_is_told():
    made = two_overs()
    overs, _ = run(made.audio, 8000, feed=None)
    assert overs[0].deviation.peak_khz is None
    assert overs[0].limiter.drive_db is not None
    assert any("no feed scale" in note for note in overs[0].notes)


def test_hiss_overload_is_a_note_and_not_a_verdict():
    voice, source_hz = speech("italian_male", 4.0)
    made = simulate(
        voice, source_hz, Transmitter(drive_db=5.0), replace(RECEIVER, scale_khz_per_fs=5.0), SoundCard(),
        TIMING, seed=4, baseband_rate_hz=96000,
    )  # fmt: skip
    overs, engine = run(made.audio, 48000)
    assert engine.input_reading().overload_runs > 0
    assert engine.input_reading().verdict == "good"
    assert any("hiss" in note for note in engine.notes)
    assert "overload" not in overs[0].conditions


def test_overloaded_speech_is_called_overload():
    voice, source_hz = speech("italian_male", 4.0)
    made = simulate(
        voice, source_hz, Transmitter(drive_db=5.0), replace(RECEIVER, scale_khz_per_fs=0.7), SoundCard(),
        TIMING, seed=4, baseband_rate_hz=96000,
    )  # fmt: skip
    overs, engine = run(made.audio, 48000)
    assert engine.input_reading().verdict == "overloaded"
    assert "overload" in overs[0].conditions
    over = overs[0]
    cut = (over.limiter.drive_db, over.limiter.reached, over.deviation.peak_khz, over.deviation.p999_khz)
    assert cut == (None, None, None, None)
    assert PEAKS_CUT in over.notes


def test_memory_does_not_grow_with_time():
    rng = np.random.default_rng(1)
    engine = Engine(8000, feed=None, limits=LIMITS)
    minute = (0.2 * rng.standard_normal(60 * 8000)).astype(np.float32)
    for _ in range(20):
        engine.push(minute)
    # 75 s are kept, with room to append and to shift: twenty minutes would be 9.6 million samples.
    assert len(engine._memory._buffer) < 4 * 75 * 8000


def test_a_long_over_keeps_its_start_and_its_hiss():
    made = two_overs()
    truth = made.truth[0]
    start_n, end_n = (round(at * 8000) for at in (truth.start_s + 0.45, truth.end_s - 0.5))
    said = made.audio[start_n:end_n]
    long = np.concatenate([made.audio[:start_n], np.tile(said, 40), made.audio[end_n : end_n + 8000]])
    (over,), _ = run(long, 8000)
    (short, _), _ = run(made.audio, 8000)
    assert over.end_s - over.start_s > 100.0
    assert over.start_s == pytest.approx(truth.start_s, abs=0.02)
    assert over.end_s == pytest.approx(truth.end_s + 39 * len(said) / 8000, abs=0.03)
    assert over.noise.quieting_db == pytest.approx(short.noise.quieting_db, abs=3.0)
    assert any("figures cover its last 75 s" in note for note in over.notes)
    assert run(long, 8000, (7777,))[0] == [over]
