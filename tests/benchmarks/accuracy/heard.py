"""How well the deviation could be told by somebody who knows the receiver: a bound for any method.

``python -m tests.benchmarks.accuracy.heard CORPUS SET`` sends the plain overs of a set anew and measures the
99.9th percentile and the peak of what is left of each step on the way, told the talker's pauses exactly:
the sent wave below 3.6 kHz, where every receiver's audio ends; the same behind the receiver's IF filter,
without any noise; and the recording with the receiver's audio filters undone exactly. It writes
``SET/heard.json``.
"""

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import scipy.fft
import soundfile as sf
import soxr
from numpy.typing import NDArray

from audiotest.measure.views import AUDIO_HIGH_HZ, WAVE_RATE_HZ
from audiotest.radio.receiver import audio_response, discriminate
from audiotest.radio.settings import Receiver, Timing, Transmitter
from audiotest.radio.transmitter import Modulation, modulate, select
from tests.benchmarks.accuracy.draw import Mouth
from tests.benchmarks.accuracy.mouth import RATE_HZ, at_the_microphone
from tests.benchmarks.accuracy.sets import read_shard, recordings

SEND_HZ = 192000
NOISELESS_DB = 90.0
LOWEST_CNR_DB = 18.0
LOWEST_RATE_HZ = 16000
LOW_HZ = 60.0
MOST_LIFT = 0.01
"""Of the squared gain: what a filter took by more than 20 dB is not lifted further."""
STEPS = ("sent", "if", "told")
Array = NDArray[np.float64]


def shaped(samples: Array, rate_hz: int, low_hz: float, response: Any = None) -> Array:
    """`samples`, shape (n,), from `low_hz` to where the receivers' audio ends, with `response` undone."""
    n = scipy.fft.next_fast_len(len(samples) + rate_hz // 4, real=True)
    hz = np.maximum(np.arange(n // 2 + 1) * rate_hz / n, 1.0)
    gain = 1.0 / (1.0 + (low_hz / hz) ** 8) / (1.0 + (hz / AUDIO_HIGH_HZ) ** 24)
    if response is not None:
        passed = response(hz)
        gain = gain * np.conj(passed) / (np.abs(passed) ** 2 + MOST_LIFT)
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(samples, n) * gain, n)[: len(samples)])


def figures(samples: Array, active: NDArray[np.bool_], rate_hz: int) -> tuple[float, float]:
    """99.9th percentile and peak of active speech."""
    size = np.abs(select(samples, active, rate_hz))
    return float(np.quantile(size, 0.999)), float(np.max(size))


def decibels(ratio: float) -> float:
    """A ratio of deviations in dB."""
    return 20.0 * float(np.log10(ratio))


def sent_again(record: dict[str, Any], recording: Array) -> Modulation:
    """The transmission of a record, sample by sample as when the set was rendered."""
    mouth, timing = Mouth(**record["mouth"]), Timing(**record["timing"])
    return modulate(
        at_the_microphone(recording, mouth), round(RATE_HZ * mouth.pitch),
        Transmitter(**record["transmitter"]), rate_hz=SEND_HZ, lead_s=timing.bare_carrier_s,
        trail_s=timing.after_s, rng=np.random.default_rng(record["seed"]),
    )  # fmt: skip


def errors_of(
    record: dict[str, Any], audio: NDArray[np.float32], recording: Array
) -> dict[str, tuple[float, float]]:
    """By step: errors of the 99.9th percentile and of the peak in dB."""
    truth, receiver = record["truth"], Receiver(**record["receiver"])
    sent = sent_again(record, recording)
    quiet = replace(receiver, cnr_db=NOISELESS_DB)
    carrier = np.ones(len(sent.deviation_khz))
    behind_if = discriminate(sent.speech_khz, carrier, quiet, SEND_HZ, np.random.default_rng(1))
    first_n = round(truth["start_s"] * record["sample_rate_hz"])
    last_n = round(truth["end_s"] * record["sample_rate_hz"])
    heard = soxr.resample(
        audio[first_n:last_n].astype(np.float64) * truth["scale_khz_per_fs"],
        record["sample_rate_hz"], WAVE_RATE_HZ,
    )  # fmt: skip
    told = shaped(heard - np.mean(heard), WAVE_RATE_HZ, LOW_HZ, lambda hz: audio_response(receiver, hz))
    # The carrier's own edges are no speech.
    active = sent.active.copy()
    active[:3] = active[-3:] = False
    waves = {
        "sent": (shaped(sent.speech_khz, SEND_HZ, 0.0), SEND_HZ),
        "if": (shaped(behind_if - np.mean(behind_if), SEND_HZ, LOW_HZ), SEND_HZ),
        "told": (told, WAVE_RATE_HZ),
    }
    errors = {}
    for step, (wave, rate_hz) in waves.items():
        p999, peak = figures(wave, active, rate_hz)
        errors[step] = decibels(p999 / truth["p999_khz"]), decibels(peak / truth["peak_khz"])
    return errors


def wanted(record: dict[str, Any]) -> bool:
    """Whether nothing but the speech, the filters and some noise is in this over."""
    return (
        record["kind"] == "plain"
        and record["truth"]["cnr_db"] >= LOWEST_CNR_DB
        and record["sample_rate_hz"] >= LOWEST_RATE_HZ
        and record["truth"]["end_beep_hz"] is None
        and record["truth"]["subaudible_hz"] is None
    )


def of_shard(path: Path, files: dict[str, Path]) -> list[dict[str, tuple[float, float]]]:
    """The errors of every wanted over of one shard."""
    return [
        errors_of(record, audio, sf.read(files[record["mouth"]["talker"]], dtype="float64")[0])
        for record, audio in read_shard(path)
        if wanted(record)
    ]


def summary(errors: list[dict[str, tuple[float, float]]]) -> dict[str, Any]:
    """Bias, median size and 95th percentile of the errors, by step and figure."""
    found: dict[str, Any] = {"n": len(errors)}
    for step in STEPS:
        for column, name in enumerate(("p999", "peak")):
            some = np.array([one[step][column] for one in errors])
            found[f"{step}_{name}"] = {
                "bias_db": float(np.mean(some)),
                "median_db": float(np.median(np.abs(some))),
                "e95_db": float(np.quantile(np.abs(some), 0.95)),
            }
    return found


def main() -> None:
    """Write the figures of a split."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("set", type=Path)
    parser.add_argument("--split", default="test")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    files = recordings(options.corpus)
    errors: list[dict[str, tuple[float, float]]] = []
    with ProcessPoolExecutor(options.workers) as pool:
        for part in pool.map(
            partial(of_shard, files=files), sorted(options.set.glob(f"{options.split}-*.npz"))
        ):
            errors += part
    found = summary(errors)
    (options.set / "heard.json").write_text(json.dumps(found))
    for name, figure in found.items():
        print(name, figure)


if __name__ == "__main__":
    main()
