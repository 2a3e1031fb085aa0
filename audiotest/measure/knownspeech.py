"""How hard a known speech drives the limiter: the file that was played into the microphone socket is at hand.

With the input known nothing need be guessed of the talker. The set is modelled up to its limiter; whatever
comes behind it (splatter filter, receiver, sound card) is taken as the linear response that explains the
recording best. The drive at which limiter and response together leave the least unexplained is the answer.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray
from scipy.optimize import minimize

from audiotest.errors import MeasureError
from audiotest.measure.alignment import Alignment, align
from audiotest.measure.filters import emphasis_response

Array = NDArray[np.float64]
KnownReason = Literal["too_short", "no_match", "noisy", "overload", "levelled"]

MODEL_RATE_HZ = 48000
"""Harmonics of the limiter fold back from half of this: of a 3 kHz tone the fifteenth, 1/15 of it."""
SPEECH_HZ = 9000.0
VIEW_RATE_HZ = 12000
WINDOW_N, HOP_N = 1024, 512
BAND_HZ = (250.0, 3200.0)
LONGEST_S, SHORTEST_S = 12.0, 3.0
FRAME_S, ACTIVE_RANGE_DB = 0.02, 25.0
DRIVES_DB = (-3.0, 2.0, 6.0, 10.0, 14.0, 18.0, 23.0, 28.0)
EMPHASES_US = (100.0, 530.0)
FIRST_HIGHPASS_HZ = 200.0
LEAST_DRIVE_DB, MOST_DRIVE_DB = -12.0, 36.0
CLIPPED_DRIVES_DB = tuple(float(db) for db in range(-12, 49))
SOFTEST = 0.6
LEAST_EXPLAINED_DB = 2.0
MOST_SPREAD_DB = 0.8
"""Of the gain between model and recording: fixed gains wandered by 0.1 to 0.3 dB in simulated overs of 15 to
39 dB carrier to noise, a recorder's automatic gain by 1.6 to 4.9."""
BLOCK_S, GAIN_S = 1.0, 0.33
DRAWS = 200
MODEL_ERROR_DB = 0.4
"""Half of a 90 % interval that no scatter shows: no set's own filters are exactly those of the model."""
LIGHT_ERROR_DB, LIGHT_BELOW_DB = 1.0, 5.0
"""The same where only a hundredth of the time is clipped, and little of the wave can tell."""
VERY_SOFT = 0.4
"""And the same for so soft a knee (1/p): it may be a limiter without a ceiling, such as diodes in series."""
UNSEEN_DB = 1.0
"""Of seven simulated overs of -8 to +0.4 dB none was read above 0: a drive up to here may go unseen."""
RISE_OF_CHANCE = 6.0
"""By so much must limiting improve the log-likelihood before it counts as seen (chi-square of 2, 0.25 %)."""


