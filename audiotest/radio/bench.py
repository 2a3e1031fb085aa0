"""A signal generator in front of a receiver under test: level in, audio out, its true sensitivity beside it.

The generator is matched; what it delivers to the receiver's input is its level in dBm, whose microvolts
`measure.sensitivity.rf_level` gives. A real generator on the bench never has a transmitter keyed into it.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import scipy.fft
import scipy.signal as sps
from numpy.typing import NDArray
from scipy.optimize import brentq

from audiotest.errors import RequestError
from audiotest.measure.weighting import weight_gain
from audiotest.radio.link import BASEBAND_RATE_HZ
from audiotest.radio.receiver import (
    CARRIER_RAMP_S,
    audio_response,
    carrier_wave,
    discriminate,
    if_filter,
    phase_steps_khz,
    receive,
)
from audiotest.radio.settings import Receiver, SoundCard
from audiotest.radio.transmitter import Array

THERMAL_DBM_PER_HZ = -174.0
"""Available thermal noise, 10·lg(kT/1 mW), at 290 K: -173.98 (Boltzmann's constant 1.380649e-23 J/K)."""
LOW_HZ, HIGH_HZ = 300.0, 3400.0
"""The audio in which SINAD and quieting are true; the receiver's own filter narrows it further."""
CLEAN_CARD = SoundCard(bits=None, noise_dbfs=-140.0, overload=False)
PIECE_S = 4.0
FIRST_CNR_DB, LAST_CNR_DB = -3.0, 45.0
HALF_SPAN_DB = 0.4
SETTLE_S = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiverUnderTest:
    """A receiver with a noise figure and a squelch that knows the level.

    Of ``receiver``, ``cnr_db`` and ``squelch`` are not used: what is here gives them. ``squelch_open_dbm`` is
    the level at which a rising carrier opens the squelch, ``squelch_close_dbm`` the one below which a falling
    carrier shuts it; None for both is no squelch.

    Raises
    ------
    RequestError
        Only one of the two levels, or the closing level above the opening one.
    """

    receiver: Receiver = field(default_factory=Receiver)
    noise_figure_db: float = 12.0
    squelch_open_dbm: float | None = None
    squelch_close_dbm: float | None = None

    def __post_init__(self) -> None:
        opens, shuts = self.squelch_open_dbm, self.squelch_close_dbm
        if (opens is None) != (shuts is None):
            raise RequestError("a squelch has two levels", "give its opening and its closing level")
        if opens is not None and shuts is not None and shuts > opens:
            raise RequestError(
                f"a squelch that opens at {opens:g} dBm cannot shut at {shuts:g} dBm",
                "let the closing level be the lower one",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchStep:
    """One setting of the generator: when, which level, and whether the squelch is open in the end."""

    start_s: float
    end_s: float
    level_dbm: float | None
    cnr_db: float | None
    squelch_is_open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchAudio:
    """Audio of shape (n,), full scale 1.0, and the settings during it."""

    audio: NDArray[np.float32]
    sample_rate_hz: int
    steps: tuple[BenchStep, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueLevels:
    """Input levels in dBm at which the receiver has its figures; None where it never gets there."""

    sinad_12_dbm: float | None
    sinad_20_dbm: float | None
    sinad_20_psophometric_dbm: float | None
    quieting_20_dbm: float | None
    squelch_open_dbm: float | None
    squelch_close_dbm: float | None


def cnr_of_level(level_dbm: float, unit: ReceiverUnderTest) -> float:
    """Carrier over noise in dB, in the IF's noise bandwidth: level - (-174 + NF + 10·lg B) (textbook).

    >>> unit = ReceiverUnderTest(receiver=Receiver(if_bandwidth_khz=10.0), noise_figure_db=10.0)
    >>> round(cnr_of_level(-114.0, unit), 9)
    10.0
    """
    return level_dbm - _noise_dbm(unit)


def level_of_cnr(cnr_db: float, unit: ReceiverUnderTest) -> float:
    """Input level in dBm that gives this carrier over noise; the inverse of `cnr_of_level`."""
    return cnr_db + _noise_dbm(unit)


def _noise_dbm(unit: ReceiverUnderTest) -> float:
    return THERMAL_DBM_PER_HZ + unit.noise_figure_db + 10.0 * math.log10(1e3 * unit.receiver.if_bandwidth_khz)


def receive_tone(
    level_dbm: float | None,
    tone_hz: float,
    deviation_khz: float,
    seconds: float,
    unit: ReceiverUnderTest,
    card: SoundCard | None = None,
    *,
    seed: int = 0,
) -> BenchAudio:
    """Audio at one setting of the generator, from the moment it is switched on; see `receive_levels`.

    >>> len(receive_tone(-100.0, 1000.0, 1.5, 0.5, ReceiverUnderTest()).audio)
    24000
    """
    return receive_levels([level_dbm], seconds, tone_hz, deviation_khz, unit, card, seed=seed)


def receive_levels(
    levels_dbm: Sequence[float | None],
    step_s: float,
    tone_hz: float,
    deviation_khz: float,
    unit: ReceiverUnderTest,
    card: SoundCard | None = None,
    *,
    seed: int = 0,
) -> BenchAudio:
    """Audio while the generator goes from level to level without a break.

    Parameters
    ----------
    levels_dbm : sequence of float or None
        Generator levels in order; None is a generator switched off.
    step_s : float
        Time at each level.
    tone_hz, deviation_khz : float
        Modulation; a deviation of 0 is a bare carrier.
    unit : ReceiverUnderTest
        Its squelch starts shut, opens at its upper and shuts below its lower level.
    card : SoundCard or None
        None adds nothing of its own.
    seed : int
        Equal seeds give equal noise.
    """
    rate = BASEBAND_RATE_HZ
    rng = np.random.default_rng(seed)
    step_n = round(step_s * rate)
    count = step_n * len(levels_dbm)
    cnrs = [None if level is None else cnr_of_level(level, unit) for level in levels_dbm]
    amplitude = np.repeat([0.0 if cnr is None else 10 ** (cnr / 20) for cnr in cnrs], step_n)
    ramp = max(1, round(CARRIER_RAMP_S * rate))
    carrier = np.convolve(np.pad(amplitude, (ramp - 1, 0), mode="edge"), np.full(ramp, 1 / ramp), "valid")
    tone = deviation_khz * np.sin(2.0 * np.pi * tone_hz * np.arange(count) / rate)
    heard = discriminate(tone, carrier, replace(unit.receiver, cnr_db=0.0), rate, rng)
    is_open = _squelch_states(levels_dbm, unit)
    before = unit.squelch_open_dbm is None
    gate = _squelch_gate(before, is_open, step_n, unit.receiver, rate)
    card = card or CLEAN_CARD
    audio = receive(heard, gate, unit.receiver, card, rate, rng)
    steps = tuple(
        BenchStep(
            start_s=k * step_s, end_s=(k + 1) * step_s, level_dbm=level, cnr_db=cnrs[k],
            squelch_is_open=is_open[k],
        )
        for k, level in enumerate(levels_dbm)
    )  # fmt: skip
    return BenchAudio(audio=audio, sample_rate_hz=card.sample_rate_hz, steps=steps)


def _squelch_states(levels_dbm: Sequence[float | None], unit: ReceiverUnderTest) -> list[bool]:
    """Open or shut at each level in turn: between the two levels it stays as it was."""
    if unit.squelch_open_dbm is None or unit.squelch_close_dbm is None:
        return [True] * len(levels_dbm)
    states, now = [], False
    for level in levels_dbm:
        if level is None or level < unit.squelch_close_dbm:
            now = False
        elif level >= unit.squelch_open_dbm:
            now = True
        states.append(now)
    return states


def _squelch_gate(before: bool, states: Sequence[bool], step_n: int, rx: Receiver, rate_hz: int) -> Array:
    """The gate over time: it opens a while after the level rose and shuts a while after it fell."""
    gate = np.repeat(np.asarray(states, dtype=float), step_n)
    wanted = np.concatenate([[before], states]).astype(int)
    for k in (int(index) for index in np.flatnonzero(np.diff(wanted))):
        at = k * step_n
        late_s = rx.squelch_attack_s if states[k] else rx.squelch_tail_s
        gate[at : at + round(late_s * rate_hz)] = not states[k]
    return gate


# -- what is true of it ----------------------------------------------------------------------------


def true_levels(
    unit: ReceiverUnderTest, *, tone_hz: float = 1000.0, deviation_khz: float = 1.5, seconds: float = 16.0
) -> TrueLevels:
    """The levels of 12 dB SINAD, 20 dB SINAD and 20 dB quieting, by a long simulation of the receiver.

    In 300 to 3400 Hz, unweighted, and 20 dB SINAD also with both branches through the
    ITU-T O.41 network. The tone's frequency is known and the sound card adds nothing, so this is
    no copy of a measurement: the tone is taken out by projection, and only the noise of `seconds` at each
    level limits it, to about 0.07 dB for 16 s. The levels depend on the noise figure by plain addition.

    Parameters
    ----------
    unit : ReceiverUnderTest
        The receiver on the bench.
    tone_hz, deviation_khz : float
        1 kHz at 60 % of the system's deviation is the usual test signal (TIA-603, from memory).
    seconds : float
        Length of audio behind each point.
    """
    pieces = max(1, round(seconds / PIECE_S))
    found = _true_cnrs(replace(unit.receiver, cnr_db=0.0), tone_hz, deviation_khz, pieces)
    levels = [None if cnr is None else level_of_cnr(cnr, unit) for cnr in found]
    return TrueLevels(
        sinad_12_dbm=levels[0], sinad_20_dbm=levels[1],
        sinad_20_psophometric_dbm=levels[2], quieting_20_dbm=levels[3],
        squelch_open_dbm=unit.squelch_open_dbm, squelch_close_dbm=unit.squelch_close_dbm,
    )  # fmt: skip


@lru_cache(maxsize=32)
def _true_cnrs(rx: Receiver, tone_hz: float, deviation_khz: float, pieces: int) -> tuple[float | None, ...]:
    """CNR in dB of the four marks; the same noise at every level, so that the curves have no steps."""

    def quieting_db(cnr_db: float, pieces: int) -> float:
        silent = _powers(rx, None, tone_hz, 0.0, pieces).rest
        return 10.0 * math.log10(silent / _powers(rx, cnr_db, tone_hz, 0.0, pieces).rest)

    def sinad_db(cnr_db: float, pieces: int) -> float:
        found = _powers(rx, cnr_db, tone_hz, deviation_khz, pieces)
        return 10.0 * math.log10((found.tone + found.rest) / found.rest)

    def weighted_db(cnr_db: float, pieces: int) -> float:
        found = _powers(rx, cnr_db, tone_hz, deviation_khz, pieces)
        return 10.0 * math.log10((found.weighted_tone + found.weighted_rest) / found.weighted_rest)

    marks = ((sinad_db, 12.0), (sinad_db, 20.0), (weighted_db, 20.0), (quieting_db, 20.0))
    return tuple(_crossing(curve, mark, pieces) for curve, mark in marks)


def _crossing(curve: Callable[[float, int], float], mark_db: float, pieces: int) -> float | None:
    """CNR at which a rising curve passes the mark: roughly with one piece of noise, then with all of them."""

    def above(cnr_db: float) -> float:
        return curve(cnr_db, 1) - mark_db

    if above(LAST_CNR_DB) <= 0.0 or above(FIRST_CNR_DB) >= 0.0:
        return None
    near = float(brentq(above, FIRST_CNR_DB, LAST_CNR_DB, xtol=0.2))
    # A straight line through both sides: the curves bend by less than 0.01 dB within half a decibel.
    low, high = near - HALF_SPAN_DB, near + HALF_SPAN_DB
    below, beyond = curve(low, pieces), curve(high, pieces)
    return low + (mark_db - below) / (beyond - below) * (high - low)


@dataclass(frozen=True, slots=True)
class _Powers:
    """Mean squares in kHz² (at 1 kHz) of the tone and of the rest of the audio, flat and through O.41."""

    tone: float
    rest: float
    weighted_tone: float
    weighted_rest: float


@lru_cache(maxsize=64)
def _powers(rx: Receiver, cnr_db: float | None, tone_hz: float, deviation_khz: float, pieces: int) -> _Powers:
    """What comes out at one carrier over noise; None is no carrier."""
    rate, settle_n = BASEBAND_RATE_HZ, round(SETTLE_S * BASEBAND_RATE_HZ)
    count = round(PIECE_S * rate)
    hz = np.arange(round(HIGH_HZ * PIECE_S) + 1) / PIECE_S
    band = hz >= LOW_HZ
    response = audio_response(rx, hz[band])
    at = int(np.argmin(np.abs(hz[band] - tone_hz)))
    amplitude = np.float32(0.0 if cnr_db is None else 10 ** (cnr_db / 20))
    carrier = _filtered_carrier(rx, tone_hz, deviation_khz)
    power = np.zeros(len(response))
    for piece in range(pieces):
        heard = phase_steps_khz(amplitude * carrier + _filtered_noise(rx, piece), rate)[settle_n:]
        spectrum = scipy.fft.rfft(heard)[: len(hz)][band] * response / count
        power += 2.0 * np.abs(spectrum) ** 2 / pieces
    weighted = power * weight_gain("psophometric", hz[band]) ** 2
    return _Powers(
        float(power[at]), float(np.sum(power) - power[at]),
        float(weighted[at]), float(np.sum(weighted) - weighted[at]),
    )  # fmt: skip


@lru_cache(maxsize=2)
def _filtered_carrier(rx: Receiver, tone_hz: float, deviation_khz: float) -> NDArray[np.complex64]:
    """A carrier of power 1 behind the IF filter; whole periods of the tone in one piece."""
    time_s = np.arange(round((PIECE_S + SETTLE_S) * BASEBAND_RATE_HZ)) / BASEBAND_RATE_HZ
    tone = deviation_khz * np.sin(2.0 * np.pi * round(tone_hz * PIECE_S) / PIECE_S * time_s)
    wave = carrier_wave(tone, np.ones(len(tone)), rx.mistune_khz, BASEBAND_RATE_HZ)
    sos, _ = if_filter(rx, BASEBAND_RATE_HZ)
    return np.asarray(sps.sosfilt(sos.astype(np.float32), wave), dtype=np.complex64)


@lru_cache(maxsize=8)
def _filtered_noise(rx: Receiver, piece: int) -> NDArray[np.complex64]:
    """Noise of power 1 in the IF's noise bandwidth, behind its filter: the same at every level."""
    sos, band_hz = if_filter(rx, BASEBAND_RATE_HZ)
    count = round((PIECE_S + SETTLE_S) * BASEBAND_RATE_HZ)
    noise = np.random.default_rng(piece).standard_normal((count, 2), dtype=np.float32).view(np.complex64)
    noise *= np.float32(np.sqrt(BASEBAND_RATE_HZ / band_hz / 2.0))
    return np.asarray(sps.sosfilt(sos.astype(np.float32), noise[:, 0]), dtype=np.complex64)
