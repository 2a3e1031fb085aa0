"""How far the limiter's peaks lie outside the band that reaches a receiver: what no speech method can see.

``python -m tests.benchmarks.accuracy.outband CORPUS SET`` drives the limiter of every over of a rendered set
again and writes ``SET/outband.json``: by id, the 99.9th percentile of the limiter's input behind a 3 kHz
low-pass over that of all of it, in dB. At -10 dB what is clipped 10 dB deep are sibilants that the splatter
filter then takes away, and what is left of the speech just touches the threshold.
"""

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf
import soxr

from audiotest.radio.settings import Transmitter
from audiotest.radio.transmitter import (
    active_frames,
    analogue_lowpass,
    at_limiter,
    filtered,
    padded_bins,
    select,
)
from tests.benchmarks.accuracy.draw import Mouth
from tests.benchmarks.accuracy.mouth import RATE_HZ, at_the_microphone
from tests.benchmarks.accuracy.sets import recordings

LIMITER_HZ = 48000
BAND_HZ = 3000.0
BAND_ORDER = 5


def in_band_db(record: dict[str, Any], recording: Path) -> float:
    """99.9th percentile of the limiter's input below 3 kHz over that of all of it, active speech, in dB."""
    mouth = Mouth(**record["mouth"])
    source = at_the_microphone(sf.read(recording, dtype="float64")[0], mouth).astype(np.float64)
    speech = soxr.resample(source, round(RATE_HZ * mouth.pitch), LIMITER_HZ)
    mic = np.concatenate([np.zeros(LIMITER_HZ // 2), speech, np.zeros(LIMITER_HZ // 5)])
    v, _ = at_limiter(
        mic, LIMITER_HZ, Transmitter(**record["transmitter"]), np.random.default_rng(record["seed"])
    )
    active = active_frames(v, LIMITER_HZ)
    low_pass = analogue_lowpass("butterworth", BAND_ORDER, BAND_HZ, padded_bins(len(v), LIMITER_HZ))
    within = filtered(v, LIMITER_HZ, low_pass)
    tops = [np.quantile(np.abs(select(part, active, LIMITER_HZ)), 0.999) for part in (within, v)]
    return float(20.0 * np.log10(tops[0] / tops[1]))


def of_shard(path: Path, files: dict[str, Path]) -> dict[str, float]:
    """The figure of every over of one shard."""
    return {r["id"]: in_band_db(r, files[r["mouth"]["talker"]]) for r in json.loads(path.read_text())}


def main() -> None:
    """Write the figures of a split."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("set", type=Path)
    parser.add_argument("--split", default="test")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    files = recordings(options.corpus)
    found: dict[str, float] = {}
    with ProcessPoolExecutor(options.workers) as pool:
        shards = sorted(options.set.glob(f"{options.split}-*.json"))
        for part in pool.map(partial(of_shard, files=files), shards):
            found |= part
    (options.set / "outband.json").write_text(json.dumps(found))
    print(f"{len(found)} overs; median {np.median(list(found.values())):.1f} dB")


if __name__ == "__main__":
    main()
