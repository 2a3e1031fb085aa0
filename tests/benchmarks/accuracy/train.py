"""Trains the drive model from rendered lessons and writes it as one plain array file.

A small network looks at every frame with its neighbours and with the over as a whole, says how far above the
threshold the frame was before the limiter, and from the highest of these and the pooled rest the drive: its
5th, 50th and 95th percentile by the pinball loss (Koenker & Bassett 1978), the clipped share, the ratios that
turn measured peaks into sent ones, and which confounder this may be. PyTorch is needed here only; the product
multiplies the arrays with numpy (`audiotest.measure.drivemodel`).

``python -m tests.benchmarks.accuracy.train LESSONS --exam TEST.npz --minutes 15 --nets 3 --out MODEL.npz``;
with ``--start MODEL.npz --rate 1e-3`` the networks of a model go on learning, from further lessons; with
``--told`` they learn from the lessons alone that tell how far the speech stands over the limiter's ceiling.
"""

import argparse
import multiprocessing
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from audiotest.measure.drivemodel import parted

QUANTILES = (0.05, 0.5, 0.95)
LOWEST_DB = -5.0
LOWEST_FRAME_DB = -25.0
SHARES = (0.01, 0.03, 0.08, 0.2, 0.5)
KIND_COUNT = 7
DRIVE_WEIGHT = np.array([1.0, 0.3, 0.6, 0.3, 0.3, 0.3, 1.0], dtype=np.float32)
"""By kind: plain, overload, IF clipping, compressed source, automatic gain, codec, levelling."""
MOST_FRAMES = 500
BATCH = 32
POOL = 8 * BATCH
Floats = NDArray[np.float32]
Scale = dict[str, Floats]


WHOLE_N = 280
TOLD = 9
"""Column of the targets with the speech over the limiter's ceiling; `drivemodel.model_figures` is told it."""
TOLD_DEVIATION_DB = 3.0


def with_path_flag(whole: Floats) -> Floats:
    """Lessons that were rendered before a path could be known say so in one column more."""
    return np.pad(whole, ((0, 0), (0, max(0, WHOLE_N - whole.shape[1]))))


class Data:
    """Lessons in memory; with ``told`` those that tell of the ceiling, which is their last figure then."""

    def __init__(self, paths: list[Path], *, told: bool = False) -> None:
        files = [np.load(path) for path in paths]
        targets = [f["targets"] for f in files]
        keep = [np.isfinite(t[:, TOLD]) if told else np.ones(len(t), dtype=bool) for t in targets]
        self.told = told
        self.targets = np.concatenate([t[k, :7] for t, k in zip(targets, keep, strict=True)])
        whole = [with_path_flag(f["whole"]) for f in files]
        if told:
            whole = [np.column_stack([w, t[:, TOLD]]) for w, t in zip(whole, targets, strict=True)]
        self.whole = np.concatenate([w[k] for w, k in zip(whole, keep, strict=True)])
        self.talkers = np.concatenate([f["talkers"][k] for f, k in zip(files, keep, strict=True)])
        self.frames: list[NDArray[np.float16]] = []
        self.frame_db: list[NDArray[np.float16]] = []
        for f, k in zip(files, keep, strict=True):
            ends = np.cumsum(f["counts"])[:-1]
            for own, name in ((self.frames, "frames"), (self.frame_db, "frame_db")):
                own += [part for part, kept in zip(np.split(f[name], ends), k, strict=True) if kept]
        self.lengths = np.array([min(len(f), MOST_FRAMES) for f in self.frames])
        self.kinds = self.targets[:, 5].astype(np.int64)

    def goals(self) -> Floats:
        """Targets on comparable scales, shape (n, 4)."""
        t = self.targets
        return np.column_stack(
            [
                np.maximum(t[:, 0], LOWEST_DB) / 10.0,
                t[:, 1] * 3.0,
                np.log(np.clip(t[:, 2], 0.2, 3.0)) * 5.0,
                np.log(np.clip(t[:, 3], 0.2, 5.0)) * 5.0,
            ]
        ).astype(np.float32)

    def scale(self) -> Scale:
        """Mean and deviation of every input."""
        some = np.concatenate([frames[::5].astype(np.float32) for frames in self.frames[:3000]])
        return {
            "frame_mean": some.mean(axis=0),
            "frame_deviation": some.std(axis=0) + 1e-3,
            "whole_mean": self.whole.mean(axis=0),
            "whole_deviation": self.whole.std(axis=0) + 1e-3,
        }


def with_told(net: "Net") -> "Net":
    """A network that is told of the ceiling as well, and makes nothing of it yet."""
    width, n_frame = net.frame.weight.shape
    grown = Net(n_frame, net.whole.weight.shape[1] + 1, width, told=True)
    state = net.state_dict()
    state["whole.weight"] = functional.pad(state["whole.weight"], (0, 1))
    grown.load_state_dict(state)
    return grown


