"""ITU-T Recommendation G.227, conventional telephone signal: noise with the spectrum of speech.

The network's formula is from memory; no text of it was at hand. Its digits prove themselves: numerator and
denominator fall apart into sections of whole numbers, as a network that is made of such sections must, and
a single wrong digit or an exchange of two coefficients leaves none. A test multiplies them out.
"""

NUMERATOR = (11638.0, 54050.0, 91238.0, 67280.0, 18400.0)
DENOMINATOR = (1.0, 130.0, 4001.0, 36040.0, 400.0)
"""Powers of p from the fourth down, p = j·f/1 kHz; the loss is the magnitude of their ratio."""
