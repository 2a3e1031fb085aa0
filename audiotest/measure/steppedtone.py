"""Onset and knee of a limiter from a recording of one tone at rising levels."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.measure.limiting import LimitingFit, fit_limiting
from audiotest.measure.pathtones import CombTone, find_comb_tones

SAME_TONE = 0.01


def measure_steps(
    samples: NDArray[np.floating], rate_hz: int, levels_mv: Sequence[float]
) -> tuple[LimitingFit, tuple[float, ...]]:
    """Fit the limiting curve of a recorded staircase of one tone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any linear unit: the tone of 120 to 1300 Hz once for each level, half a second or longer
        each, with breaks of a tenth of a second or more between them.
    rate_hz : int
        Sample rate in Hz, 8 kHz and up.
    levels_mv : sequence of float
        The levels at the microphone socket in the order in which they were played. Only their ratios matter
        to the knee; the onset is in their unit.

    Returns
    -------
    LimitingFit
        Its ``threshold_khz`` is in the unit of the samples.
    tuple of float
        Drive of each step in dB: its level over the onset.

    Raises
    ------
    MeasureError
        Not as many steps are found as levels were given, or no limiter fits.

    Notes
    -----
    Only the fundamental counts, so that no filter behind the limiter matters.

    """
    steps = find_comb_tones(samples, rate_hz)
    steps = _one_tone(steps)
    if len(steps) != len(levels_mv):
        raise MeasureError(
            f"{len(steps)} steps of one tone are in the recording, not {len(levels_mv)}",
            "play each level for half a second or longer with a break of a tenth between them",
        )
    fit = fit_limiting(levels_mv, [float(abs(step.amplitudes[0])) for step in steps])
    drives = 20.0 * np.log10(np.asarray(levels_mv, dtype=np.float64) / fit.onset_mv)
    return fit, tuple(round(float(drive), 3) for drive in drives)


def _one_tone(steps: tuple[CombTone, ...]) -> tuple[CombTone, ...]:
    """The steps of the commonest frequency: a hum or another sound is none of them."""
    if not steps:
        return ()
    typical = float(np.median([step.frequency_hz for step in steps]))
    return tuple(step for step in steps if abs(step.frequency_hz / typical - 1.0) < SAME_TONE)