def scale_with_told(scale: Scale) -> Scale:
    """The scale of a model that is told of the ceiling as well."""
    more = {"whole_mean": 0.0, "whole_deviation": TOLD_DEVIATION_DB}
    return scale | {name: np.append(scale[name], np.float32(value)) for name, value in more.items()}


class Net(nn.Module):
    """Frames and whole to frame levels, six figures and kinds; `audiotest.measure.drivemodel` mirrors it.

    ``told`` of the ceiling, it never learns without that figure.
    """

    def __init__(
        self, n_frame: int, n_whole: int, width: int, drop: float = 0.15, drop_whole: float = 0.3,
        *, told: bool = False,
    ) -> None:  # fmt: skip
        super().__init__()
        self.never_dropped_n = int(told)
        self.frame = nn.Linear(n_frame, width)
        self.whole = nn.Linear(n_whole, width)
        self.near = nn.Conv1d(width, width, 5, padding=2)
        self.context = nn.Linear(width, width)
        self.wide = nn.Conv1d(width, width, 5, padding=2)
        self.level = nn.Linear(width, 1)
        self.mix = nn.Linear(3 * width + len(SHARES), width)
        self.out = nn.Linear(width, 6 + KIND_COUNT)
        self.drop = nn.Dropout(drop)
        self.drop_whole = nn.Dropout(drop_whole)

    def forward(
        self, frames: torch.Tensor, mask: torch.Tensor, whole: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """`frames` (n, t, f), `mask` (n, t) of ones and zeros, `whole` (n, w)."""
        m = mask[:, :, None]
        some, all_of_it = whole.split([whole.shape[1] - self.never_dropped_n, self.never_dropped_n], dim=1)
        known = self.whole(torch.cat([self.drop_whole(some), all_of_it], dim=1))
        h = functional.silu(self.frame(frames) + known[:, None, :]) * m
        h = (h + functional.silu(self.near(h.transpose(1, 2)).transpose(1, 2))) * m
        count = m.sum(dim=1)
        h = functional.silu(h + self.context(h.sum(dim=1) / count)[:, None, :]) * m
        h = (h + functional.silu(self.wide(self.drop(h).transpose(1, 2)).transpose(1, 2))) * m
        level = self.level(h)[:, :, 0]
        ranked = torch.sort(level + (mask - 1.0) * 99.0, dim=1, descending=True).values
        place = torch.arange(level.shape[1])[None, :].float()
        tops = []
        for share in SHARES:
            inside = (place < torch.ceil(share * count)).float()
            tops.append((ranked * inside).sum(dim=1, keepdim=True) / inside.sum(dim=1, keepdim=True))
        mean = h.sum(dim=1) / count
        spread = torch.sqrt(((h - mean[:, None, :]) ** 2 * m).sum(dim=1) / count + 1e-4)
        top = torch.cat(tops, dim=1)
        mixed = functional.silu(self.mix(self.drop(torch.cat([mean, spread, known, top], dim=1))))
        out = self.out(mixed)
        return level, torch.cat([out[:, :3] + top[:, 1:2], out[:, 3:]], dim=1)


def loss_of(
    level: torch.Tensor, out: torch.Tensor, frame_db: torch.Tensor, mask: torch.Tensor,
    y: torch.Tensor, kind: torch.Tensor,
) -> torch.Tensor:  # fmt: skip
    """Pinball loss on the quantiles, squared error on the rest, the frames' own levels, the kind."""
    away = y[:, 0] - out[:, 1]
    loss = away.abs() + away**2
    for k, q in ((0, QUANTILES[0]), (2, QUANTILES[2])):
        side = y[:, 0] - out[:, k]
        loss = loss + 1.5 * torch.maximum(q * side, (q - 1) * side)
    loss = loss + 0.15 * (y[:, 1] - out[:, 3]) ** 2
    loss = loss * torch.from_numpy(DRIVE_WEIGHT)[kind]
    loss = loss + 0.15 * functional.huber_loss(out[:, 4:6], y[:, 2:4], reduction="none").sum(dim=1)
    frame = ((level - frame_db).abs() * mask).sum(dim=1) / mask.sum(dim=1)
    named = functional.cross_entropy(out[:, 6:], kind, reduction="none")
    return (loss + 0.7 * frame + 0.1 * named).mean()


def batch_of(
    data: Data, pick: NDArray[np.intp], rng: np.random.Generator | None, scale: Scale, longest: int
) -> tuple[torch.Tensor, ...]:
    """Padded, standardised tensors of some overs; with `rng` a random stretch of the long ones, and noise."""
    size = min(max(len(data.frames[k]) for k in pick), longest)
    frames = np.zeros((len(pick), size, data.frames[0].shape[1]), dtype=np.float32)
    level = np.zeros((len(pick), size), dtype=np.float32)
    mask = np.zeros((len(pick), size), dtype=np.float32)
    for row, k in enumerate(pick):
        n = len(data.frames[k])
        start = 0 if rng is None or n <= size else int(rng.integers(0, n - size))
        take = min(n, size)
        part = data.frames[k][start : start + take].astype(np.float32)
        frames[row, :take] = np.clip((part - scale["frame_mean"]) / scale["frame_deviation"], -5, 5)
        levels = data.frame_db[k][start : start + take].astype(np.float32)
        level[row, :take] = np.maximum(levels, LOWEST_FRAME_DB) / 10.0
        mask[row, :take] = 1.0
    whole = np.clip((data.whole[pick] - scale["whole_mean"]) / scale["whole_deviation"], -4, 4)
    if rng is not None:
        frames += 0.05 * rng.standard_normal(frames.shape, np.float32)
        whole = whole + 0.1 * rng.standard_normal(whole.shape)
    return tuple(torch.from_numpy(a.astype(np.float32)) for a in (frames, mask, whole, level))


def fit(
    data: Data, scale: Scale, *, seed: int, minutes: float, width: int, rate: float, start: Net | None = None
) -> Net:
    """Train one network for so many minutes, anew or from where `start` stands."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    goals = torch.from_numpy(data.goals())
    kinds = torch.from_numpy(data.kinds)
    net = start or Net(data.frames[0].shape[1], data.whole.shape[1], width)
    net.train()
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=0.03)
    began, step, errors = time.monotonic(), 0, []
    while (share := (time.monotonic() - began) / 60.0 / minutes) < 1.0:
        for group in optimiser.param_groups:
            group["lr"] = rate * min(step / 200.0, 1.0) * max(0.5 * (1.0 + np.cos(np.pi * share)), 0.005)
        pool = rng.choice(len(data.frames), min(POOL, len(data.frames)), replace=False)
        pool = pool[np.argsort(data.lengths[pool], kind="stable")]
        for k in rng.permutation(len(pool) // BATCH):
            pick = pool[k * BATCH : (k + 1) * BATCH]
            frames, mask, whole, level = batch_of(data, pick, rng, scale, MOST_FRAMES)
            guess, out = net(frames, mask, whole)
            loss = loss_of(guess, out, level, mask, goals[pick], kinds[pick])
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            optimiser.step()
            plain = kinds[pick] == 0
            errors.append(float(((out[:, 1] - goals[pick, 0])[plain] ** 2).mean().detach()))
            step += 1
            if step % 400 == 0:
                print(
                    f"  net {seed} {share:.2f} step {step} rms {10 * np.mean(errors[-400:]) ** 0.5:.2f}",
                    flush=True,
                )
    net.eval()
    return net


def read_model(path: Path) -> tuple[list[Net], Scale]:
    """Networks and scale of a model that `main` wrote."""
    with np.load(path) as stored:
        scale, arrays = parted({name: stored[name] for name in stored.files})
    nets = []
    for own in arrays:
        width, n_frame = own["frame.weight"].shape
        n_whole = own["whole.weight"].shape[1]
        net = Net(n_frame, n_whole, width, told=n_whole > WHOLE_N)
        net.load_state_dict({name: torch.from_numpy(values) for name, values in own.items()})
        nets.append(net.eval())
    return nets, scale


def write_model(path: Path, nets: list[Net], scale: Scale) -> None:
    """What `audiotest.measure.drivemodel` reads."""
    arrays: Scale = dict(scale)
    for k, net in enumerate(nets):
        arrays |= {f"net{k}.{name}": tensor.numpy() for name, tensor in net.state_dict().items()}
    np.savez_compressed(path, **{n: a.astype(np.float32) for n, a in arrays.items()})


def predict(nets: list[Net], data: Data, scale: Scale) -> Floats:
    """Mean of the networks' outputs, shape (n, 6 + kinds), over by over as in the product."""
    outs = []
    with torch.no_grad():
        for k in range(len(data.frames)):
            frames, mask, whole, _ = batch_of(data, np.array([k]), None, scale, 10**6)
            outs.append(np.mean([net(frames, mask, whole)[1].numpy()[0] for net in nets], axis=0))
    return np.array(outs)


def report(name: str, data: Data, out: Floats) -> None:
    """Print the figures that matter, plain overs only but for the kinds."""
    guess, low, high = out[:, 1] * 10, out[:, 0] * 10, out[:, 2] * 10
    truth = data.targets
    drive, plain = truth[:, 0], data.kinds == 0
    error = guess - drive
    inside = (drive >= 3) & (drive <= 24) & plain
    seconds = np.array([len(f) for f in data.frames]) / 50.0

    def rms(some: NDArray[np.bool_]) -> str:
        return f"{np.sqrt(np.mean(error[some] ** 2)):.2f} ({error[some].mean():+.1f}, {some.sum()})"

    cover = np.mean((drive[inside] >= low[inside]) & (drive[inside] <= high[inside]))
    lines = [f"{name}: 3..24 dB rms {rms(inside)} cover {cover:.2f}"]
    rows = {
        "hiss": truth[:, 6] > 0, "no hiss": truth[:, 6] == 0, "cnr >= 18": truth[:, 4] >= 18,
        "5 s active": seconds >= 5.0, "cnr >= 18, 5 s": (truth[:, 4] >= 18) & (seconds >= 5.0),
    }  # fmt: skip
    rows |= {talker: data.talkers == talker for talker in sorted(set(data.talkers))}
    lines += [f"  {label}: {rms(inside & some)}" for label, some in rows.items() if (inside & some).any()]
    for a, b in ((-15, -3), (-3, 3), (3, 8), (8, 14), (14, 20), (20, 26)):
        m = (drive >= a) & (drive < b) & plain
        if m.any():
            e = np.maximum(guess[m], -3) - np.maximum(drive[m], -3)
            lines.append(f"  {a} .. {b}: {np.sqrt(np.mean(e**2)):.2f} ({e.mean():+.1f})")
    good = (truth[:, 4] >= 18) & plain
    for label, ratio in (("p999", np.exp(out[:, 4] / 5)), ("p999 raw", np.ones(len(out)))):
        e = np.abs(ratio / truth[:, 2] - 1)[good]
        lines.append(f"  {label}: median {np.median(e):.3f} p95 {np.percentile(e, 95):.3f}")
    hit = np.argmax(out[:, 6:], axis=1)
    named = [np.mean(hit[data.kinds == k] == k) for k in range(KIND_COUNT) if (data.kinds == k).any()]
    lines.append("  kinds named: " + " ".join(f"{share:.2f}" for share in named))
    print("\n".join(lines), flush=True)


_lessons: list[tuple[Data, Scale]] = []
"""What the workers learn from: inherited by forking, since it is too much to be sent to each."""


def learn(options: argparse.Namespace, seed: int) -> Net:
    """One network of the model, in a process of its own."""
    torch.set_num_threads(1)
    begun = [] if options.start is None else read_model(options.start)[0]
    start = begun[seed % len(begun)] if begun else None
    data, scale = _lessons[0]
    if options.told and start is not None:
        start = with_told(start)
    return fit(
        data, scale, seed=seed, minutes=options.minutes, width=options.width, rate=options.rate, start=start
    )


def main() -> None:
    """Train, judge, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("lessons", type=Path, nargs="+", help="folders that `lessons.py` filled")
    parser.add_argument("--exam", type=Path, action="append", default=[])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=15.0, help="for each network")
    parser.add_argument("--nets", type=int, default=3)
    parser.add_argument("--width", type=int, default=96)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--start", type=Path, help="model whose networks go on learning, in turn")
    parser.add_argument("--keep", action="store_true", help="have the networks of --start in the model too")
    parser.add_argument("--told", action="store_true", help="go on from --start told of the ceiling as well")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    if options.keep and options.start is None:
        parser.error("--keep keeps the networks of --start, which is missing")
    if options.told and (options.start is None or options.keep):
        parser.error("--told wants networks to go on from, by --start, and keeps none of them")
    torch.set_num_threads(1)
    paths = [path for folder in options.lessons for path in sorted(folder.glob("lesson-*.npz"))]
    data = Data(paths, told=options.told)
    scale = data.scale()
    print(f"{len(data.frames)} overs, {len(set(data.talkers))} talkers")
    kept: list[Net] = []
    exams = {path.stem: Data([path], told=options.told) for path in options.exam}
    if options.start is not None:
        start, scale = read_model(options.start)
        kept = start if options.keep else []
        if options.told:
            start, scale = [with_told(net).eval() for net in start], scale_with_told(scale)
        for name, exam in exams.items():
            report(f"{name}, before", exam, predict(start, exam, scale))
    _lessons.append((data, scale))
    with ProcessPoolExecutor(options.workers, multiprocessing.get_context("fork")) as pool:
        nets = kept + list(pool.map(learn, [options] * options.nets, range(options.nets)))
    write_model(options.out, nets, scale)
    for name, exam in exams.items():
        report(name, exam, predict(nets, exam, scale))


if __name__ == "__main__":
    main()
