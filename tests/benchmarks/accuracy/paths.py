"""The path behind the limiter of every over of a set, learnt as the tool learns it.

``python -m tests.benchmarks.accuracy.paths SET`` sends eight tones through each over's own transmitter and
receiver, 24 dB above the limiter's threshold, learns the path from what arrives, and writes
``SET/paths-test.json``: by id the response, or null where it could not be learnt. Only plain overs are tried.
"""

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError
from audiotest.measure.path import learn_path
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import analogue_highpass, emphasis
from audiotest.records import PathResponse

TONES_HZ = (200.0, 250.0, 310.0, 390.0, 480.0, 600.0, 750.0, 950.0)
TONE_S, GAP_S = 0.7, 0.05
OVERDRIVE_DB = 24.0
RATE_HZ = 48000
BASEBAND_HZ = 96000
QUICK = Timing(before_s=0.1, bare_carrier_s=0.1, after_s=0.1, end_s=0.1)


def tones(tx: Transmitter) -> NDArray[np.float64]:
    """The tones one after another, each as loud at the limiter as the others."""
    t = np.arange(round(TONE_S * RATE_HZ)) / RATE_HZ
    parts = []
    for tone_hz in TONES_HZ:
        at = np.array([tone_hz])
        chain = analogue_highpass(2, tx.mic_highpass_hz, at)
        if tx.preemphasis_us is not None:
            chain = chain * emphasis(tx.preemphasis_us, at)
        parts += [1e-3 / abs(chain[0]) * np.sin(2 * np.pi * tone_hz * t), np.zeros(round(GAP_S * RATE_HZ))]
    return np.concatenate(parts)


def learnt(record: dict[str, Any]) -> PathResponse | None:
    """The path as learnt over the record's transmitter and receiver."""
    if record["kind"] != "plain":
        return None
    tx = Transmitter(**record["transmitter"])
    tx = replace(
        tx, drive_db=None, mic_gain_db=60.0 + OVERDRIVE_DB, ambient_db=None, end_beep_hz=None,
        subaudible_hz=None, splatter=tuple(tx.splatter),
    )  # fmt: skip
    # The level is set for tones: speech of the same set may use more or less of the sound card.
    card = replace(SoundCard(**record["soundcard"]), full_scale=4.0, bits=None)
    try:
        made = simulate(
            tones(tx), RATE_HZ, tx, Receiver(**record["receiver"]), card, QUICK, seed=record["seed"],
            baseband_rate_hz=BASEBAND_HZ,
        )  # fmt: skip
        return learn_path(made.audio, made.sample_rate_hz)
    except AudiotestError:
        return None


def of_shard(path: Path) -> dict[str, dict[str, Any] | None]:
    """The learnt path of every over of one shard."""
    found: dict[str, dict[str, Any] | None] = {}
    for record in json.loads(path.read_text()):
        response = learnt(record)
        found[record["id"]] = None if response is None else asdict(response)
    return found


def read_paths(folder: Path, split: str) -> dict[str, PathResponse]:
    """What `main` wrote, without the overs that have none."""
    stored = json.loads((folder / f"paths-{split}.json").read_text())
    return {
        name: PathResponse(**{k: tuple(v) if isinstance(v, list) else v for k, v in table.items()})
        for name, table in stored.items()
        if table is not None
    }


def main() -> None:
    """Learn the paths of a split."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("set", type=Path)
    parser.add_argument("--split", default="test")
    parser.add_argument("--shards", type=int, help="only so many; each tone takes the radio some seconds")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    found: dict[str, dict[str, Any] | None] = {}
    shards = sorted(options.set.glob(f"{options.split}-*.json"))[: options.shards]
    with ProcessPoolExecutor(options.workers) as pool:
        for part in pool.map(of_shard, shards):
            found |= part
    (options.set / f"paths-{options.split}.json").write_text(json.dumps(found))
    print(f"{sum(v is not None for v in found.values())} of {len(found)} paths learnt")


if __name__ == "__main__":
    main()
