"""Every tone for signalling in a stretch of audio, in one reading."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.beep import EndTone, find_end_beep
from audiotest.measure.digitalcode import DigitalCode, find_digital_code
from audiotest.measure.dtmf import DtmfKey, find_dtmf
from audiotest.measure.sequences import Burst, SelectiveCall, find_burst, find_calls
from audiotest.measure.subaudible import find_subaudible, may_be_ripple, table_tone
from audiotest.measure.toneruns import find_tone_runs

RIPPLE_SHARE = 0.05
"""Of the peaks: a tone is sent at a tenth or so, ripple of a set in order is far below."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SubaudibleHeard:
    """A sub-audible tone: as measured, the table tone that it is or None, its peak in full scale."""

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


def hear_subaudible(samples: NDArray[np.floating], rate_hz: int) -> SubaudibleHeard | None:
    """The sub-audible tone of an over, and which of the fifty it is.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Two seconds or more of an over. Full scale 1.0.
    rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    SubaudibleHeard or None
        See `audiotest.measure.subaudible.find_subaudible`. A faint line alone at 100 Hz stays unnamed: a
        tone behind a high-pass and ripple of the mains look the same there.
    """
    found = find_subaudible(samples, rate_hz)
    if found is None:
        return None
    frequency_hz, peak_fs = found
    faint = peak_fs < RIPPLE_SHARE * float(np.quantile(np.abs(samples), 0.999))
    named = None if faint and may_be_ripple(frequency_hz) else table_tone(frequency_hz)
    return SubaudibleHeard(frequency_hz=frequency_hz, nearest_hz=named, peak_fs=peak_fs)


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
    runs = find_tone_runs(samples, rate_hz)
    return Signalling(
        subaudible=hear_subaudible(samples, rate_hz),
        digital=find_digital_code(samples, rate_hz),
        keys=find_dtmf(samples, rate_hz),
        calls=find_calls(runs),
        burst=find_burst(runs),
        end_beep=find_end_beep(samples, rate_hz),
    )
