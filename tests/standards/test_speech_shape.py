"""ITU-T G.227: the formula's digits held against what a network of such a loss is made of."""

import math

import numpy as np
import pytest

from audiotest.standards import itu_t_g227
from audiotest.tones.signals import speech_shape_db

SECTIONS = ((46, 90, 46), (11, 20), (23, 20))
SECTIONS_BELOW = ((1, 90, 1), (1, 20), (1, 20))
"""Of numerator and denominator, highest power of p first; found in the formula itself, no source."""


def product(sections):
    found = np.array([1])
    for section in sections:
        found = np.polymul(found, section)
    return tuple(float(value) for value in found)


def test_the_formula_falls_apart_into_sections_of_whole_numbers():
    # Sections in a chain are multiplied: nine remembered numbers of five digits come out of six small ones,
    # in pairs that have to do with each other: (46p² + 90p + 46)/(p² + 90p + 1) takes nothing off at 1 kHz,
    # where p² = -1, and (11p + 20)(23p + 20)/(p + 20)² nothing off at 0 Hz.
    assert product(SECTIONS) == itu_t_g227.NUMERATOR
    assert product(SECTIONS_BELOW) == itu_t_g227.DENOMINATOR


@pytest.mark.parametrize("at", range(4))
def test_an_exchange_of_neighbours_would_be_found(at):
    """No whole-numbered quadratics multiply to the numerator with two coefficients exchanged."""
    wrong = [round(value) for value in itu_t_g227.NUMERATOR]
    assert quadratics(wrong)
    wrong[at], wrong[at + 1] = wrong[at + 1], wrong[at]
    assert not quadratics(wrong)
    skipped = [round(value) for value in itu_t_g227.NUMERATOR]
    skipped[1], skipped[3] = skipped[3], skipped[1]
    assert not quadratics(skipped)


def quadratics(coefficients):
    """Pairs (a, b, c), (d, e, f) of whole numbers whose product has these coefficients."""
    p4, p3, p2, p1, p0 = coefficients
    found = []
    for a in (n for n in range(1, math.isqrt(p4) + 1) if p4 % n == 0):
        for c in (n for n in range(1, p0 + 1) if p0 % n == 0):
            d, f = p4 // a, p0 // c
            # ae + db = p3 and ce + fb = p1, solved for e and b.
            below = a * f - c * d
            if below == 0:
                continue
            e, e_rest = divmod(p3 * f - p1 * d, below)
            b, b_rest = divmod(a * p1 - c * p3, below)
            if e_rest == b_rest == 0 and a * f + b * e + c * d == p2:
                found.append(((a, b, c), (d, e, f)))
    return found


def test_a_passive_network_and_the_middle_of_speech():
    # Passive: no gain anywhere. 46 to 1 at 0 Hz by hand, 33.3 dB; least loss in the middle of speech.
    hz = np.arange(1.0, 20000.0)
    level_db = speech_shape_db(hz)
    assert np.all(level_db < 0.0)
    assert speech_shape_db(np.array([1e-3]))[0] == pytest.approx(-20.0 * math.log10(46.0), abs=1e-6)
    assert 500.0 < hz[np.argmax(level_db)] < 800.0
