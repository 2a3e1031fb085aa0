"""Where the limiter holds, learnt from tones, and what speech is then told to do to it.

The truth is the simulated radio's, which scales the voice for the drive it is asked for.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.advise.rules import judge, turns_deviation
from audiotest.measure.driveviews import FRAME_N, RATE_HZ, drive_views
from audiotest.measure.limiter import CEILING_MOVED, CEILING_USED, CEILING_VOID
from audiotest.measure.path import learn_path
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed, Over, PathResponse
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits
from tests.measure.test_path import recorded

SET = Transmitter(splatter=("butterworth", 4, 3000.0), ceiling_khz=2.2)
RECEIVER = Receiver(scale_khz_per_fs=9.0, cnr_db=35.0, highpass_hz=200.0, highpass_order=2)
HEARD_HZ = 48000


@pytest.fixture(scope="module")
def path() -> PathResponse:
    return learn_path(recorded(SET, RECEIVER, drive_db=24.0), HEARD_HZ)


@pytest.fixture(scope="module")
def heard() -> dict[float, NDArray[np.float64]]:
    voice, rate_hz = load_voice("english_reading")
    return {
        drive_db: simulate(
            voice[: 10 * rate_hz], rate_hz, replace(SET, drive_db=drive_db), RECEIVER, SoundCard(), Timing(),
            seed=5, baseband_rate_hz=96000,
        ).audio
        for drive_db in (-6.0, 1.0, 12.0)
    }  # fmt: skip


def feed_with(path: PathResponse | None) -> Feed:
    return Feed(
        name="bench", method="tone", scale_khz_per_fs=9.0, scale_uncertainty_db=0.2,
        deemphasis_us=RECEIVER.deemphasis_us, tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None,
        hiss_dbfs=None, learned="for the test", path=path,
    )  # fmt: skip


def measured(audio: NDArray[np.float64], path: PathResponse | None) -> Over:
    engine = Engine(HEARD_HZ, feed=feed_with(path), limits=get_limits("uk-27fm"))
    (over,) = [over for over in engine.push(audio) + engine.finish() if over.kind == "voice"]
    return over


def test_the_drive_counts_on_the_ceiling_and_errs_less(
    path: PathResponse, heard: dict[float, NDArray[np.float64]]
) -> None:
    """One voice at three drives: what it errs by on many is measured in docs/accuracy.md."""
    errors = []
    for drive_db, audio in heard.items():
        over, without = measured(audio, path), measured(audio, replace(path, ceiling_fs=None))
        assert CEILING_USED in over.notes
        assert CEILING_USED not in without.notes
        found, blind = over.limiter, without.limiter
        assert found.drive_db is not None
        assert found.drive_low_db is not None
        assert found.drive_high_db is not None
        assert blind.drive_db is not None
        assert found.drive_low_db <= drive_db <= found.drive_high_db
        errors.append((found.drive_db - drive_db, blind.drive_db - drive_db))
    told, untold = np.sqrt(np.mean(np.square(errors), axis=0))
    assert told < untold


@pytest.mark.parametrize("turned_db", [-40.0, -14.0, 8.0])
def test_a_ceiling_that_does_not_fit_is_left_out_and_that_is_said(
    path: PathResponse, heard: dict[float, NDArray[np.float64]], turned_db: float
) -> None:
    """The volume turned since the tones were heard; the scale is not at stake here."""
    audio = heard[12.0] * 10.0 ** (turned_db / 20.0)
    over, without = measured(audio, path), measured(audio, replace(path, ceiling_fs=None))
    assert CEILING_VOID in over.notes
    assert over.limiter == without.limiter


def test_after_an_advice_to_turn_the_deviation_the_ceiling_is_left_out(
    path: PathResponse, heard: dict[float, NDArray[np.float64]]
) -> None:
    """The same over twice: at the second the control may have been turned."""
    gap = heard[12.0][: round(0.4 * HEARD_HZ)]
    twice = np.concatenate([heard[12.0], gap, gap, heard[12.0]])
    limits = get_limits("pmr446")
    feed = feed_with(path)

    def overs(moves: Callable[[Over], bool] | None) -> list[Over]:
        engine = Engine(HEARD_HZ, feed=feed, limits=limits, moves_ceiling=moves)
        return [over for over in engine.push(twice) + engine.finish() if over.kind == "voice"]

    alone = overs(None)
    assert [CEILING_USED in over.notes for over in alone] == [True, True]
    assert judge(alone[0], feed, limits).deviation in ("raise", "lower"), "else nothing is to be turned"
    first, then = overs(turns_deviation(feed, limits))
    assert CEILING_USED in first.notes
    assert CEILING_MOVED in then.notes
    assert CEILING_USED not in then.notes
    assert first.limiter == alone[0].limiter
    assert overs(lambda over: False)[1].limiter == alone[1].limiter


def test_a_volume_that_was_moved_leaves_the_ceiling_out(
    path: PathResponse, heard: dict[float, NDArray[np.float64]]
) -> None:
    engine = Engine(HEARD_HZ, feed=feed_with(path), limits=get_limits("uk-27fm"))
    engine.forget_ceiling()
    (over,) = [over for over in engine.push(heard[12.0]) + engine.finish() if over.kind == "voice"]
    assert CEILING_MOVED in over.notes
    assert over.limiter == measured(heard[12.0], replace(path, ceiling_fs=None)).limiter
    plain = Engine(HEARD_HZ, feed=feed_with(replace(path, ceiling_fs=None)), limits=get_limits("uk-27fm"))
    plain.forget_ceiling()
    (over,) = [over for over in plain.push(heard[12.0]) + plain.finish() if over.kind == "voice"]
    assert CEILING_MOVED not in over.notes, "there was none"


def test_the_ceiling_and_what_left_the_limiter_have_one_unit() -> None:
    wave = np.clip(2.0 * np.sin(2 * np.pi * 300.0 * np.arange(4 * RATE_HZ) / RATE_HZ), -0.5, 0.5)
    # Not its ends, where taking out what sways slower than 30 Hz leaves a step.
    active = np.arange(len(wave) // FRAME_N) % (len(wave) // FRAME_N - 1) > 0

    def over_db(gain: float, ceiling: float | None) -> float | None:
        views = drive_views(
            wave, RATE_HZ, active, noise_db=None, hiss=None, limited=gain * wave, ceiling=ceiling
        )
        return views.over_ceiling_db

    level_db = over_db(1.0, 0.5)
    assert level_db is not None
    # Nought but for what is left of that step.
    assert abs(level_db) < 0.05
    assert over_db(7.0, 3.5) == pytest.approx(level_db, abs=1e-6)
    assert over_db(1.0, 0.25) == pytest.approx(level_db + 20.0 * np.log10(2.0), abs=1e-6)
    assert over_db(1.0, None) is None
    assert drive_views(wave, RATE_HZ, active, noise_db=None, hiss=None, ceiling=0.5).over_ceiling_db is None
