"""A continuous sub-audible tone under the modulation."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.hum import MAINS_TOLERANCE_HZ, mains_lines
from audiotest.measure.lines import LEAST_OVER_NOISE, Line, LowBand, is_steady, line_near, low_band, without
from audiotest.standards.tones import SUBAUDIBLE_HZ, nearest_subaudible

LOWEST_HZ, HIGHEST_HZ = 60.0, 260.0
MOST_CANDIDATES = 6
ABOVE_SIBLINGS = 4.0
"""12 dB: a mains harmonic that stands so far above all others is a tone."""

FAINTEST_SENT_DB = -30.0
"""A tone is sent at a tenth of the peaks or so (MPT 1306: 0.2 to 0.4 kHz of 2.5 kHz); over-deviated peaks
and rough estimates leave it above this."""
HIGHPASS_HZ, HIGHPASS_ORDER = 300.0, 6
"""The steepest high-pass that a receiver is expected to have (common practice, no source)."""
FAINT_DB = -75.0
"""Below this, re the peaks, rooms and motors hum: only a line on a tone of the table counts."""
TABLE_WITHIN_HZ = 0.5
SPILL = 0.01
"""40 dB: a clean 100 Hz tone of 1.2 s or more spilled 43 to 55 dB below itself (measured)."""


def faintest_heard_db(frequency_hz: float) -> float:
    """How far below the peaks a tone that was sent may be heard behind an unknown high-pass.

    >>> [round(faintest_heard_db(hz), 1) for hz in (250.3, 180.0, 67.0)]
    [-39.9, -56.6, -108.1]
    """
    loss_db = 10.0 * np.log10(1.0 + (HIGHPASS_HZ / frequency_hz) ** (2 * HIGHPASS_ORDER))
    return FAINTEST_SENT_DB - float(loss_db)


def table_tone(frequency_hz: float, within_hz: float = TABLE_WITHIN_HZ) -> float | None:
    """The one of 50 sub-audible tones within 0.5 Hz of a measured frequency, or None.

    >>> table_tone(88.3), table_tone(89.1)
    (88.5, None)
    """
    nearest = min(SUBAUDIBLE_HZ, key=lambda hz: abs(hz - frequency_hz))
    return nearest if abs(nearest - frequency_hz) <= within_hz else None


def find_subaudible(samples: NDArray[np.floating], sample_rate_hz: int) -> tuple[float, float] | None:
    """The sub-audible tone of an over.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The over, voice and all; a second or more. The receiver's high-pass may have taken most of the tone.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    (frequency_hz, peak_fs) or None
        Measured frequency, not snapped to a table, and peak amplitude in full scale; None when no single
        line between 60 and 260 Hz stays steady through the over, or each is fainter than a receiver's
        high-pass explains (75 dB below the peaks up to 120 Hz, 40 dB at 250 Hz). A line on a mains
        harmonic with siblings, or where no tone of the table is, is hum. Alone, 100.0 Hz may be either:
        its deviation tells (`audiotest.measure.over`).

    Notes
    -----
    Least squares over the whole over, see `audiotest.measure.lines`; no source for the bounds.
    """
    band = low_band(samples, sample_rate_hz)
    if band is None:
        return None
    peak_fs = float(np.quantile(np.abs(samples), 0.999))
    band = without(band, _hum(band))
    found = [line for line in _strongest(band) if _may_be_sent(line, peak_fs) and is_steady(band, line)]
    first = sorted(found, key=lambda line: not _goes_before(line, found[0]))[:1]
    return (first[0].frequency_hz, abs(first[0].amplitude)) if first else None


def _goes_before(line: Line, strongest: Line) -> bool:
    """Whether a line is taken before ripple of the mains, should that be the strongest.

    A loud tone at 100.0 Hz spills into the next part of the band where hardly any noise covers it: only what
    is within 40 dB of it, or on a tone of the table, is a line of its own.
    """
    if may_be_ripple(line.frequency_hz):
        return False
    return abs(line.amplitude) > SPILL * abs(strongest.amplitude) or table_tone(line.frequency_hz) is not None


def may_be_ripple(frequency_hz: float) -> bool:
    """Whether a lone line is where both a tone of the table and the ripple of 50 Hz mains are.

    >>> may_be_ripple(100.02), may_be_ripple(97.4)
    (True, False)
    """
    return abs(frequency_hz - 100.0) < MAINS_TOLERANCE_HZ


def _may_be_sent(line: Line, peak_fs: float) -> bool:
    """Whether a line is where and as strong as a tone that was sent may be."""
    below_db = 20.0 * np.log10(max(abs(line.amplitude), 1e-12) / max(peak_fs, 1e-12))
    if below_db < faintest_heard_db(line.frequency_hz) or _can_only_be_hum(line.frequency_hz):
        return False
    return bool(below_db >= FAINT_DB or table_tone(line.frequency_hz) is not None)


def _can_only_be_hum(frequency_hz: float) -> bool:
    """Whether a frequency is a mains harmonic that no tone of the table is near."""
    misses = [abs(frequency_hz - hz * max(round(frequency_hz / hz), 1)) for hz in (50.0, 60.0)]
    return min(misses) <= MAINS_TOLERANCE_HZ and nearest_subaudible(frequency_hz) is None


def _hum(band: LowBand) -> list[Line]:
    """Lines that are hum and nothing else."""
    found = []
    for mains_hz in (50.0, 60.0):
        lines = mains_lines(band, mains_hz)
        for order, line in lines.items():
            others = [abs(other.amplitude) for k, other in lines.items() if k != order]
            alone = abs(line.amplitude) > ABOVE_SIBLINGS * max(others, default=0.0)
            if not (alone and nearest_subaudible(line.frequency_hz) is not None):
                found.append(line)
    return found


def _strongest(band: LowBand) -> list[Line]:
    """The highest peaks over their noise, highest first."""
    first, last = (round(hz / band.step_hz) for hz in (LOWEST_HZ, HIGHEST_HZ))
    ratio = band.over_noise[: last + 1].copy()
    ratio[:first] = 0.0
    found: list[Line] = []
    reach = round(2.0 / band.seconds / band.step_hz)  # half the main lobe of a Hann window
    for _ in range(MOST_CANDIDATES):
        k = int(np.argmax(ratio))
        if ratio[k] < LEAST_OVER_NOISE:
            break
        line = line_near(band, k * band.step_hz, 2.0 * band.step_hz)
        if line is not None:
            found.append(line)
        ratio[max(k - reach, 0) : k + reach + 1] = 0.0
    return found


def without_tone(samples: NDArray[np.float64], rate_hz: int, frequency_hz: float) -> NDArray[np.float64]:
    """`samples`, shape (n,), less a steady line, fitted second by second: a drifting clock does no harm."""
    result = samples.copy()
    step_n = max(rate_hz, 1)
    for start in range(0, len(samples), step_n):
        end = len(samples) if len(samples) - start < 2 * step_n else start + step_n
        part = samples[start:end]
        angle = 2.0 * np.pi * frequency_hz * np.arange(start, end) / rate_hz
        design = np.column_stack([np.cos(angle), np.sin(angle)])
        result[start:end] = part - design @ np.linalg.lstsq(design, part, rcond=None)[0]
        if end == len(samples):
            break
    return result
