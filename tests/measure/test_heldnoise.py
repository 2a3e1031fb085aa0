"""Whether a level control is told by the noise that it holds down between the words, and whose it is.

Truth: the simulated radio, whose level control, clippers, room noise and sound card are known.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import audiotest.measure.over as measure_over_module
from audiotest.measure.heldnoise import held_noise, level_control_conditions
from audiotest.measure.over import OverAudio, measure_over
from audiotest.radio.link import Simulation, simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.limits import get_limits

RATE_HZ = 24000
BARE_S, SPOKEN_S = (0.0, 0.5), (0.6, 3.6)
TIMING = Timing(before_s=0.3, bare_carrier_s=0.5, after_s=0.2, end_s=0.3)
SECONDS = 9
VOICES = ("german_male", "italian_male", "english_reading")


def words_in_noise(pause_gain, *, above=1.0, seed=0):
    """Noise, then loud words of 0.3 s with pauses of 0.2 s, whose noise below 3.4 kHz has `pause_gain(s)`."""
    rng = np.random.default_rng(seed)
    n = round(3.6 * RATE_HZ)
    hz = np.fft.rfftfreq(n, 1.0 / RATE_HZ)
    white = np.fft.rfft(0.01 * rng.standard_normal(n))
    low, high = (np.fft.irfft(np.where(side, white, 0.0), n) for side in (hz < 3800.0, hz >= 3800.0))
    at_s = np.arange(n) / RATE_HZ
    since_s = np.where(at_s < 0.6, np.inf, (at_s - 0.6) % 0.5 - 0.3)
    gain = np.where(np.isinf(since_s), 1.0, pause_gain(np.maximum(since_s, 0.0)))
    word = (since_s < 0.0) * 0.5 * np.sin(2.0 * np.pi * 700.0 * at_s)
    return low * gain + word + high * np.where(gain < 1.0, above, 1.0)


def risen(depth_db):
    """The gain of a level control after a word, rising with 0.3 s."""
    return lambda s: 1.0 - (1.0 - 10.0 ** (-depth_db / 20.0)) * np.exp(-s / 0.3)


def test_noise_that_is_held_down_and_rises_again_is_a_level_control_of_the_set():
    found = held_noise(words_in_noise(risen(10.0)), RATE_HZ, BARE_S, SPOKEN_S)
    mean_db = 20.0 * np.log10(np.mean(risen(10.0)(np.linspace(0.0, 0.2, 50))))
    assert found.fall_db == pytest.approx(mean_db, abs=1.2)
    assert found.rise_db_per_s > 10.0
    assert abs(found.above_db) < 0.5
    assert found.scatter_db == pytest.approx(0.9, abs=0.4)
    assert found.by == "set"


def test_what_moves_above_the_voice_alike_passed_a_control_in_the_sound_card():
    moving = words_in_noise(risen(10.0), above=0.45)
    assert held_noise(moving, RATE_HZ, BARE_S, SPOKEN_S).by == "sound card"
    assert level_control_conditions(moving, RATE_HZ, BARE_S, SPOKEN_S) == ["levelling"]


def test_where_no_noise_is_heard_above_the_voice_nothing_tells_whose_it_is():
    held = words_in_noise(risen(10.0))
    hz = np.fft.rfftfreq(len(held), 1.0 / RATE_HZ)
    cut_off = np.fft.irfft(np.where(hz < 4000.0, np.fft.rfft(held), 0.0), len(held))
    found = held_noise(np.round(cut_off * 2.0**15) / 2.0**15, RATE_HZ, BARE_S, SPOKEN_S)
    assert (found.above_db, found.by) == (None, "either")


def test_a_recording_that_ends_at_4_khz_tells_not_whose_it_is():
    low = words_in_noise(risen(10.0))[::3]
    found = held_noise(low, RATE_HZ // 3, BARE_S, SPOKEN_S)
    assert found.above_db is None
    assert found.by == "either"
    assert level_control_conditions(low, RATE_HZ // 3, BARE_S, SPOKEN_S) == ["levelling"]


@pytest.mark.parametrize("seed", range(8))
def test_noise_that_stays_is_none(seed):
    found = held_noise(words_in_noise(lambda s: np.ones_like(s), seed=seed), RATE_HZ, BARE_S, SPOKEN_S)
    assert abs(found.fall_db) < 1.2
    assert found.by is None


def test_noise_that_only_became_less_and_does_not_rise_in_the_pauses_is_none():
    """Somebody shut the window: 8 dB less for good, or less and less."""
    for gain in (lambda s: np.full_like(s, 0.4), lambda s: 0.4 * np.exp(-s / 0.3)):
        found = held_noise(words_in_noise(gain), RATE_HZ, BARE_S, SPOKEN_S)
        assert found.fall_db < -6.0
        assert found.by is None


def test_unsteady_noise_before_the_first_word_tells_nothing():
    held = words_in_noise(risen(10.0))
    at_s = np.arange(round(0.5 * RATE_HZ)) / RATE_HZ
    held[: len(at_s)] *= 10.0 ** (6.0 * np.sin(2.0 * np.pi * 5.0 * at_s) / 20.0)
    found = held_noise(held, RATE_HZ, BARE_S, SPOKEN_S)
    assert found.fall_db < -3.0
    assert found.scatter_db > 2.0
    assert found.by is None


def test_without_a_pause_or_a_bare_carrier_it_is_unknown():
    sound = words_in_noise(risen(10.0))
    assert held_noise(sound, RATE_HZ, (0.0, 0.05), SPOKEN_S) is None
    assert held_noise(sound, RATE_HZ, BARE_S, (0.6, 0.9)) is None
    assert level_control_conditions(sound, RATE_HZ, (0.0, 0.05), SPOKEN_S) == []


def test_gain_and_polarity_change_nothing():
    sound = words_in_noise(risen(10.0))
    one = held_noise(sound, RATE_HZ, BARE_S, SPOKEN_S)
    other = held_noise(-7.0 * sound, RATE_HZ, BARE_S, SPOKEN_S)
    assert other.fall_db == pytest.approx(one.fall_db, abs=1e-6)
    assert other.rise_db_per_s == pytest.approx(one.rise_db_per_s, abs=1e-6)


# -- over the simulated radio ----------------------------------------------------------------------


def room_noise(kind, n, rate_hz, rng):
    """Noise of RMS 1 that falls 6 dB per octave above 300 Hz, or three voices at once."""
    if kind == "babble":
        voices = [load_voice(name)[0].astype(float) for name in VOICES]
        return sum(np.resize(np.roll(v, rng.integers(len(v))), n) / np.std(v) for v in voices) / 3.0**0.5
    spectrum = np.fft.rfft(rng.standard_normal(n))
    hz = np.fft.rfftfreq(n, 1.0 / rate_hz)
    noise = np.fft.irfft(spectrum * np.minimum(1.0, 300.0 / np.maximum(hz, 50.0)), n)
    noise /= np.std(noise)
    if kind == "fluttering":
        noise *= 10.0 ** (5.0 * np.sin(2.0 * np.pi * 3.0 * np.arange(n) / rate_hz) / 20.0)
    return noise


@cache
def simulated(
    limiter, *, voice="german_male", room="steady", ambient_db=-18.0, squelch="open", agc=False, cnr_db=35.0
):
    """Speech at a drive of 18 dB, the room's noise mixed to the voice beforehand."""
    speech, rate_hz = load_voice(voice)
    speech = speech[: SECONDS * rate_hz].astype(float)
    lead = np.zeros(round(0.5 * rate_hz))
    source = np.concatenate([lead, speech])
    rng = np.random.default_rng(5)
    loud = np.sqrt(np.mean(speech[np.abs(speech) > 0.05 * np.max(np.abs(speech))] ** 2))
    source = source + room_noise(room, len(source), rate_hz, rng) * loud * 10.0 ** (ambient_db / 20.0)
    return simulate(
        source, rate_hz, Transmitter(drive_db=18.0, limiter=limiter, release_s=0.3),
        Receiver(cnr_db=cnr_db, squelch=squelch, if_bandwidth_khz=12.0, scale_khz_per_fs=25.0),
        SoundCard(agc=agc),
        Timing(before_s=0.4, bare_carrier_s=0.02, after_s=0.1, end_s=0.4), seed=4, baseband_rate_hz=96000,
    )  # fmt: skip


