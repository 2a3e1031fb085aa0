"""A digital sub-audible code: a 23-bit word, over and over, at 134.4 bit/s under the voice.

Rate and the word's order are from memory; no published text of them was at hand. That the generator is the
Golay code's is proved by a test. "Present" rests on the period of the signal and on the word being one of the
Golay code, not on any list of codes in use.
"""

from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from audiotest.measure.filters import bandpass

BIT_RATE_HZ = 134.4
WORD_BITS, DATA_BITS = 23, 12
GENERATOR = 0b101011100011
"""x¹¹ + x⁹ + x⁷ + x⁶ + x⁵ + x + 1, one of the two generators of the binary (23, 12) Golay code (textbook)."""
FIXED = 0b100
"""The three bits above the nine of the code (from memory)."""
STEPS = 8
LOW_RATE_HZ = 4000
HIGHEST_HZ = 160.0
LEAST_WORDS = 4
LEAST_S = LEAST_WORDS * WORD_BITS / BIT_RATE_HZ
LEAST_PERIODIC = 0.5
MOST_IN_ONE_LINE = 0.7
RATE_SHARE = 0.002
"""How far the set's bit clock and the sound card's together may be off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DigitalCode:
    """A digital code was there: ``codes`` are the octal numbers that the heard word can stand for.

    The word has no start: turned round, one word reads as several codes, and upside down as others again
    (``inverted``). The set's label says which is meant. ``peak_fs`` is the size of its square wave.
    """

    codes: tuple[str, ...]
    inverted: tuple[str, ...]
    peak_fs: float


def code_word(code: str) -> int:
    """The 23-bit word of a code of three octal digits: check bits, 100, nine bits of the code.

    The lowest bit is sent first.

    >>> f"{code_word('023'):06x}"
    '763813'
    """
    data = FIXED << 9 | int(code, 8)
    return _check_bits(data) << DATA_BITS | data


def _check_bits(data: int) -> int:
    """Eleven check bits of twelve data bits, both with the bit that is sent first as the lowest."""
    # The bit sent first is the highest power of the polynomial: turn the data round, divide, turn back.
    rest = int(f"{data:012b}"[::-1], 2) << 11
    for shift in range(DATA_BITS - 1, -1, -1):
        if rest >> (shift + 11) & 1:
            rest ^= GENERATOR << shift
    return int(f"{rest:011b}"[::-1], 2)


def _codes_in(word: int) -> tuple[str, ...]:
    """Codes that a word stands for in any of its 23 turns."""
    found = set()
    for turn in range(WORD_BITS):
        turned = (word >> turn | word << (WORD_BITS - turn)) & ((1 << WORD_BITS) - 1)
        data = turned & 0xFFF
        if data >> 9 == FIXED and (_check_bits(data) << DATA_BITS | data) ^ turned == 0:
            found.add(f"{data & 0x1FF:03o}")
    return tuple(sorted(found))


def find_digital_code(samples: NDArray[np.floating], rate_hz: int) -> DigitalCode | None:
    """Whether a digital sub-audible code runs under the audio.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        0.7 s or more of an over, from a feed that passes low frequencies: a flat discriminator output. A
        receiver's 300 Hz high-pass takes the code away, and then None says nothing.
    rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    DigitalCode or None
        A signal below 160 Hz that repeats after 23 bits, is no single tone, and spells a word of the Golay
        code.
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < LEAST_S * rate_hz:
        return None
    low = bandpass(x, rate_hz, 1.0, HIGHEST_HZ)
    low = np.asarray(soxr.resample(low, rate_hz, LOW_RATE_HZ))
    shares = np.linspace(-RATE_SHARE, RATE_SHARE, 9)
    tried = [_folded(low, LOW_RATE_HZ, BIT_RATE_HZ * (1.0 + share)) for share in shares]
    folded, periodic = max(tried, key=lambda pair: pair[1])
    if periodic < LEAST_PERIODIC or _is_one_line(folded):
        return None
    for word, peak in _words(folded):
        codes = _codes_in(word)
        if codes:
            return DigitalCode(codes=codes, inverted=_codes_in(word ^ ((1 << WORD_BITS) - 1)), peak_fs=peak)
    return None


def _folded(low: NDArray[np.float64], rate_hz: float, bit_hz: float) -> tuple[NDArray[np.float64], float]:
    """One word averaged over all that were heard, `STEPS` points per bit, and its share of the power."""
    points = WORD_BITS * STEPS
    count = int(len(low) / rate_hz * bit_hz / WORD_BITS)
    at_s = np.arange(count * points) / (bit_hz * STEPS)
    words = np.interp(at_s * rate_hz, np.arange(len(low)), low).reshape(count, points)
    words = words - np.mean(words)
    mean = np.mean(words, axis=0)
    total = float(np.mean(words**2))
    # The mean of `count` words of pure noise keeps 1/count of its power.
    share = (float(np.mean(mean**2)) / total - 1.0 / count) / (1.0 - 1.0 / count) if total > 0.0 else 0.0
    return mean, share


def _is_one_line(word: NDArray[np.float64]) -> bool:
    power = np.abs(np.fft.rfft(word))[1:] ** 2
    return bool(np.max(power) > MOST_IN_ONE_LINE * np.sum(power))


def _words(folded: NDArray[np.float64]) -> list[tuple[int, float]]:
    """Bits read at each of the eight places in a bit, the widest open first."""
    found = []
    for place in range(STEPS):
        values = folded[place::STEPS] - np.mean(folded)
        bits = values > 0.0
        opening = float(np.min(np.abs(values)))
        word = sum(1 << k for k in range(WORD_BITS) if bits[k])
        found.append((opening, word, float(np.median(np.abs(values)))))
    return [(word, peak) for _, word, peak in sorted(found, reverse=True)]
