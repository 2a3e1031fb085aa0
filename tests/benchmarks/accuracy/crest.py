"""The baseline: limiter drive from the crest factor of received speech alone.

A driven limiter lowers the crest; how far is learnt on the training overs as the mean drive of overs of about
the same crest. What does not beat this is not worth its arithmetic.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from tests.benchmarks.accuracy.sets import read_set

BAND_HZ = (300.0, 3000.0)
LOWEST_DB = -3.0
MOST_BINS = 24
OVERS_A_BIN = 40
BASELINE_N = 1500
"""Training overs that the baseline is fitted on: its three curves need no more."""


def received_crest_db(record: dict[str, Any], audio: NDArray[np.float32]) -> float | None:
    """Q99.9 over RMS of the active 20 ms frames of the discriminator's view, in dB; None without speech.

    The baseline is told where the speech lies and what the de-emphasis is, which the tool must find out.
    """
    rate_hz = record["sample_rate_hz"]
    truth = record["truth"]
    x = audio[int(truth["speech_start_s"] * rate_hz) : int(truth["speech_end_s"] * rate_hz)].astype(float)
    corner_s = record["receiver"]["deemphasis_us"] * 1e-6
    if corner_s > 0.0 and len(x):
        x = x + np.diff(x, prepend=x[:1]) * rate_hz * corner_s
    x = scipy.signal.sosfilt(scipy.signal.butter(3, BAND_HZ, "bandpass", fs=rate_hz, output="sos"), x)
    n = rate_hz // 50
    frames = x[: len(x) // n * n].reshape(-1, n)
    if len(frames) < 50:
        return None
    rms = np.sqrt(np.mean(frames**2, axis=1))
    active = frames[rms >= np.percentile(rms, 98) * 10 ** (-25 / 20)].ravel()
    level = float(np.sqrt(np.mean(active**2)))
    return float(20 * np.log10(np.quantile(np.abs(active), 0.999) / level)) if level > 0.0 else None


@dataclass(frozen=True)
class CrestBaseline:
    """Mean drive and 5 to 95 % spread over crest, both in dB, interpolated between the bins' centres."""

    crest_db: tuple[float, ...]
    drive_db: tuple[float, ...]
    low_db: tuple[float, ...]
    high_db: tuple[float, ...]

    def predict(self, crest: float | None) -> dict[str, float | None]:
        """Drive with bounds, keys as the predictions have them."""
        if crest is None:
            return {"drive_db": None, "low_db": None, "high_db": None}
        return {
            key: float(np.interp(crest, self.crest_db, values))
            for key, values in (
                ("drive_db", self.drive_db),
                ("low_db", self.low_db),
                ("high_db", self.high_db),
            )
        }


def fit_crest(crests: list[float], drives: list[float]) -> CrestBaseline:
    """Learn the mean drive (clamped at −3 dB: the headroom below is not to be seen) for each crest."""
    order = np.argsort(crests)
    crest, drive = np.array(crests)[order], np.maximum(np.array(drives)[order], LOWEST_DB)
    parts = np.array_split(np.arange(len(crest)), min(MOST_BINS, max(1, len(crest) // OVERS_A_BIN)))
    return CrestBaseline(
        tuple(float(np.mean(crest[p])) for p in parts),
        tuple(float(np.mean(drive[p])) for p in parts),
        tuple(float(np.quantile(drive[p], 0.05)) for p in parts),
        tuple(float(np.quantile(drive[p], 0.95)) for p in parts),
    )


def baseline(folder: Path) -> CrestBaseline:
    """The crest baseline, fitted on plain training overs without held-out filters."""
    crests: list[float] = []
    drives: list[float] = []
    for record, audio in read_set(folder, "train"):
        if len(crests) >= BASELINE_N:
            break
        crest = (
            received_crest_db(record, audio) if record["kind"] == "plain" and not record["held_out"] else None
        )
        if crest is not None:
            crests.append(crest)
            drives.append(record["truth"]["drive_db"])
    return fit_crest(crests, drives)


def baseline_predictions(
    folder: Path, split: str, fitted: CrestBaseline
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Records of a split and the baseline's predictions for them."""
    records, predictions = [], {}
    for record, audio in read_set(folder, split):
        record["natural"] = record["mouth"]["talker"].startswith("nat_")
        records.append(record)
        predictions[record["id"]] = fitted.predict(received_crest_db(record, audio))
    return records, predictions
