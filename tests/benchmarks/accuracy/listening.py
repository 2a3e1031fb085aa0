"""What the tool's own engine and advice say of one over of a set.

The engine gets the audio as a sound card would give it, with the carrier's edges and the hiss around them,
and a feed whose scale and de-emphasis are known.
"""

import hashlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import audiotest.measure.drivemodel as drivemodel
from audiotest.advise.rules import judge
from audiotest.records import Feed, LimitSet, Over, PathResponse
from audiotest.session.engine import Engine
from tests.benchmarks.accuracy.score import Prediction, Record

MODEL = Path(drivemodel.__file__).with_name(drivemodel.MODEL_FILE)
SCALE_UNCERTAINTY_DB = 0.3
BLOCK_N = 4096


def model_sha256() -> str:
    """Checksum of the drive model that is at work."""
    return hashlib.sha256(MODEL.read_bytes()).hexdigest()


def feed_of(record: Record, path: PathResponse | None = None) -> Feed:
    """The feed as a reference tone would have taught it, with the path if one was learnt."""
    return Feed(
        name="benchmark",
        method="tone",
        scale_khz_per_fs=record["truth"]["scale_khz_per_fs"],
        scale_uncertainty_db=SCALE_UNCERTAINTY_DB,
        deemphasis_us=record["receiver"]["deemphasis_us"],
        tone_hz=1000.0,
        deviation_khz=None,
        if_bandwidth_khz=record["receiver"]["if_bandwidth_khz"],
        hiss_dbfs=None,
        learned="",
        path=path,
    )


def limits_of(record: Record) -> LimitSet:
    """The service limit that was drawn."""
    return LimitSet(
        id="benchmark",
        title="benchmark",
        deviation_khz=record["limit_khz"],
        spacing_khz=12.5,
        audio_high_hz=3400.0,
        channels="",
        source="drawn",
    )


def longest_overlap(overs: list[Over], start_s: float, end_s: float) -> Over | None:
    """The measured over that shares most time with the true one."""
    shares = [(min(o.end_s, end_s) - max(o.start_s, start_s), i) for i, o in enumerate(overs)]
    best = max(shares, default=(0.0, 0))
    return overs[best[1]] if best[0] > 0.0 else None


def measured(
    record: Record, audio: NDArray[np.float32], path: PathResponse | None = None, *, scaled: bool = True
) -> Prediction:
    """What the tool says of one over; without `scaled` as to somebody who never learned a feed."""
    limits = limits_of(record)
    feed = feed_of(record, path) if scaled else None
    engine = Engine(record["sample_rate_hz"], feed=feed, limits=limits)
    overs: list[Over] = []
    for first in range(0, len(audio), BLOCK_N):
        overs += engine.push(audio[first : first + BLOCK_N])
    overs += engine.finish()
    truth = record["truth"]
    over = longest_overlap(overs, truth["start_s"], truth["end_s"])
    if over is None:
        return {"overs": len(overs)}
    advice = judge(over, feed, limits)
    return {
        "overs": len(overs),
        "kind": over.kind,
        "start_error_s": over.start_s - truth["start_s"],
        "end_error_s": over.end_s - truth["end_s"],
        "drive_db": over.limiter.drive_db,
        "low_db": over.limiter.drive_low_db,
        "high_db": over.limiter.drive_high_db,
        "clipped_fraction": over.limiter.clipped_fraction,
        "p999_khz": over.deviation.p999_khz,
        "peak_khz": over.deviation.peak_khz,
        "rms_khz": over.deviation.rms_khz,
        "mic_gain": advice.mic_gain,
        "deviation": advice.deviation,
        "confidence": advice.confidence,
        "conditions": over.conditions,
        "overload_runs": over.overload_runs,
        "notes": over.notes,
    }
