"""What codecs do to the drive, and whether the narrow link is named.

``python -m tests.benchmarks.accuracy.coded SET`` (from the top of the repository) takes plain overs of the
set's train split as they were heard and through libsndfile's codecs, and writes ``SET/coded.json``: by codec
how often the over is still found whole, by how much the drive of those moved, and how often the link is named
among recordings above 12 kHz.
"""

import argparse
import io
import json
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile as sf
import soxr
from numpy.typing import NDArray

from audiotest.measure.narrowlink import LEAST_RATE_HZ
from tests.benchmarks.accuracy.listening import measured
from tests.benchmarks.accuracy.score import Prediction, Record
from tests.benchmarks.accuracy.sets import read_set

OVERS_N = 20
LEAST_CNR_DB = 18.0
SAME_EDGE_S = 0.2
FULL = 0.98


class Codec(NamedTuple):
    """A codec of libsndfile: the rate it works at, container and kind, how hard it compresses (0 to 1)."""

    name: str
    rate_hz: int
    form: str = "WAV"
    subtype: str = "PCM_16"
    level: float | None = None


CODECS = (
    Codec("none, 8 kHz alone", 8000),
    Codec("G.711, µ-law", 8000, "WAV", "ULAW"),
    Codec("G.711, A-law", 8000, "WAV", "ALAW"),
    Codec("G.721", 8000, "AU", "G721_32"),
    Codec("G.723, 24 kbit", 8000, "AU", "G723_24"),
    Codec("IMA ADPCM, 8 kHz", 8000, "WAV", "IMA_ADPCM"),
    Codec("GSM 06.10", 8000, "WAV", "GSM610"),
    Codec("MP3 at a low rate, 48 kHz", 48000, "MP3", "MPEG_LAYER_III", 0.9),
    Codec("Vorbis at its lowest rate, 48 kHz", 48000, "OGG", "VORBIS", 1.0),
    Codec("Opus at a low rate, 48 kHz", 48000, "OGG", "OPUS", 0.95),
    Codec("Opus at its lowest rate, 48 kHz", 48000, "OGG", "OPUS", 1.0),
    Codec("Opus at its lowest rate, 16 kHz", 16000, "OGG", "OPUS", 1.0),
    Codec("Opus at its lowest rate, 8 kHz", 8000, "OGG", "OPUS", 1.0),
)


def through(codec: Codec, samples: NDArray[np.float32], sample_rate_hz: int) -> NDArray[np.float32]:
    """`samples` through a codec and back at their own rate and length, their level left."""
    at_rate = np.asarray(soxr.resample(samples, sample_rate_hz, codec.rate_hz))
    scale = FULL / max(float(np.max(np.abs(at_rate))), FULL)
    kept = io.BytesIO()
    sf.write(
        kept, at_rate * scale, codec.rate_hz, format=codec.form, subtype=codec.subtype,
        compression_level=codec.level,
    )  # fmt: skip
    kept.seek(0)
    heard, rate_hz = sf.read(kept, dtype="float32")
    back = np.asarray(soxr.resample(heard / scale, rate_hz, sample_rate_hz), dtype=np.float32)
    return np.pad(back, (0, max(len(samples) - len(back), 0)))[: len(samples)]


def chosen(folder: Path) -> list[tuple[Record, NDArray[np.float32]]]:
    """The first plain overs that are strong enough, whatever their limiter does."""
    found = []
    for record, samples in read_set(folder, "train"):
        if record["kind"] == "plain" and record["receiver"]["cnr_db"] >= LEAST_CNR_DB:
            found.append((record, samples))
        if len(found) == OVERS_N:
            break
    return found


def heard_by(codec: Codec | None, over: tuple[Record, NDArray[np.float32]]) -> Prediction:
    """What the tool says of an over behind a codec, or as it was."""
    record, samples = over
    heard = samples if codec is None else through(codec, samples, record["sample_rate_hz"])
    return measured(record, heard)


def same_over(one: Prediction, other: Prediction) -> bool:
    """Whether both were found, from the same key-up to the same end."""
    edges = ("start_error_s", "end_error_s")
    return all(edge in one and edge in other and abs(one[edge] - other[edge]) < SAME_EDGE_S for edge in edges)


def compared(
    overs: list[tuple[Record, NDArray[np.float32]]], plain: list[Prediction], coded: list[Prediction]
) -> dict[str, float | int | None]:
    """By how much the drive of overs that were found whole moved, and how often the link was named."""
    whole = [(one, other) for one, other in zip(plain, coded, strict=True) if same_over(one, other)]
    moved = [
        other["drive_db"] - one["drive_db"]
        for one, other in whole
        if one["drive_db"] is not None and other["drive_db"] is not None
    ]
    wide = [k for k, (record, _) in enumerate(overs) if record["sample_rate_hz"] > LEAST_RATE_HZ]
    return {
        "n": len(overs),
        "whole_n": len(whole),
        "measured_n": len(moved),
        "moved_db": float(np.sqrt(np.mean(np.square(moved)))) if moved else None,
        "median_db": float(np.median(np.abs(moved))) if moved else None,
        "wide_n": len(wide),
        "named": sum("codec" in coded[k].get("conditions", ()) for k in wide),
    }


def main() -> None:
    """Code, measure, compare, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("set", type=Path)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    overs = chosen(options.set)
    found: dict[str, dict[str, float | int | None]] = {}
    with ProcessPoolExecutor(options.workers) as pool:
        plain = list(pool.map(partial(heard_by, None), overs))
        for codec in CODECS:
            found[codec.name] = compared(overs, plain, list(pool.map(partial(heard_by, codec), overs)))
            print(codec.name, found[codec.name], flush=True)
    (options.set / "coded.json").write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
