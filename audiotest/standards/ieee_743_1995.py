"""C-message weighting, IEEE Std 743-1995; reference 1000 Hz.

The rows were read in a published reproduction of the table (Annex "Noise curves", Table A.2, of the draft
ANSI/TIA-470.120-C).
"""

REFERENCE_HZ = 1000.0

TABLE: tuple[tuple[float, float, float | None], ...] = (
    (60.0, -55.7, 2.0),
    (100.0, -42.5, 2.0),
    (200.0, -25.1, 2.0),
    (300.0, -16.3, 2.0),
    (400.0, -11.2, 1.0),
    (500.0, -7.7, 1.0),
    (600.0, -5.0, 1.0),
    (700.0, -2.8, 1.0),
    (800.0, -1.3, 1.0),
    (900.0, -0.3, 1.0),
    (1000.0, 0.0, 0.0),
    (1200.0, -0.4, 1.0),
    (1300.0, -0.7, 1.0),
    (1500.0, -1.2, 1.0),
    (1800.0, -1.3, 1.0),
    (2000.0, -1.1, 1.0),
    (2500.0, -1.1, 1.0),
    (2800.0, -2.0, 1.0),
    (3000.0, -3.0, 1.0),
    (3300.0, -5.1, 2.0),
    (3500.0, -7.1, 2.0),
    (4000.0, -14.6, 3.0),
    (4500.0, -22.3, 3.0),
    (5000.0, -28.7, None),
)
"""Frequency in Hz, weight in dB, tolerance in ± dB. At 5 kHz the attenuation is 28.7 dB or more (None)."""
