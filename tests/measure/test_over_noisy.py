"""A peak deviation is stated only where speech makes it: not the clicks below FM's threshold, not a sweep."""

import numpy as np
import pytest

from audiotest.advise.rules import advise
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed, Over
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits

SPEECH_S = 6
LIMITS = get_limits("uk-27fm")
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=12.0, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="simulated",
)  # fmt: skip


def heard(drive_db: float, cnr_db: float, voice: str | None = "italian_male") -> tuple[Over, float]:
    """The over as measured, and its true peak in kHz; without a voice a sweep."""
    speech, rate_hz = load_voice(voice or "italian_male")
    if voice is None:
        seconds = np.arange(SPEECH_S * rate_hz) / rate_hz
        speech = 0.3 * np.sin(2.0 * np.pi * (300.0 + 220.0 * seconds) * seconds)
    simulation = simulate(
        speech[: SPEECH_S * rate_hz], rate_hz, Transmitter(drive_db=drive_db, ceiling_khz=2.0),
        Receiver(scale_khz_per_fs=12.0, cnr_db=cnr_db), SoundCard(), Timing(), seed=3,
    )  # fmt: skip
    engine = Engine(simulation.sample_rate_hz, feed=FEED, limits=LIMITS)
    overs = engine.push(simulation.audio) + engine.finish()
    return max(overs, key=lambda over: over.end_s - over.start_s), simulation.truth[0].peak_khz


@pytest.mark.parametrize(("drive_db", "cnr_db"), [(5.0, 8.0), (5.0, 4.0), (-10.0, 4.0)])
def test_below_the_threshold_no_deviation_is_stated_and_a_note_says_why(
    drive_db: float, cnr_db: float
) -> None:
    over, _ = heard(drive_db, cnr_db)
    assert "weak" in over.conditions
    deviation = over.deviation
    assert (deviation.peak_khz, deviation.p999_khz, deviation.rms_khz) == (None, None, None)
    assert (deviation.positive_khz, deviation.negative_khz) == (None, None)
    assert deviation.limit_khz == 2.5
    assert any("the clicks of a weak carrier" in note for note in over.notes)
    advice = advise(over, LIMITS)
    assert advice.deviation == "unknown"
    assert not any("scale" in line for line in advice.because)


@pytest.mark.parametrize(("drive_db", "cnr_db"), [(5.0, 10.0), (5.0, 16.0), (-8.0, 16.0)])
def test_above_the_threshold_the_peak_stands_also_where_speech_is_faint(
    drive_db: float, cnr_db: float
) -> None:
    over, true_khz = heard(drive_db, cnr_db)
    assert over.deviation.peak_khz is not None
    # 1.9 dB was the most of six such overs.
    assert abs(20.0 * np.log10(over.deviation.peak_khz / true_khz)) < 2.5


def test_what_is_no_speech_has_no_deviation() -> None:
    over, _ = heard(5.0, 25.0, voice=None)
    assert "not_speech" in over.conditions
    assert over.deviation.peak_khz is None
    assert any(note == "deviation unknown: what is heard is no speech" for note in over.notes)
