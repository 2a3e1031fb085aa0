"""Trains the drive model from the features of drawn overs and writes it as one plain array file.

A small network looks at every frame with its neighbours and with the over as a whole, says how far above the
threshold the frame was before the limiter, and from the highest of these and the pooled rest the drive: its
5th, 50th and 95th percentile by the pinball loss (Koenker & Bassett 1978), the clipped share, and the ratios
that turn measured peaks into sent ones. PyTorch is needed here only; the product multiplies the arrays with
numpy.
"""

import argparse
from pathlib import Path

import numpy as np
import torch
from torch import nn
from torch.nn import functional

QUANTILES = (0.05, 0.5, 0.95)
LOWEST_DB = -5.0
LOWEST_FRAME_DB = -25.0
SHARES = (0.01, 0.03, 0.08, 0.2, 0.5)
MOST_FRAMES = 500


class Data:
    """Drawn overs: padded frames, whole-over features, targets."""

    def __init__(self, paths: list[Path], exclude: list[str]) -> None:
        files = [np.load(path) for path in paths]
        self.targets = np.concatenate([f["targets"] for f in files])
        self.whole = np.concatenate([f["whole"] for f in files])
        self.talkers = np.concatenate([f["talkers"] for f in files])
        self.frames: list[np.ndarray] = []
        self.frame_db: list[np.ndarray] = []
        for f in files:
            ends = np.cumsum(f["counts"])[:-1]
            self.frames += np.split(f["frames"], ends)
            self.frame_db += np.split(f["frame_db"], ends)
        kept = np.flatnonzero(~np.isin(self.talkers, exclude))
        self.targets, self.whole, self.talkers = self.targets[kept], self.whole[kept], self.talkers[kept]
        self.frames = [self.frames[k] for k in kept]
        self.frame_db = [self.frame_db[k] for k in kept]

    def goals(self) -> np.ndarray:
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


class Net(nn.Module):
    """Frames and whole to frame levels and six figures; `audiotest.measure.drivemodel` mirrors it."""

    def __init__(self, n_frame: int, n_whole: int, width: int) -> None:
        super().__init__()
        self.frame = nn.Linear(n_frame, width)
        self.whole = nn.Linear(n_whole, width)
        self.near = nn.Conv1d(width, width, 5, padding=2)
        self.context = nn.Linear(width, width)
        self.wide = nn.Conv1d(width, width, 5, padding=2)
        self.level = nn.Linear(width, 1)
        self.mix = nn.Linear(3 * width + len(SHARES), width)
        self.out = nn.Linear(width, 6)
        self.drop = nn.Dropout(0.2)
        self.drop_whole = nn.Dropout(0.3)

    def forward(
        self, frames: torch.Tensor, mask: torch.Tensor, whole: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """`frames` (n, t, f), `mask` (n, t) of ones and zeros, `whole` (n, w)."""
        m = mask[:, :, None]
        known = self.whole(self.drop_whole(whole))
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
    level: torch.Tensor, out: torch.Tensor, frame_db: torch.Tensor, mask: torch.Tensor, y: torch.Tensor
) -> torch.Tensor:
    """Pinball loss on the quantiles, squared error on the rest, and the frames' own levels."""
    away = y[:, 0] - out[:, 1]
    loss = away.abs() + away**2
    for k, q in ((0, QUANTILES[0]), (2, QUANTILES[2])):
        side = y[:, 0] - out[:, k]
        loss = loss + 1.5 * torch.maximum(q * side, (q - 1) * side)
    loss = loss + 0.15 * (y[:, 1] - out[:, 3]) ** 2
    loss = loss + 0.15 * functional.huber_loss(out[:, 4:6], y[:, 2:4], reduction="none").sum(dim=1)
    frame = ((level - frame_db).abs() * mask).sum(dim=1) / mask.sum(dim=1)
    return (loss + 0.7 * frame).mean()


def batch_of(
    data: Data, pick: np.ndarray, rng: np.random.Generator | None, scale: dict[str, np.ndarray]
) -> tuple[torch.Tensor, ...]:
    """Padded, standardised tensors of some overs; a random stretch of the long ones when training."""
    longest = min(max(len(data.frames[k]) for k in pick), MOST_FRAMES)
    frames = np.zeros((len(pick), longest, data.frames[0].shape[1]), dtype=np.float32)
    level = np.zeros((len(pick), longest), dtype=np.float32)
    mask = np.zeros((len(pick), longest), dtype=np.float32)
    for row, k in enumerate(pick):
        n = len(data.frames[k])
        start = 0 if rng is None or n <= longest else int(rng.integers(0, n - longest))
        take = min(n, longest)
        part = data.frames[k][start : start + take].astype(np.float32)
        frames[row, :take] = np.clip((part - scale["frame_mean"]) / scale["frame_deviation"], -5, 5)
        level[row, :take] = np.maximum(data.frame_db[k][start : start + take], LOWEST_FRAME_DB) / 10.0
        mask[row, :take] = 1.0
    whole = np.clip((data.whole[pick] - scale["whole_mean"]) / scale["whole_deviation"], -4, 4)
    return tuple(torch.from_numpy(a.astype(np.float32)) for a in (frames, mask, whole, level))


