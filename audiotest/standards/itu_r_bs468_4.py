"""Noise weighting for sound broadcasting, ITU-R BS.468-4, Table 1; reference 1 kHz.

The rows were read in a published copy of the Recommendation. The coefficients of the closed form are second
hand: they stand to all their digits in the open library itu-r-468-weighting 2.0.3 (PyPI). They come within
0.09 dB of every row, which a test recomputes.
"""

REFERENCE_HZ = 1000.0

TABLE: tuple[tuple[float, float, float], ...] = (
    (31.5, -29.9, 2.0),
    (63.0, -23.9, 1.4),
    (100.0, -19.8, 1.0),
    (200.0, -13.8, 0.85),
    (400.0, -7.8, 0.7),
    (800.0, -1.9, 0.55),
    (1000.0, 0.0, 0.5),
    (2000.0, 5.6, 0.5),
    (3150.0, 9.0, 0.5),
    (4000.0, 10.5, 0.5),
    (5000.0, 11.7, 0.5),
    (6300.0, 12.2, 0.0),
    (7100.0, 12.0, 0.2),
    (8000.0, 11.4, 0.4),
    (9000.0, 10.1, 0.6),
    (10000.0, 8.1, 0.8),
    (12500.0, 0.0, 1.2),
    (14000.0, -5.3, 1.4),
    (16000.0, -11.7, 1.6),
    (20000.0, -22.2, 2.0),
)
"""Frequency in Hz, weight in dB, tolerance in ± dB.

The row of 31.5 kHz (-42.7 dB) is left out: its tolerance was not read.
"""

NUMERATOR = 1.246332637532143e-4
EVEN = (-4.737338981378384e-24, 2.043828333606125e-15, -1.363894795463638e-7, 1.0)
"""Factors of f⁶, f⁴, f² and 1."""
ODD = (1.306612257412824e-19, -2.118150887518656e-11, 5.559488023498642e-4)
"""Factors of f⁵, f³ and f."""
GAIN_1K_DB = 18.2
