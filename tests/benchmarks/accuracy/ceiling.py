"""What the limiter's ceiling adds to a learnt path, and what it does when a control was turned since.

``python -m tests.benchmarks.accuracy.ceiling SET`` (from the top of the repository) takes the plain overs of
the set whose path `paths.py` learnt with a ceiling, and writes ``SET/ceiling.json``: how the drive and the
mic gain advice come out without the path, with it, with the ceiling as well, and with a ceiling that does not
hold any more, since the deviation control (or the volume) was turned after it was learnt. With ``--outside
CORPUS`` the same is done with overs of the other radio (`outside.py`), each sender sending the tones first;
both stand in the file.
"""

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf

from audiotest.errors import AudiotestError
from audiotest.measure.limiter import CEILING_VOID
from audiotest.measure.path import learn_path
from audiotest.records import PathResponse
from tests.benchmarks.accuracy import score
from tests.benchmarks.accuracy.listening import measured
from tests.benchmarks.accuracy.otherradio import Moments, hear, send
from tests.benchmarks.accuracy.outside import draw_case, render
from tests.benchmarks.accuracy.paths import GAP_S, TONE_S, TONES_HZ, read_paths
from tests.benchmarks.accuracy.paths import RATE_HZ as SENT_HZ
from tests.benchmarks.accuracy.report import clearly_heard, drives_aimed_at, plain_overs
from tests.benchmarks.accuracy.score import Prediction, Record
from tests.benchmarks.accuracy.sets import read_shard, recordings, talkers_of

TURNED_DB = (-6.0, -3.0, 3.0, 6.0)
OUTSIDE_DRIVE_DB = 40.0
"""Of the loudest tone: all have one level at the socket, and the lowest come through worst."""
NO_PATH, PATH_ALONE, CEILING = "no path", "path", "path and ceiling"
Said = dict[str, Prediction]


def turned_name(turned_db: float) -> str:
    """What a row is called whose ceiling was moved since."""
    way = "up" if turned_db > 0.0 else "down"
    return f"path and ceiling, turned {way} {abs(turned_db):.0f} dB since"


def knowledge(path: PathResponse) -> dict[str, PathResponse | None]:
    """What the tool may know of an over's path, by the name of its row."""
    known: dict[str, PathResponse | None] = {NO_PATH: None, PATH_ALONE: replace(path, ceiling_fs=None)}
    known[CEILING] = path
    for turned_db in TURNED_DB:
        assert path.ceiling_fs is not None
        stale_fs = path.ceiling_fs * 10.0 ** (-turned_db / 20.0)
        known[turned_name(turned_db)] = replace(path, ceiling_fs=stale_fs)
    return known


def of_shard(shard: Path, learnt: dict[str, PathResponse]) -> tuple[list[Record], dict[str, Said]]:
    """The overs of a shard whose ceiling is known, and what is said of each by what is known."""
    records: list[Record] = []
    said: dict[str, Said] = {}
    for record, audio in read_shard(shard):
        path = learnt.get(record["id"])
        if path is None or path.ceiling_fs is None or not plain_overs([record]):
            continue
        records.append(record)
        for name, known in knowledge(path).items():
            said.setdefault(name, {})[record["id"]] = measured(record, audio, known)
    return records, said


def outside_path(case: dict[str, Any], scale_khz_per_fs: float) -> PathResponse | None:
    """The path of one of the other radio's overs, learnt from tones, its ceiling at the over's volume."""
    t = np.arange(round(TONE_S * SENT_HZ)) / SENT_HZ
    gap = np.zeros(round(GAP_S * SENT_HZ))
    tones = np.concatenate([part for hz in TONES_HZ for part in (np.sin(2 * np.pi * hz * t), gap)])
    loud = replace(case["sender"], drive_db=OUTSIDE_DRIVE_DB, ambient_db=-60.0)
    monitor, moments = case["monitor"], Moments(before_s=0.2, lead_s=0.2, after_s=0.1, end_s=0.2)
    samples, truth = hear(send(tones, SENT_HZ, loud, moments), monitor, moments, case["limit_khz"])
    try:
        path = learn_path(samples, monitor.rate_hz)
    except AudiotestError:
        return None
    if path.ceiling_fs is None:
        return path
    return replace(path, ceiling_fs=path.ceiling_fs * truth["scale_khz_per_fs"] / scale_khz_per_fs)


