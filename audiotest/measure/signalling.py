"""Every tone for signalling in a stretch of audio, in one reading."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.beep import EndTone, find_end_beep
from audiotest.measure.digitalcode import DigitalCode, find_digital_code
from audiotest.measure.dtmf import DtmfKey, find_dtmf
from audiotest.measure.sequences import Burst, SelectiveCall, find_burst, find_calls
from audiotest.measure.subaudible import find_subaudible
from audiotest.measure.toneruns import find_tone_runs
from audiotest.standards.tones import SUBAUDIBLE_HZ

NEAREST_WITHIN_HZ = 0.5
"""A steady tone is known to a tenth of this in two seconds; the table's closest pair is 2.3 Hz apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SubaudibleHeard:
    """A sub-audible tone: as measured, the table tone within 0.5 Hz of it or None, its peak in full scale."""

    frequency_hz: float
    nearest_hz: float | None
    peak_fs: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Signalling:
    """What was heard besides speech; None and empty are "not heard"."""

    subaudible: SubaudibleHeard | None
    digital: DigitalCode | None
    keys: tuple[DtmfKey, ...]
    calls: tuple[SelectiveCall, ...]
    burst: Burst | None
    end_beep: EndTone | None


def table_tone(frequency_hz: float, within_hz: float = NEAREST_WITHIN_HZ) -> float | None:
    """The one of 50 sub-audible tones within 0.5 Hz of a measured frequency, or None.

    >>> table_tone(88.3), table_tone(89.1)
    (88.5, None)
    """
    nearest = min(SUBAUDIBLE_HZ, key=lambda hz: abs(hz - frequency_hz))
    return nearest if abs(nearest - frequency_hz) <= within_hz else None


def hear_signalling(samples: NDArray[np.floating], rate_hz: int) -> Signalling:
    """Listen for a sub-audible tone or code, dual-tone keys, selective calls, a 1750 Hz burst, an end beep.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One over; two seconds for a sub-audible tone. Full scale 1.0.
    rate_hz : int
        Sample rate in Hz.

    Notes
    -----
    Methods and sources: see `find_subaudible`, `find_digital_code`, `find_dtmf`, `find_calls`, `find_burst`
    and `find_end_beep`.
    """
    tone = find_subaudible(samples, rate_hz)
    runs = find_tone_runs(samples, rate_hz)
    return Signalling(
        subaudible=None
        if tone is None
        else SubaudibleHeard(frequency_hz=tone[0], nearest_hz=table_tone(tone[0]), peak_fs=tone[1]),
        digital=find_digital_code(samples, rate_hz),
        keys=find_dtmf(samples, rate_hz),
        calls=find_calls(runs),
        burst=find_burst(runs),
        end_beep=find_end_beep(samples, rate_hz),
    )
