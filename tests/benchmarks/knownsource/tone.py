"""Errors of the stepped tone's onset and knee: ``python -m tests.benchmarks.knownsource.tone FIRST COUNT``.

The whole procedure on each simulated set, over the air to a receiver; true values from `micsocket`.
"""

import json
import math
import sys
from dataclasses import replace
from typing import Any

import numpy as np

from audiotest.radio.micsocket import SetUnderTest, _before_limiter, socket_truth
from audiotest.tones.guided import carry_out
from audiotest.tones.level import OutputScale
from audiotest.tones.rehearsal import Rehearsal
from audiotest.tones.tonedrive import TONE_HZ, drive_by_tone
from tests.benchmarks.knownsource.draws import draw

OUTPUT = OutputScale(name="simulated", full_scale_mv=3000.0, ceiling_mv=4000.0)


def onset_at(unit: SetUnderTest, hz: float) -> float:
    """The onset at another tone than 1 kHz, by the response before the limiter."""
    size = np.abs(_before_limiter(unit.transmitter, np.array([1000.0, hz])))
    return unit.onset_mv * float(size[0] / size[1])


def measured(seed: int) -> dict[str, Any]:
    """One set, stepped through."""
    drawn = draw(1000 + seed)
    rng = np.random.default_rng([20261126, seed])
    unit = SetUnderTest(
        transmitter=drawn.transmitter, onset_mv=float(np.exp(rng.uniform(np.log(1.0), np.log(30.0)))),
        noise_mv=0.01, offset_hz=float(rng.normal(0.0, 100.0)),
    )  # fmt: skip
    receiver = replace(drawn.receiver, mistune_khz=0.0)
    bench = Rehearsal(
        unit=unit, monitor_receiver=receiver, card=drawn.soundcard, output=OUTPUT, seed=10_000 + 100 * seed
    )
    report = carry_out(drive_by_tone(most_mv=OUTPUT.ceiling_mv), bench)
    truth = socket_truth(unit)
    values = {figure.key: figure.value for figure in report.figures}
    row: dict[str, Any] = {
        "seed": seed, "limiter": unit.transmitter.limiter, "cnr_db": round(receiver.cnr_db, 1),
        "rate_hz": drawn.soundcard.sample_rate_hz, "complete": report.complete, "notes": report.notes,
    }  # fmt: skip
    for key, true_mv in (("onset_tone_mv", onset_at(unit, TONE_HZ)), ("onset_mv", unit.onset_mv)):
        row[key] = None if values[key] is None else round(20.0 * math.log10(values[key] / true_mv), 2)
    if truth.compression_1db_mv is not None and values["knee_db"] is not None:
        knee_db = 20.0 * math.log10(truth.compression_1db_mv / truth.onset_mv)
        row["knee_db"] = round(values["knee_db"] - knee_db, 2)
    if truth.compression_1db_mv is not None and values["compression_1db_mv"] is not None:
        row["compression_db"] = round(
            20.0 * math.log10(values["compression_1db_mv"] / truth.compression_1db_mv), 2
        )
    return row


def main(first: int, count: int) -> None:
    """Step through so many sets, and sum up by limiter."""
    rows = []
    for seed in range(first, first + count):
        rows.append(measured(seed))
        print(json.dumps(rows[-1]), flush=True)
    for limiters in (("hard", "soft"), ("lopsided",), ("diode",)):
        for key in ("onset_tone_mv", "onset_mv", "knee_db", "compression_db"):
            off = np.array(
                [row[key] for row in rows if row["limiter"] in limiters and row.get(key) is not None]
            )
            if len(off):
                print(
                    f"{'+'.join(limiters)} {key}: {len(off)} sets, RMS {np.sqrt(np.mean(off**2)):.2f} dB, "
                    f"bias {np.mean(off):+.2f}, worst {np.max(np.abs(off)):.2f}, "
                    f"within 0.3 dB {np.mean(np.abs(off) <= 0.3):.0%}"
                )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
