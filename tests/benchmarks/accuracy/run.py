"""Measures a rendered set with the tool's own engine and advice, and writes the accuracy report with plots.

``python -m tests.benchmarks.accuracy.run SET --seen no`` (from the top of the repository; needs matplotlib)
writes ``docs/accuracy.md``, ``docs/accuracy-drive.png``, ``docs/accuracy-deviation.png`` and, beside the
set, ``predictions-test.json``. The engine gets the audio as a sound card would give it, with the carrier's
edges and the hiss around them, and a feed whose scale and de-emphasis are known.
"""

import argparse
import hashlib
import json
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import audiotest.measure.drivemodel as drivemodel
from audiotest.advise.rules import advise
from audiotest.records import Feed, LimitSet, Over, PathResponse
from audiotest.session.engine import Engine
from tests.benchmarks.accuracy.paths import read_paths
from tests.benchmarks.accuracy.report import Extras, baseline, baseline_predictions, report
from tests.benchmarks.accuracy.score import Prediction, Record
from tests.benchmarks.accuracy.sets import read_shard

MODEL = Path(drivemodel.__file__).with_name(drivemodel.MODEL_FILE)
SCALE_UNCERTAINTY_DB = 0.3
BLOCK_N = 4096


def feed_of(record: Record, path: PathResponse | None = None) -> Feed:
    """The feed as a reference tone would have taught it, with the path if one was learnt."""
    return Feed(
        name="benchmark",
        method="tone",
        scale_khz_per_fs=record["truth"]["scale_khz_per_fs"],
        scale_uncertainty_db=SCALE_UNCERTAINTY_DB,
        deemphasis_us=record["receiver"]["deemphasis_us"],
        tone_hz=1000.0,
        deviation_khz=None,
        if_bandwidth_khz=record["receiver"]["if_bandwidth_khz"],
        hiss_dbfs=None,
        learned="",
        path=path,
    )


def limits_of(record: Record) -> LimitSet:
    """The service limit that was drawn."""
    return LimitSet(
        id="benchmark",
        title="benchmark",
        deviation_khz=record["limit_khz"],
        spacing_khz=12.5,
        audio_high_hz=3400.0,
        channels="",
        source="drawn",
    )


def longest_overlap(overs: list[Over], start_s: float, end_s: float) -> Over | None:
    """The measured over that shares most time with the true one."""
    shares = [(min(o.end_s, end_s) - max(o.start_s, start_s), i) for i, o in enumerate(overs)]
    best = max(shares, default=(0.0, 0))
    return overs[best[1]] if best[0] > 0.0 else None


def measured(record: Record, audio: NDArray[np.float32], path: PathResponse | None = None) -> Prediction:
    """What the tool says of one over."""
    limits = limits_of(record)
    engine = Engine(record["sample_rate_hz"], feed=feed_of(record, path), limits=limits)
    overs: list[Over] = []
    for first in range(0, len(audio), BLOCK_N):
        overs += engine.push(audio[first : first + BLOCK_N])
    overs += engine.finish()
    truth = record["truth"]
    over = longest_overlap(overs, truth["start_s"], truth["end_s"])
    if over is None:
        return {"overs": len(overs)}
    advice = advise(over, limits, scale_uncertainty_db=SCALE_UNCERTAINTY_DB)
    return {
        "overs": len(overs),
        "kind": over.kind,
        "start_error_s": over.start_s - truth["start_s"],
        "end_error_s": over.end_s - truth["end_s"],
        "drive_db": over.limiter.drive_db,
        "low_db": over.limiter.drive_low_db,
        "high_db": over.limiter.drive_high_db,
        "clipped_fraction": over.limiter.clipped_fraction,
        "p999_khz": over.deviation.p999_khz,
        "peak_khz": over.deviation.peak_khz,
        "rms_khz": over.deviation.rms_khz,
        "mic_gain": advice.mic_gain,
        "deviation": advice.deviation,
        "confidence": advice.confidence,
        "conditions": over.conditions,
        "overload_runs": over.overload_runs,
    }


def _shard_predictions(path: Path, learnt: dict[str, PathResponse] | None) -> dict[str, Prediction]:
    return {
        record["id"]: measured(record, audio, learnt.get(record["id"]) if learnt else None)
        for record, audio in read_shard(path)
        if learnt is None or record["id"] in learnt
    }


def predict(
    folder: Path, split: str, workers: int, learnt: dict[str, PathResponse] | None = None
) -> dict[str, Prediction]:
    """Predictions of the tool for every over of a split; with `learnt` for those whose path was learnt."""
    shards = sorted(folder.glob(f"{split}-*.npz"))
    predictions: dict[str, Prediction] = {}
    with ProcessPoolExecutor(workers) as pool:
        for part in pool.map(partial(_shard_predictions, learnt=learnt), shards):
            predictions |= part
    return predictions


