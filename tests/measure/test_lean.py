"""What stands in for ``scipy.signal`` on the way to a short clip's figures gives what SciPy gives."""

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from audiotest.measure.lean import convolved, hann, power_density, recursion


@pytest.mark.parametrize("count", [2, 3, 160, 441])
def test_the_window_is_scipys(count: int) -> None:
    np.testing.assert_allclose(hann(count), scipy.signal.windows.hann(count, sym=False), atol=1e-15)


@given(
    n=st.integers(2, 9000), segment_n=st.integers(2, 700), seed=st.integers(0, 2**32 - 1),
    mean=st.sampled_from((0.0, 3.0)),
)  # fmt: skip
def test_the_density_is_scipys(n: int, segment_n: int, seed: int, mean: float) -> None:
    x = mean + np.random.default_rng(seed).standard_normal(n)
    hz, density = power_density(x, 8000.0, segment_n)
    expected_hz, expected = scipy.signal.welch(x, 8000.0, nperseg=min(segment_n, n))
    np.testing.assert_allclose(hz, expected_hz, rtol=1e-14)
    np.testing.assert_allclose(density, expected, rtol=1e-9, atol=1e-18)


def test_the_density_of_more_segments_than_fit_at_once() -> None:
    x = np.random.default_rng(1).standard_normal(300_000)
    np.testing.assert_allclose(
        power_density(x, 48000.0, 960)[1], scipy.signal.welch(x, 48000.0, nperseg=960)[1], rtol=1e-10
    )


@given(
    n=st.integers(0, 9000), pole=st.floats(-0.9999, 0.99999), seed=st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_the_recursion_is_scipys(n: int, pole: float, seed: int) -> None:
    x = np.random.default_rng(seed).standard_normal(n)
    expected = scipy.signal.lfilter([1.0], [1.0, -pole], x) if n else x
    np.testing.assert_allclose(recursion(x, pole), expected, rtol=1e-9, atol=1e-9)


@given(n=st.integers(1, 3000), share=st.floats(0.0, 1.0), seed=st.integers(0, 2**32 - 1))
def test_the_convolution_is_scipys(n: int, share: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(n) + 1j * rng.standard_normal(n)
    window = rng.standard_normal(max(1, round(share * n)))
    np.testing.assert_allclose(
        convolved(x, window), scipy.signal.oaconvolve(x, window, mode="same"), rtol=1e-9, atol=1e-9
    )