def outside_over(number: int, corpus: Path) -> tuple[Record, dict[str, Prediction]] | None:
    """One of the other radio's overs and what is said of it; None where no ceiling was learnt."""
    talkers = [talker["id"] for talker in talkers_of(corpus, "test")]
    case = draw_case(number, talkers)
    samples, record = render(case, *sf.read(recordings(corpus)[case["talker"]], dtype="float64"))
    path = outside_path(case, record["truth"]["scale_khz_per_fs"])
    if path is None or path.ceiling_fs is None:
        return None
    record["mouth"] = {"talker": record["talker"], "seconds": record["seconds"]}
    return record, {name: measured(record, samples, known) for name, known in knowledge(path).items()}


def judged(records: list[Record], said: dict[str, Said]) -> dict[str, Any]:
    """Drive, advice and how often the ceiling was left out, by what was known."""
    some = drives_aimed_at(records)
    rows = {
        name: {
            "drive": score.drive_row(some, found),
            "clear": score.drive_row(clearly_heard(some), found),
            "all": score.drive_row(records, found),
            "advice": score.advice_row(records, found, "mic_gain"),
            "clear_advice": score.advice_row(clearly_heard(records), found, "mic_gain"),
            "void": sum(CEILING_VOID in p.get("notes", ()) for p in found.values()),
        }
        for name, found in said.items()
    }
    return {"overs": len(records), "talkers": len({r["mouth"]["talker"] for r in records}), "rows": rows}


def of_set(options: argparse.Namespace) -> tuple[list[Record], dict[str, Said]]:
    """The overs of a set whose ceiling was learnt, and what is said of them."""
    learnt = read_paths(options.set, options.split)
    shards = sorted(options.set.glob(f"{options.split}-*.npz"))
    records: list[Record] = []
    said: dict[str, Said] = {}
    with ProcessPoolExecutor(options.workers) as pool:
        for some, found in pool.map(partial(of_shard, learnt=learnt), shards):
            records += some
            for name, part in found.items():
                said.setdefault(name, {}).update(part)
    return records, said


def of_outside(options: argparse.Namespace) -> tuple[list[Record], dict[str, Said]]:
    """The same of the other radio's overs."""
    records: list[Record] = []
    said: dict[str, Said] = {}
    numbers = range(options.first, options.first + options.overs)
    with ProcessPoolExecutor(options.workers) as pool:
        for found in pool.map(partial(outside_over, corpus=options.outside), numbers):
            if found is None:
                continue
            records.append(found[0])
            for name, prediction in found[1].items():
                said.setdefault(name, {})[found[0]["id"]] = prediction
    return records, said


def main() -> None:
    """Measure, judge, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("set", type=Path)
    parser.add_argument("--split", default="test")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--outside", type=Path, metavar="CORPUS", help="the other radio's overs instead")
    parser.add_argument("--again", action="store_true", help="only judge what was said before")
    parser.add_argument("--first", type=int, default=1600)
    parser.add_argument("--overs", type=int, default=300)
    options = parser.parse_args()
    out = options.set / "ceiling.json"
    result: dict[str, Any] = json.loads(out.read_text()) if out.exists() else {}
    part = "set" if options.outside is None else "outside"
    kept = options.set / f"ceiling-{part}-overs.json"
    if not options.again:
        kept.write_text(json.dumps(of_set(options) if options.outside is None else of_outside(options)))
    result[part] = judged(*json.loads(kept.read_text()))
    for name, row in result[part]["rows"].items():
        print(name, row)
    out.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
