"""Psophometric weighting for telephone circuits, ITU-T O.41 (10/94), Table 1; reference 800 Hz.

The rows were read in a published reproduction of the table (Annex "Noise curves", Table A.1, of the draft
ANSI/TIA-470.120-C). The network is the former CCITT P.53.
"""

REFERENCE_HZ = 800.0

TABLE: tuple[tuple[float, float, float | None], ...] = (
    (16.66, -85.0, None),
    (50.0, -63.0, 2.0),
    (100.0, -41.0, 2.0),
    (200.0, -21.0, 2.0),
    (300.0, -10.6, 1.0),
    (400.0, -6.3, 1.0),
    (500.0, -3.6, 1.0),
    (600.0, -2.0, 1.0),
    (700.0, -0.9, 1.0),
    (800.0, 0.0, 0.0),
    (900.0, 0.6, 1.0),
    (1000.0, 1.0, 1.0),
    (1200.0, 0.0, 1.0),
    (1400.0, -0.9, 1.0),
    (1600.0, -1.7, 1.0),
    (1800.0, -2.4, 1.0),
    (2000.0, -3.0, 1.0),
    (2500.0, -4.2, 1.0),
    (3000.0, -5.6, 1.0),
    (3500.0, -8.5, 2.0),
    (4000.0, -15.0, 3.0),
    (4500.0, -25.0, 3.0),
    (5000.0, -36.0, 3.0),
    (6000.0, -43.0, None),
)
"""Frequency in Hz, weight in dB, tolerance in ± dB (None: not specified)."""
