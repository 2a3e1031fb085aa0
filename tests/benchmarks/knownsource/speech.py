"""How far off the drive by known speech is: ``python -m tests.benchmarks.knownsource.speech FIRST COUNT``.

Prints a line for each simulated over, then RMS, bias, 95th percentile and how many intervals hold the truth.
"""

import json
import sys
import time
from typing import Any

import numpy as np
import soxr

from audiotest.measure.knownspeech import KnownSpeechError, measure_known_drive
from audiotest.radio.link import simulate
from audiotest.radio.settings import Timing
from tests.benchmarks.knownsource.draws import Draw, draw

TIMING = Timing(before_s=0.4, bare_carrier_s=0.4, after_s=0.2, end_s=0.4)


def measured(drawn: Draw) -> dict[str, Any]:
    """One over, simulated and measured."""
    speech, rate_hz = drawn.speech()
    # The simulated radio wants a rate that divides well; playing a voice faster is a rate of its own.
    source = np.asarray(soxr.resample(np.asarray(speech, float), rate_hz, 16000))
    made = simulate(
        source, 16000, drawn.transmitter, drawn.receiver, drawn.soundcard, TIMING, seed=drawn.seed
    )
    heard = np.asarray(soxr.resample(np.asarray(made.audio, float), 1.0, 1.0 + 1e-6 * drawn.ppm))
    truth = made.truth[0]
    row: dict[str, Any] = {
        "seed": drawn.seed, "voice": drawn.voice, "limiter": drawn.transmitter.limiter,
        "cnr_db": round(drawn.receiver.cnr_db, 1), "rate_hz": made.sample_rate_hz,
        "truth_db": round(truth.drive_db, 2), "truth_clipped": round(truth.clipped_fraction, 4),
    }  # fmt: skip
    start = time.monotonic()
    try:
        found = measure_known_drive(source, 16000, heard, made.sample_rate_hz)
    except KnownSpeechError as error:
        return {**row, "refused": error.reason}
    return {
        **row, "drive_db": found.drive_db, "low_db": found.low_db, "high_db": found.high_db,
        "clipped": found.clipped_fraction, "knee": found.knee, "explained_db": found.explained_db,
        "took_s": round(time.monotonic() - start, 1),
    }  # fmt: skip


def summary(rows: list[dict[str, Any]]) -> str:
    """RMS, bias, 95th percentile of the error, share of intervals that hold the truth."""
    read = [row for row in rows if row.get("drive_db") is not None]
    refused = [row for row in rows if "refused" in row]
    unseen = [row for row in rows if "refused" not in row and row["drive_db"] is None]
    off = np.array([row["drive_db"] - row["truth_db"] for row in read])
    held = [row["low_db"] <= row["truth_db"] <= row["high_db"] for row in read]
    lines = [f"{len(rows)} overs: {len(read)} read, {len(unseen)} below the limiter, {len(refused)} refused"]
    if len(off):
        lines.append(
            f"error: RMS {np.sqrt(np.mean(off**2)):.2f} dB, bias {np.mean(off):+.2f}, "
            f"95 % within {np.quantile(np.abs(off), 0.95):.2f}, worst {np.max(np.abs(off)):.2f}, "
            f"within 1 dB {np.mean(np.abs(off) <= 1.0):.0%}, in the interval {np.mean(held):.0%}"
        )
    bounds = [row["truth_db"] <= row["high_db"] for row in unseen]
    if bounds:
        lines.append(f"bound holds where nothing was seen: {sum(bounds)} of {len(bounds)}")
    return "\n".join(lines)


def main(first: int, count: int) -> None:
    """Measure so many overs."""
    rows = []
    for seed in range(first, first + count):
        rows.append(measured(draw(seed)))
        print(json.dumps(rows[-1]), flush=True)
    print(summary(rows))


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