class KnownSpeechError(MeasureError):
    """The drive cannot be told from this recording; ``reason`` names why for programs."""

    def __init__(self, reason: KnownReason, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.reason: KnownReason = reason


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownDrive:
    """Drive of the limiter by a known speech, by the definition of `audiotest.measure.limiter`.

    ``low_db`` and ``high_db`` bound it at about 90 %. When the limiter was not seen to act, ``reached`` is
    False, ``drive_db`` None and ``high_db`` the drive that would have been seen. ``knee`` is the exponent p
    of u/(1+|u|^p)^(1/p), None for a hard clipper. ``explained_db`` is the power that the model explains over
    the rest, noise included. ``delay_s`` is where the reference starts in the recording, ``drift_ppm`` how
    much faster the recording's clock ran. ``clipped_by_drive`` is the clipped fraction of the same speech
    at each drive of `CLIPPED_DRIVES_DB`.
    """

    drive_db: float | None
    low_db: float | None
    high_db: float
    reached: bool
    clipped_fraction: float
    knee: float | None
    preemphasis_us: float
    explained_db: float
    delay_s: float
    drift_ppm: float
    seconds: float
    clipped_by_drive: tuple[float, ...]

    def clipped_at(self, drive_db: float) -> float:
        """Clipped fraction of the same speech through the same set at another level."""
        return float(np.interp(drive_db, CLIPPED_DRIVES_DB, self.clipped_by_drive))


@dataclass(frozen=True, slots=True)
class _Set:
    """What the model of the set has before and in its limiter.

    Drive in dB, pre-emphasis in µs, corner of a second-order high-pass, 1/knee, and the corners of a coupling
    capacitor and of a low-pass of first order.
    """

    drive_db: float
    emphasis_us: float
    highpass_hz: float
    softness: float
    coupling_hz: float = 20.0
    lowpass_hz: float = 20000.0


def measure_known_drive(
    reference: NDArray[np.floating],
    reference_rate_hz: int,
    received: NDArray[np.floating],
    received_rate_hz: int,
) -> KnownDrive:
    """Limiter drive of a set into whose microphone socket a known speech was played.

    Parameters
    ----------
    reference : ndarray, shape (n,)
        What was played, any unit; three seconds or more of speech.
    reference_rate_hz : int
        Its sample rate in Hz.
    received : ndarray, shape (m,)
        The recording, any unit; it may begin before and end after the speech. The clocks may differ by
        300 ppm.
    received_rate_hz : int
        Its sample rate in Hz, 8 kHz and up.

    Returns
    -------
    KnownDrive
        The drive with its interval.

    Raises
    ------
    KnownSpeechError
        The speech is too short, is not in the recording, drowns in noise, or something levels it.

    Notes
    -----
    With X the spectra of what leaves the modelled limiter and Y those of the recording, in windows of 85 ms,
    the best linear response leaves the share 1-γ² of the power, γ² being the coherence (Bendat & Piersol,
    Random Data, chapter on single-input systems). For Gaussian noise of any spectrum the log-likelihood is
    -N·Σ log(1-γ²); drive, pre-emphasis, high-pass and knee are where it is greatest. The interval is that of
    a bootstrap over blocks of one second (Künsch 1989, Annals of Statistics 17, 1217-1241).
    """
    aligned = align(reference, reference_rate_hz, received, received_rate_hz)
    if aligned is None:
        raise KnownSpeechError(
            "no_match", "the reference is not in the recording, or there is too little of it",
            "play the same file into the set and record all of it",
        )  # fmt: skip
    view = _View.of(aligned, reference, reference_rate_hz, received, received_rate_hz)
    if view.seconds < SHORTEST_S:
        raise KnownSpeechError(
            "too_short", f"only {view.seconds:.1f} s of the reference are in the recording",
            f"play {SHORTEST_S:.0f} s or more of speech",
        )  # fmt: skip
    best, cost = _search(view)
    explained = view.explained_db(best)
    if explained < LEAST_EXPLAINED_DB:
        raise KnownSpeechError(
            "noisy", f"the model explains the recording by {explained:.0f} dB only",
            "get a stronger signal, or play the file again",
        )  # fmt: skip
    spread_db = view.gain_spread_db(best)
    if spread_db > MOST_SPREAD_DB:
        raise KnownSpeechError(
            "levelled", f"the gain wanders by {spread_db:.1f} dB while the speech plays",
            "switch off automatic level control in the sound card, the recorder and the set",
        )  # fmt: skip
    low, high = _interval(view, best)
    linear = view.cost(replace(best, drive_db=LEAST_DRIVE_DB, softness=0.0))
    reached = linear - cost > RISE_OF_CHANCE and best.drive_db > 0.0
    return KnownDrive(
        drive_db=round(best.drive_db, 2) if reached else None,
        low_db=round(low, 2) if reached else None,
        high_db=round(high if reached else max(high, UNSEEN_DB), 2),
        reached=reached,
        clipped_fraction=view.clipped_fraction(best) if reached else 0.0,
        knee=None if best.softness < 1.0 / 30.0 or not reached else round(1.0 / best.softness, 1),
        preemphasis_us=round(best.emphasis_us, 0),
        explained_db=round(explained, 1),
        delay_s=aligned.delay_s,
        drift_ppm=round(aligned.drift_ppm, 1),
        seconds=round(view.seconds, 2),
        clipped_by_drive=view.clipped_by_drive(best),
    )


class _View:
    """Reference and recording side by side, and the cost of a model of the set."""

    def __init__(
        self, spectrum: NDArray[np.complex128], length_n: int, heard: NDArray[np.complex128]
    ) -> None:
        self._size_n, self._length_n = 2 * (len(spectrum) - 1), length_n
        hz = np.fft.rfftfreq(self._size_n, 1.0 / MODEL_RATE_HZ).astype(np.float64)
        self._hz: Array = hz[hz <= SPEECH_HZ]
        self._spectrum = spectrum[: len(self._hz)]
        self._heard = heard
        self._power = np.abs(heard) ** 2
        self.seconds = length_n / MODEL_RATE_HZ

    @classmethod
    def of(
        cls, aligned: Alignment, reference: NDArray[np.floating], reference_rate_hz: int,
        received: NDArray[np.floating], received_rate_hz: int,
    ) -> "_View":  # fmt: skip
        """Bring both to one clock, cut to what they share."""
        sent = np.asarray(soxr.resample(np.asarray(reference, np.float64), reference_rate_hz, MODEL_RATE_HZ))
        clock_hz = received_rate_hz * (1.0 + 1e-6 * aligned.drift_ppm)
        heard = np.asarray(soxr.resample(np.asarray(received, np.float64), clock_hz, VIEW_RATE_HZ))
        ratio = MODEL_RATE_HZ // VIEW_RATE_HZ
        # The delay of the recording's start, in samples of the view.
        start_n = round(aligned.delay_s * VIEW_RATE_HZ / (1.0 + 1e-6 * aligned.drift_ppm))
        skip_n = max(0, -start_n)
        heard = heard[max(start_n, 0) :]
        count = min(len(heard), len(sent) // ratio - skip_n, round(LONGEST_S * VIEW_RATE_HZ))
        heard, sent = heard[: max(count, 0)], sent[skip_n * ratio : (skip_n + max(count, 0)) * ratio]
        size = 2 * scipy.fft.next_fast_len((len(sent) + MODEL_RATE_HZ // 10) // 2, real=True)
        return cls(scipy.fft.rfft(sent, size), len(sent), _windows(heard))

    def driven(self, model: _Set) -> Array:
        """What reaches the modelled limiter, in units of its threshold."""
        chain = np.asarray(emphasis_response(self._hz, model.emphasis_us), dtype=np.complex128)
        s = 1j * self._hz / model.highpass_hz
        chain *= s * s / (1.0 + math.sqrt(2.0) * s + s * s)
        chain *= self._hz / (self._hz - 1j * model.coupling_hz) / (1.0 + 1j * self._hz / model.lowpass_hz)
        v = scipy.fft.irfft(self._spectrum * chain, self._size_n)[: self._length_n]
        top = float(np.quantile(np.abs(_active(v)), 0.999))
        return np.asarray(v * (10.0 ** (model.drive_db / 20.0) / max(top, 1e-12)))

    def clipped_fraction(self, model: _Set) -> float:
        """Share of active time beyond the threshold."""
        return round(float(np.mean(np.abs(_active(self.driven(model))) > 1.0)), 4)

    def clipped_by_drive(self, model: _Set) -> tuple[float, ...]:
        """Share of active time beyond the threshold, were the speech louder or softer."""
        # In units of the drive: the 99.9th percentile is 1.
        size = np.sort(np.abs(_active(self.driven(replace(model, drive_db=0.0)))))
        marks = 10.0 ** (-np.array(CLIPPED_DRIVES_DB) / 20.0)
        over = len(size) - np.searchsorted(size, marks, side="right")
        return tuple(round(float(share), 5) for share in over / max(len(size), 1))

    def sums(self, model: _Set) -> tuple[NDArray[np.complex128], Array, Array]:
        """Cross spectrum, spectrum of the model, spectrum of the recording, window by window."""
        left = _windows(np.asarray(soxr.resample(_limited(self.driven(model), model.softness), 4, 1)))
        count = min(len(left), len(self._heard))
        left = left[:count]
        return left.conj() * self._heard[:count], np.abs(left) ** 2, self._power[:count]

    def cost(self, model: _Set) -> float:
        """Negative log-likelihood, smaller for the better model."""
        cross, own, heard = self.sums(model)
        return _cost(np.sum(cross, axis=0), np.sum(own, axis=0), np.sum(heard, axis=0), len(cross))

    def gain_spread_db(self, model: _Set) -> float:
        """How much the gain between model and recording wanders, in dB: 90th less 10th percentile.

        Stretches of a third of a second, those with a tenth of the mean power or more. A fixed gain wanders
        by the noise alone.
        """
        cross, own, heard = self.sums(model)
        response = np.sum(cross, axis=0) / np.maximum(np.sum(own, axis=0), 1e-30)
        stretch_n = max(1, round(GAIN_S * VIEW_RATE_HZ / HOP_N))
        starts = np.arange(0, len(cross), stretch_n)
        # Weighed by the noise of each line, or the loudest lines' own wander would hide the rest.
        left = np.maximum(np.mean(heard, axis=0) - np.abs(response) ** 2 * np.mean(own, axis=0), 1e-30)
        agree = np.add.reduceat(np.sum(np.real(np.conj(response) * cross) / left, axis=1), starts)
        power = np.add.reduceat(np.sum(np.abs(response) ** 2 * own / left, axis=1), starts)
        loud = power >= 0.1 * np.mean(power)
        gains_db = 20.0 * np.log10(np.maximum(agree[loud] / power[loud], 1e-3))
        low, high = np.quantile(gains_db, [0.1, 0.9])
        return float(high - low)

    def explained_db(self, model: _Set) -> float:
        """Power explained over power left, in dB."""
        cross, own, heard = (np.sum(part, axis=0) for part in self.sums(model))
        explained = np.abs(cross) ** 2 / np.maximum(own, 1e-30)
        total = float(np.sum(heard))
        left = max(total - float(np.sum(explained)), 1e-9 * max(total, 1e-30))
        return float(10.0 * np.log10(max(float(np.sum(explained)) / left, 1e-9)))


def _windows(samples: Array) -> NDArray[np.complex128]:
    """Spectra of half-overlapped Hann windows within the band, shape (n_windows, n_bins)."""
    padded = np.pad(samples, (0, max(0, WINDOW_N - len(samples))))
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW_N)[::HOP_N]
    hz = np.fft.rfftfreq(WINDOW_N, 1.0 / VIEW_RATE_HZ)
    inside = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    return np.asarray(scipy.fft.rfft(frames * np.hanning(WINDOW_N + 1)[:-1], axis=1)[:, inside])


def _active(v: Array) -> Array:
    """The active frames of the limiter's input, joined: 20 ms within 25 dB of the 98th percentile."""
    frame_n = round(FRAME_S * MODEL_RATE_HZ)
    frames = v[: len(v) // frame_n * frame_n].reshape(-1, frame_n)
    rms = np.sqrt(np.mean(frames**2, axis=1))
    return np.asarray(frames[rms >= np.percentile(rms, 98) * 10.0 ** (-ACTIVE_RANGE_DB / 20.0)].ravel())


def _limited(v: Array, softness: float) -> Array:
    if softness < 1.0 / 30.0:
        return np.clip(v, -1.0, 1.0)
    p = 1.0 / softness
    return np.asarray(v / (1.0 + np.minimum(np.abs(v), 1e4) ** p) ** softness)


def _cost(cross: NDArray[np.complex128], own: Array, heard: Array, count: int) -> float:
    share = np.abs(cross) ** 2 / np.maximum(own * heard, 1e-60)
    # Windows overlap by half: about two thirds of them are independent.
    return float(0.67 * count * np.sum(np.log(np.maximum(1.0 - share, 1e-9))))


def _search(view: _View) -> tuple[_Set, float]:
    """Find the model of the set that explains the recording best."""
    trials = [_Set(d, us, FIRST_HIGHPASS_HZ, 0.0) for us in EMPHASES_US for d in DRIVES_DB]
    start = min(trials, key=view.cost)

    def model(at: Array) -> _Set:
        return _Set(
            float(np.clip(at[0], LEAST_DRIVE_DB, MOST_DRIVE_DB)),
            float(np.clip(math.exp(min(at[1], 7.0)), 20.0, 1000.0)),
            float(np.clip(math.exp(min(at[2], 7.0)), 50.0, 500.0)),
            float(np.clip(abs(at[3]), 0.0, SOFTEST)),
            float(np.clip(math.exp(min(at[4], 7.0)), 5.0, 400.0)),
            float(np.clip(math.exp(min(at[5], 11.0)), 2000.0, 40000.0)),
        )

    first = np.array(
        [
            start.drive_db, math.log(max(start.emphasis_us, 40.0)), math.log(start.highpass_hz), 0.1,
            math.log(start.coupling_hz), math.log(start.lowpass_hz),
        ]
    )  # fmt: skip
    simplex = np.vstack([first, first + np.diag([2.0, 0.6, 0.5, 0.15, 1.0, -1.0])])
    found = minimize(
        lambda at: view.cost(model(at)), first, method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": 170, "adaptive": True, "xatol": 9.0, "fatol": 0.2},
    )  # fmt: skip
    best = model(found.x)
    hard = replace(best, softness=0.0)
    return (hard, view.cost(hard)) if view.cost(hard) <= float(found.fun) else (best, float(found.fun))


def _interval(view: _View, best: _Set) -> tuple[float, float]:
    """Bounds of the drive at about 90 %: blocks of one second drawn anew, all else as fitted."""
    drives = best.drive_db + np.array([-4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0])
    block_n = round(BLOCK_S * VIEW_RATE_HZ / HOP_N)
    parts = []
    for drive_db in drives:
        sums = view.sums(replace(best, drive_db=float(drive_db)))
        starts = np.arange(0, len(sums[0]), block_n)
        parts.append([np.add.reduceat(part, starts, axis=0) for part in sums])
    rng = np.random.default_rng(1)
    blocks = len(parts[0][0])
    found = []
    for _ in range(DRAWS):
        drawn = np.bincount(rng.integers(blocks, size=blocks), minlength=blocks).astype(float)
        sums_drawn = [[np.tensordot(drawn, part, 1) for part in trial] for trial in parts]
        costs = np.array([_cost(cross, own, heard, 1) for cross, own, heard in sums_drawn])
        k = int(np.clip(np.argmin(costs), 1, len(drives) - 2))
        bent = np.polyfit(drives[k - 1 : k + 2], costs[k - 1 : k + 2], 2)
        at = -bent[1] / (2.0 * bent[0]) if bent[0] > 0.0 else drives[int(np.argmin(costs))]
        found.append(float(np.clip(at, drives[0], drives[-1])))
    low, high = (float(np.quantile(found, q)) - best.drive_db for q in (0.05, 0.95))
    rough = best.drive_db < LIGHT_BELOW_DB or best.softness > VERY_SOFT
    own_db = LIGHT_ERROR_DB if rough else MODEL_ERROR_DB
    return (
        best.drive_db - math.hypot(min(low, 0.0), own_db),
        best.drive_db + math.hypot(max(high, 0.0), own_db),
    )