def conditions(made: Simulation):
    truth = made.truth[0]
    samples = made.audio[
        round((truth.start_s + 0.02) * made.sample_rate_hz) : round(
            (truth.end_s - 0.02) * made.sample_rate_hz
        )
    ]
    audio = OverAudio(samples=samples, sample_rate_hz=made.sample_rate_hz, start_s=0.0, hiss=None)
    return measure_over(audio, feed=None, limits=get_limits("uk-27fm")).conditions


@pytest.mark.parametrize("squelch", ["open", "closed"])
@pytest.mark.parametrize("limiter", ["levelling", "levelling+hard"])
def test_a_level_control_in_the_transmitter_is_named(limiter, squelch):
    assert "level_control" in conditions(simulated(limiter, squelch=squelch))


@pytest.fixture
def told(monkeypatch):
    """What the noise itself tells of a simulated over, whatever else the over shows: [[]] is no control."""
    seen = []

    def spied(*figures):
        seen.append(level_control_conditions(*figures))
        return seen[-1]

    monkeypatch.setattr(measure_over_module, "level_control_conditions", spied)

    def of(made):
        seen.clear()
        conditions(made)
        return seen

    return of


@pytest.mark.parametrize("squelch", ["open", "closed"])
@pytest.mark.parametrize("limiter", ["hard", "soft", "diode", "lopsided"])
def test_a_clipper_in_the_same_room_is_not(told, limiter, squelch):
    assert told(simulated(limiter, squelch=squelch)) == [[]]


def test_where_the_room_is_quieter_than_the_carrier_it_is_silent(told):
    assert told(simulated("levelling")) == [["level_control"]]
    assert told(simulated("levelling", ambient_db=-70.0)) == [[]]


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("room", ["babble", "fluttering"])
@pytest.mark.parametrize("limiter", ["hard", "soft"])
def test_an_unsteady_room_before_a_clipper_is_not_taken_for_one(told, limiter, room, voice):
    # Where the noise is not even enough before the first word it is not looked at.
    assert not any(told(simulated(limiter, room=room, voice=voice)))


def test_an_automatic_gain_in_the_sound_card_is_not_put_on_the_set(told):
    assert told(simulated("hard", agc=True)) == [[]]


def test_what_noise_or_a_cut_recording_may_feign_is_not_named_beside_them(monkeypatch):
    monkeypatch.setattr(measure_over_module, "level_control_conditions", lambda *_: ["level_control"])
    assert "level_control" in conditions(simulated("levelling"))
    weak = conditions(simulated("hard", cnr_db=7.0))
    assert "weak" in weak
    assert "level_control" not in weak
    made = simulated("levelling")
    cut = replace(made, audio=np.clip(made.audio, -0.05, 0.05) * 20.0)
    assert "overload" in conditions(cut)
    assert "level_control" not in conditions(cut)