def plot_drive(
    records: list[Record], tool: dict[str, Prediction], base: dict[str, Prediction], path: Path
) -> None:
    """Measured over true drive of the plain overs, the tool beside the baseline."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(10, 5), sharex=True, sharey=True)
    for axis, said, title in ((axes[0], tool, "audiotest"), (axes[1], base, "crest factor alone")):
        for natural, colour in ((False, "0.65"), (True, "C0")):
            some = [
                (r["truth"]["drive_db"], p["drive_db"])
                for r in records
                if r["kind"] == "plain" and r["natural"] == natural
                if (p := said.get(r["id"], {})).get("drive_db") is not None
            ]
            xy = np.array(some).reshape(-1, 2)
            name = "natural voices" if natural else "synthesised voices"
            axis.plot(xy[:, 0], xy[:, 1], ".", color=colour, markersize=4, label=name)
        axis.plot([-15, 25], [-15, 25], "k-", linewidth=0.8)
        axis.set(title=title, xlabel="true drive in dB", xlim=(-15, 26), ylim=(-15, 28))
        axis.axvspan(-3, 8, color="C2", alpha=0.1)
        axis.axhspan(-3, 8, color="C2", alpha=0.1)
        axis.grid(alpha=0.3)
    axes[0].set_ylabel("measured drive in dB")
    axes[0].legend(loc="upper left")
    figure.tight_layout()
    figure.savefig(path, dpi=90)
    plt.close(figure)


def plot_deviation(records: list[Record], tool: dict[str, Prediction], path: Path) -> None:
    """Error of peak and 99.9 % deviation over the carrier-to-noise ratio."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    figure, axis = plt.subplots(figsize=(8, 4))
    for key, colour in (("p999_khz", "C0"), ("peak_khz", "C1")):
        some = [
            (r["receiver"]["cnr_db"], 20 * np.log10(p[key] / r["truth"][key]))
            for r in records
            if r["kind"] == "plain" and (p := tool.get(r["id"], {})).get(key)
        ]
        xy = np.array(some).reshape(-1, 2)
        axis.plot(xy[:, 0], xy[:, 1], ".", color=colour, markersize=4, label=key)
    axis.set(
        xlabel="carrier over noise in the IF bandwidth, dB", ylabel="measured over true, dB", ylim=(-6, 6)
    )
    axis.grid(alpha=0.3)
    axis.legend()
    figure.tight_layout()
    figure.savefig(path, dpi=90)
    plt.close(figure)


INTRODUCTION = """# How accurate the judgement is

Measured on {n} simulated overs ({plain} plain, the rest each with one confounder) by {talkers} talkers;
{seen}
{held} overs have splatter filters or a limiter of kinds held out as well.
True complex-baseband FM; 4 to 20 s of speech; carrier 6 to 45 dB over the noise in the IF filter; the ranges
of everything else are in `tests/benchmarks/accuracy/draw.py`. The feed's scale and de-emphasis are known. No
real set is in it: take the figures as what the method can do where the simulation holds.

Drive below −3 dB counts as −3 dB on both sides: how far a limiter is out of reach cannot be seen. "In
interval" is the share of overs whose true drive lies between the stated bounds (about 0.9 is promised).
"Crest" is the baseline: the drive that training overs of the same crest factor had on average.

![Drive](accuracy-drive.png)
![Deviation](accuracy-deviation.png)

{bound}Made by `python -m tests.benchmarks.accuracy.run SET`, page and plots together,
with the drive model whose SHA-256 begins with `{model}`.

"""


BOUND = """\
What stops any method: the drive is a peak figure, and talkers differ in how far their peaks stand over
the rest. Told the threshold exactly and shown the limiter's output itself, without filter and without
noise, a fit to its amplitude statistics still errs by {all_db:.1f} dB RMS on the test split's talkers
({at_3_db:.1f} dB at a drive of 3 dB, {at_9_db:.1f} at 9, {at_18_db:.1f} at 18, {at_24_db:.1f} at 24;
`bound.py`, {cuts} stretches of {seconds:.0f} s). Behind a splatter filter, an unknown receiver and noise
there is less to go by. Above all, the drive is a figure of all that reaches the limiter, and where the
highest peaks are sibilants above 3 kHz the splatter filter takes away just what was clipped: such talkers
are read much too low. The second table below sorts the overs by that (`outband.py`).

"""


SEEN = {
    "no": "none of them had a part in training the tool's drive model.",
    "yes": "**the drive model was trained on other recordings and cuts of the same talkers**, so new talkers "
    "will do somewhat worse.",
}


def introduction(records: list[dict[str, Any]], seen: str, bound: Path) -> str:
    """Head of the report with the set's size in it, and the bound where `bound.py` left it."""
    return INTRODUCTION.format(
        n=len(records),
        plain=sum(r["kind"] == "plain" for r in records),
        held=sum(r["held_out"] for r in records),
        seen=SEEN[seen],
        talkers=len({r["mouth"]["talker"] for r in records}),
        bound=BOUND.format(**json.loads(bound.read_text())) if bound.exists() else "",
        model=hashlib.sha256(MODEL.read_bytes()).hexdigest()[:12],
    )


def main() -> None:
    """Predict, score, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("set", type=Path)
    parser.add_argument("--docs", type=Path, default=Path("docs"))
    parser.add_argument("--split", default="test")
    parser.add_argument("--seen", choices=sorted(SEEN), required=True, help="was the model trained on them?")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    began = time.perf_counter()
    tool = predict(options.set, options.split, options.workers)
    print(f"{len(tool)} overs measured in {time.perf_counter() - began:.0f} s")
    (options.set / f"predictions-{options.split}.json").write_text(json.dumps(tool))
    with_path: dict[str, Prediction] = {}
    if (options.set / f"paths-{options.split}.json").exists():
        learnt = read_paths(options.set, options.split)
        with_path = predict(options.set, options.split, options.workers, learnt)
    outband = options.set / "outband.json"
    in_band_db = json.loads(outband.read_text()) if outband.exists() else {}
    records, base = baseline_predictions(options.set, options.split, baseline(options.set))
    records = [r for r in records if r["id"] in tool]
    options.docs.mkdir(exist_ok=True)
    plot_drive(records, tool, base, options.docs / "accuracy-drive.png")
    plot_deviation(records, tool, options.docs / "accuracy-deviation.png")
    extras = Extras(with_path=with_path, in_band_db=in_band_db)
    (options.docs / "accuracy.md").write_text(
        introduction(records, options.seen, options.set / "bound.json") + report(records, tool, base, extras)
    )


if __name__ == "__main__":
    main()
