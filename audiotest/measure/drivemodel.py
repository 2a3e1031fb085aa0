"""The trained drive model: a few matrix products over the features, no training library needed.

The arrays come from `tests/benchmarks/accuracy`, whose README tells how to make them from scratch.
"""

import functools
from dataclasses import dataclass
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.drivefeatures import DriveFeatures

MODEL_FILE = "drive_model.npz"
TOLD_FILE = "drive_model_told.npz"
"""The same network, told as well how far the speech stands over the limiter's ceiling."""
SHARES = (0.01, 0.03, 0.08, 0.2, 0.5)
HALF_TAPS = 2
KINDS = (
    "plain", "soundcard_overload", "if_clipping", "compressed_source", "soundcard_agc", "codec", "levelling"
)  # fmt: skip
Arrays = dict[str, NDArray[np.float32]]


@dataclass(frozen=True, slots=True)
class ModelFigures:
    """What the model says of one over.

    ``low_db``, ``drive_db`` and ``high_db`` are the 5th, 50th and 95th percentile of the drive;
    ``p999_ratio`` and ``peak_ratio`` are the sent 99.9th percentile and peak over the received 99.9th
    percentile of the discriminator's output; ``odds`` is how likely each of `KINDS` is, adding up to 1.
    """

    low_db: float
    drive_db: float
    high_db: float
    clipped_fraction: float
    p999_ratio: float
    peak_ratio: float
    odds: dict[str, float]


def parted(arrays: Arrays) -> tuple[Arrays, list[Arrays]]:
    """The arrays that scale the inputs, and each network's own: ``net0.out.bias`` is its ``out.bias``."""
    scale: Arrays = {}
    nets: dict[str, Arrays] = {}
    for name, values in arrays.items():
        owner, dot, own = name.partition(".")
        if dot:
            nets.setdefault(owner, {})[own] = values
        else:
            scale[name] = values
    return scale, list(nets.values())


@functools.cache
def _model(name: str = MODEL_FILE) -> tuple[Arrays, list[Arrays]]:
    with (files("audiotest.measure") / name).open("rb") as stored, np.load(stored) as model:
        return parted({name: model[name] for name in model.files})


def load_model() -> None:
    """Read the networks' weights now, so that the first over need not wait for them."""
    _model()


def _silu(values: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(values / (1.0 + np.exp(-np.clip(values, -60.0, 60.0))), dtype=np.float32)


def _dense(net: Arrays, name: str, values: NDArray[np.float32]) -> NDArray[np.float32]:
    return values @ net[f"{name}.weight"].T + net[f"{name}.bias"]


def _along(net: Arrays, name: str, values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Convolution over frames with five taps; outside the over is zero."""
    padded = np.pad(values, ((HALF_TAPS, HALF_TAPS), (0, 0)))
    weight = net[f"{name}.weight"]
    total = np.zeros_like(values) + net[f"{name}.bias"]
    for tap in range(weight.shape[2]):
        total += padded[tap : tap + len(values)] @ weight[:, :, tap].T
    return total


def _run(net: Arrays, frames: NDArray[np.float32], whole: NDArray[np.float32]) -> NDArray[np.float32]:
    known = _dense(net, "whole", whole[None, :])
    h = _silu(_dense(net, "frame", frames) + known)
    h = h + _silu(_along(net, "near", h))
    h = _silu(h + _dense(net, "context", h.mean(axis=0, keepdims=True)))
    h = h + _silu(_along(net, "wide", h))
    ranked = np.sort(_dense(net, "level", h)[:, 0])[::-1]
    top = np.array(
        [ranked[: max(1, int(np.ceil(share * len(ranked))))].mean() for share in SHARES], dtype=np.float32
    )
    spread = np.sqrt(h.var(axis=0) + 1e-4)
    mixed = _silu(_dense(net, "mix", np.concatenate([h.mean(axis=0), spread, known[0], top])))
    out = _dense(net, "out", mixed)
    out[:3] += top[1]
    return out


def model_figures(features: DriveFeatures, over_ceiling_db: float | None = None) -> ModelFigures:
    """Drive, clipped share, peak ratios and kind of an over from its features.

    Where the limiter's ceiling is known, ``over_ceiling_db`` is what `DriveViews` says of it.
    """
    scale, nets = _model(MODEL_FILE if over_ceiling_db is None else TOLD_FILE)
    whole = features.whole if over_ceiling_db is None else np.append(features.whole, over_ceiling_db)
    frames = np.clip((features.frames - scale["frame_mean"]) / scale["frame_deviation"], -5.0, 5.0)
    whole = np.clip((whole - scale["whole_mean"]) / scale["whole_deviation"], -4.0, 4.0)
    outs = [_run(net, frames.astype(np.float32), whole.astype(np.float32)) for net in nets]
    # The last bits depend on how a machine adds up; no figure is that good, and equal sound shall read equal.
    out = np.round(np.mean(outs, axis=0).astype(float), 4)
    low, middle, high, share, p999, peak = out[:6]
    low, high = min(low, middle), max(high, middle)
    odds = np.exp(out[6:] - np.max(out[6:]))
    return ModelFigures(
        low_db=10.0 * low,
        drive_db=10.0 * middle,
        high_db=10.0 * high,
        clipped_fraction=float(np.clip(share / 3.0, 0.0, 1.0)),
        p999_ratio=float(np.exp(p999 / 5.0)),
        peak_ratio=float(np.exp(max(p999, peak) / 5.0)),
        odds=dict(zip(KINDS, (odds / np.sum(odds)).tolist(), strict=True)),
    )
