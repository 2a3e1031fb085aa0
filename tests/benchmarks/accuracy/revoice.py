"""Makes further talkers for training out of recorded ones: other pitch, vocal tract, breath and tempo.

``python -m tests.benchmarks.accuracy.revoice CORPUS OUT --splits train,tune`` copies the corpus's index and
adds variants of its natural talkers (needs `pyworld`, the WORLD vocoder of Morise et al. 2016, MIT
licence). A vocoder's voice is peakier than the talker it came from: one more reason to draw many and to judge
on none of them.
"""

import argparse
import json
import shutil
from pathlib import Path

import numpy as np
import pyworld
import soundfile as sf
from numpy.typing import NDArray

from tests.benchmarks.accuracy.sets import talkers_of

LONGEST_S = 60.0
Samples = NDArray[np.float64]


def analysed(x: Samples, rate_hz: int) -> tuple[Samples, Samples, Samples]:
    """Pitch, spectral envelope and aperiodicity, frame by frame."""
    pitch, times = pyworld.dio(x, rate_hz)
    pitch = pyworld.stonemask(x, pitch, times, rate_hz)
    return pitch, pyworld.cheaptrick(x, pitch, times, rate_hz), pyworld.d4c(x, pitch, times, rate_hz)


def another(
    parts: tuple[Samples, Samples, Samples], rate_hz: int, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Another talker saying the same."""
    pitch, envelope, breath = parts
    tempo = rng.uniform(0.85, 1.2)
    frames = np.minimum((np.arange(int(len(pitch) / tempo)) * tempo).astype(int), len(pitch) - 1)
    pitch, envelope, breath = pitch[frames], envelope[frames], breath[frames]
    voiced = pitch > 0.0
    if voiced.any():
        middle = np.exp(np.mean(np.log(pitch[voiced])))
        melody = (pitch[voiced] / middle) ** rng.uniform(0.5, 1.6)
        pitch = pitch.copy()
        pitch[voiced] = np.clip(np.exp(rng.uniform(np.log(75.0), np.log(260.0))) * melody, 55.0, 480.0)
    bins = envelope.shape[1]
    place = np.minimum(np.arange(bins) / rng.uniform(0.82, 1.22), bins - 1.0)
    below = place.astype(int)
    share = place - below
    above = np.minimum(below + 1, bins - 1)
    envelope = np.exp(np.log(envelope[:, below]) * (1 - share) + np.log(envelope[:, above]) * share)
    hz = np.linspace(0.0, 1.0, bins)
    ripple = sum(rng.normal(0.0, 1.5) * np.cos(np.pi * k * hz + rng.uniform(0, 6)) for k in range(1, 7))
    envelope = envelope * 10 ** ((ripple + rng.normal(0.0, 3.0) * hz) / 10)
    breath = np.clip(breath ** rng.uniform(0.6, 1.5), 1e-6, 1.0)
    y = pyworld.synthesize(pitch, np.ascontiguousarray(envelope), np.ascontiguousarray(breath), rate_hz)
    return np.asarray(0.5 * y / np.max(np.abs(y)), dtype=np.float32)


def main() -> None:
    """Write the variants and the longer index."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--splits", default="train")
    parser.add_argument("--variants", type=int, default=12)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    index = talkers_of(options.corpus)
    rng = np.random.default_rng(7)
    for talker in list(index):
        shutil.copy(options.corpus / talker["file"], options.out / talker["file"])
        if not talker["natural"] or talker["split"] not in options.splits.split(","):
            continue
        x, rate_hz = sf.read(options.corpus / talker["file"], dtype="float64")
        for k in range(options.variants):
            start = int(rng.integers(0, max(1, len(x) - int(LONGEST_S * rate_hz))))
            part = np.ascontiguousarray(x[start : start + int(LONGEST_S * rate_hz)])
            name = f"{talker['id']}_other{k:02d}"
            y = another(analysed(part, rate_hz), rate_hz, rng)
            sf.write(options.out / f"{name}.flac", y, rate_hz)
            index.append(talker | {"id": name, "file": f"{name}.flac", "minutes": len(y) / rate_hz / 60.0})
        print(talker["id"], flush=True)
    (options.out / "index.json").write_text(json.dumps(index, indent=1))


if __name__ == "__main__":
    main()
