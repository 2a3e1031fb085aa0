"""The beat of the short-time measurements: where frames stand and decisions fall in a stream."""

HOP_S = 0.01
QUANTUM_HOPS = 8
"""The FFT works on rows in groups; multiples of eight rows give the same bits however they are batched."""


def hop_n(sample_rate_hz: int) -> int:
    """Samples from one frame to the next.

    >>> hop_n(48000), hop_n(44100)
    (480, 441)
    """
    return round(sample_rate_hz * HOP_S)


def quantum_n(sample_rate_hz: int) -> int:
    """Samples from one of the engine's decisions to the next.

    Of a stretch of a stream that begins at a multiple of it, every over is cut and framed as in the stream.

    >>> quantum_n(48000), quantum_n(44100)
    (3840, 3528)
    """
    return QUANTUM_HOPS * hop_n(sample_rate_hz)
