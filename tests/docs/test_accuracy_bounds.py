"""The bounds of the accuracy page: what they are made of, and whether its words follow from them."""

import numpy as np
import pytest

from audiotest.radio.transmitter import analogue_lowpass
from tests.benchmarks.accuracy import ceiling, overs, page, stops
from tests.benchmarks.accuracy.heard import shaped
from tests.benchmarks.accuracy.told import FINE, LIMITER_HZ, SENT_HZ, TOPS, rebuilt, sent
from tests.docs.reading import ROOT
from tests.made import flat_path

PATH_TARGET_DB = 1.5
DRIVE_TARGET_DB = 2.0


def speechlike(rate_hz: int, seconds: float) -> np.ndarray:
    t = np.arange(round(rate_hz * seconds)) / rate_hz
    return sum(np.sin(2 * np.pi * hz * t + hz) for hz in (310.0, 730.0, 1130.0, 2210.0)) / 4.0


@pytest.mark.parametrize("drive_db", [-6.0, 0.0, 3.0, 9.0])
def test_cut_tops_are_rebuilt(drive_db: float) -> None:
    """A sine's tops are no parabolas, and yet at 9 dB the rebuilt ones are half a dB too low at most."""
    t = np.arange(LIMITER_HZ) / LIMITER_HZ
    wave = 10 ** (drive_db / 20) * np.sin(2 * np.pi * 700.0 * t)
    top_db = rebuilt(np.clip(wave, -1.0, 1.0), LIMITER_HZ, 0.9999)[TOPS.index(0.999)]
    assert top_db == pytest.approx(drive_db, abs=0.5)


def test_the_known_filter_is_undone_below_3600_hz() -> None:
    """What is left below 3.3 kHz is the limiter's output, whatever filter stood between."""
    fine = np.clip(4.0 * speechlike(FINE * LIMITER_HZ, 2.0), -1.0, 1.0)
    limited = fine[:: FINE * LIMITER_HZ // SENT_HZ]
    splatter = ("butterworth", 3, 3400.0)
    behind, undone = sent(fine.astype(np.float32), splatter)
    wanted, _ = sent(fine.astype(np.float32), ("butterworth", 1, 1e6))
    middle = slice(SENT_HZ // 4, -SENT_HZ // 4)
    assert len(undone) == len(limited)
    error = np.std((undone - wanted)[middle]) / np.std(wanted[middle])
    assert error < 0.03 < np.std((behind - wanted)[middle]) / np.std(wanted[middle])


def test_the_undone_filter_is_the_one_that_was_passed() -> None:
    """Undoing another filter does not give the limiter's output back: the check above can fail."""
    fine = np.clip(4.0 * speechlike(FINE * LIMITER_HZ, 2.0), -1.0, 1.0).astype(np.float32)
    behind, undone = sent(fine, ("butterworth", 3, 3400.0))
    other = shaped(behind, SENT_HZ, 0.0, lambda hz: analogue_lowpass("chebyshev", 6, 2600.0, hz))
    assert np.std(other - undone) > 0.1 * np.std(undone)


def test_the_words_follow_from_the_figures() -> None:
    """Where the page says that a target is out of reach, the bound lies above it."""
    found = overs.read(ROOT / "docs" / page.OVERS).further["bound"]
    behind = [stops.best_at(found, view) for view in ("splatter", "relative")]
    assert all(best["all"]["rms_db"] > max(PATH_TARGET_DB, DRIVE_TARGET_DB) for best in behind)
    for best in behind:
        assert best["in_band"][0] == max(best["in_band"]), "peaks that are filtered away are told worst"
        assert best["best_talker_db"] < best["all"]["rms_db"] < best["worst_talker_db"]
    for view in stops.VIEWS:
        rows = stops.surest_at(found, view)
        for key in stops.OUTCOMES:
            assert rows["all"][key] == sum(rows[wanted][key] for wanted in rows if wanted != "all")


def test_a_control_turned_down_leaves_a_ceiling_that_is_too_high() -> None:
    """What was learnt is what the limiter held before the turn."""
    known = ceiling.knowledge(flat_path(ceiling_fs=0.3))
    assert known[ceiling.NO_PATH] is None
    learnt = {name: path.ceiling_fs for name, path in known.items() if path is not None}
    assert learnt[ceiling.PATH_ALONE] is None
    assert learnt[ceiling.CEILING] == 0.3
    assert learnt[ceiling.turned_name(-6.0)] == pytest.approx(0.3 * 10.0 ** (6.0 / 20.0))
    assert learnt[ceiling.turned_name(6.0)] == pytest.approx(0.3 * 10.0 ** (-6.0 / 20.0))
    assert "down 6 dB" in ceiling.turned_name(-6.0)