def scales_of(data: Data, pick: np.ndarray) -> dict[str, np.ndarray]:
    """Mean and deviation of every input over the overs in `pick`."""
    some = np.concatenate([data.frames[k][::5].astype(np.float32) for k in pick[:3000]])
    return {
        "frame_mean": some.mean(axis=0),
        "frame_deviation": some.std(axis=0) + 1e-3,
        "whole_mean": data.whole[pick].mean(axis=0),
        "whole_deviation": data.whole[pick].std(axis=0) + 1e-3,
    }


def fit(
    data: Data, pick: np.ndarray, scale: dict[str, np.ndarray], *, seed: int, epochs: int, width: int
) -> Net:
    """Train one network on the overs in `pick`."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    goals = data.goals()
    net = Net(data.frames[0].shape[1], data.whole.shape[1], width)
    size = 32
    steps = epochs * max(1, len(pick) // size)
    optimiser = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=0.03)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, 3e-3, total_steps=steps + 1)
    net.train()
    for step in range(steps):
        chosen = rng.choice(pick, size, replace=False)
        frames, mask, whole, level = batch_of(data, chosen, rng, scale)
        frames = frames + 0.05 * torch.randn_like(frames)
        whole = whole + 0.1 * torch.randn_like(whole)
        guess, out = net(frames, mask, whole)
        optimiser.zero_grad()
        loss = loss_of(guess, out, level, mask, torch.from_numpy(goals[chosen]))
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        schedule.step()
        if step % 200 == 0:
            print(f"  net {seed} step {step}/{steps} loss {loss.item():.3f}", flush=True)
    net.eval()
    return net


def predict(nets: list[Net], data: Data, pick: np.ndarray, scale: dict[str, np.ndarray]) -> np.ndarray:
    """Mean of the networks' outputs, shape (n, 6)."""
    outs = []
    with torch.no_grad():
        for part in np.array_split(pick, max(1, len(pick) // 64)):
            frames, mask, whole, _ = batch_of(data, part, None, scale)
            outs.append(np.mean([net(frames, mask, whole)[1].numpy() for net in nets], axis=0))
    return np.concatenate(outs)


def report(name: str, drive: np.ndarray, out: np.ndarray) -> None:
    """Print the figures that matter."""
    guess, low, high = out[:, 1] * 10, out[:, 0] * 10, out[:, 2] * 10
    inside = (drive >= 3) & (drive <= 24)
    error = guess[inside] - drive[inside]
    cover = np.mean((drive[inside] >= low[inside]) & (drive[inside] <= high[inside]))
    rms = np.sqrt(np.mean(error**2))
    line = f"{name}: n {inside.sum()} rms {rms:.2f} bias {error.mean():+.2f} cover {cover:.2f}"
    for a, b in ((-15, -3), (-3, 3), (3, 8), (8, 14), (14, 20), (20, 26)):
        m = (drive >= a) & (drive < b)
        if m.any():
            e = guess[m] - np.maximum(drive[m], LOWEST_DB)
            line += f" | {a}..{b}: {np.sqrt(np.mean(e**2)):.2f} ({e.mean():+.1f})"
    print(line, flush=True)


def main() -> None:
    """Cross-check by talkers, then train on all and write the model."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("features", type=Path, nargs="+")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--hold", default="nat_ru,nat_de,fest_czech_dita,flite_rms,espeak_9_cs_f5")
    parser.add_argument("--exclude", default="", help="talkers left out altogether, for an honest judgement")
    parser.add_argument("--nets", type=int, default=3)
    parser.add_argument("--epochs", type=int, default=60)
    parser.add_argument("--width", type=int, default=48)
    parser.add_argument("--skip-check", action="store_true", help="no cross-check by talkers")
    options = parser.parse_args()
    data = Data(options.features, options.exclude.split(","))
    held = np.isin(data.talkers, options.hold.split(","))
    everyone = np.arange(len(held))
    if held.any() and not options.skip_check:
        pick, test = np.flatnonzero(~held), np.flatnonzero(held)
        scale = scales_of(data, pick)
        nets = [
            fit(data, pick, scale, seed=k, epochs=options.epochs, width=options.width)
            for k in range(options.nets)
        ]
        report("train", data.targets[pick[::4], 0], predict(nets, data, pick[::4], scale))
        out = predict(nets, data, test, scale)
        truth = data.targets[test]
        report("held", truth[:, 0], out)
        for talker in options.hold.split(","):
            m = data.talkers[test] == talker
            if m.any():
                report("  " + talker, truth[m, 0], out[m])
        good = truth[:, 4] >= 18
        for name, ratio in (("p999 model", np.exp(out[:, 4] / 5)), ("p999 raw", np.ones(len(out)))):
            e = np.abs(ratio / truth[:, 2] - 1)[good]
            print(name, f"median {np.median(e):.3f} p95 {np.percentile(e, 95):.3f}")
    if options.out:
        scale = scales_of(data, everyone)
        arrays = dict(scale)
        for k in range(options.nets):
            net = fit(data, everyone, scale, seed=k, epochs=options.epochs, width=options.width)
            for name, tensor in net.state_dict().items():
                arrays[f"net{k}.{name}"] = tensor.numpy()
        np.savez_compressed(options.out, **{n: a.astype(np.float32) for n, a in arrays.items()})


if __name__ == "__main__":
    main()
