"""ITU-T Recommendation G.227, conventional telephone signal: noise with the spectrum of speech.

The network's formula is from memory; no text of it was at hand. It agrees with itself: the loss it gives is
least, and within 0.2 dB of none, at 600 Hz, and rises to either side.
"""

NUMERATOR = (11638.0, 67280.0, 91238.0, 54050.0, 18400.0)
DENOMINATOR = (1.0, 130.0, 4001.0, 36040.0, 400.0)
"""Powers of p from the fourth down, p = j·f/1 kHz; the loss is the magnitude of their ratio."""
