"""What stops any method, in words and tables: what `bound.py` and `heard.py` found."""

import textwrap
from typing import Any

from tests.benchmarks.accuracy import score
from tests.benchmarks.accuracy.tables import cell, table

Found = dict[str, Any]
FIGURES = {"p999_khz": "99.9 %", "peak_khz": "peak"}
"""What is said of a deviation's key."""
OUTCOMES = ("n", "right", "abstained", "wrong", "opposite")
VIEWS = {
    "limiter": "the limiter itself, threshold known",
    "splatter": "behind the splatter filter, filter and threshold known",
    "relative": "behind the splatter filter, only the filter known",
}
METHODS = {
    "polynomial": "polynomial of amplitude statistics",
    "trees": "boosted trees",
    "network": "the drive model's network, trained anew",
    "mean": "mean of trees and network",
    "shipped": "the drive model as shipped",
}
SHOWN_FROM_DB = 3.0
WIDTH = 110

HEAD = """\
What stops any method: the drive is a peak figure, and talkers differ in how far their peaks stand over
the rest. Told the threshold exactly and shown the limiter's output itself, without filter and without
noise, the best of {limiter_n} methods still errs by {limiter_db:.1f} dB RMS on the test split's talkers.
Behind a splatter filter, known as well and undone below 3.6 kHz, where every receiver's audio ends, the
best of {splatter_n} errs by {splatter_db:.1f} dB: by {best_db:.1f} for one talker, by {worst_db:.1f} for
another; not told the threshold, the best of {relative_n} by {relative_db:.1f}. An unknown receiver and noise
leave less to go by ([tables](#what-stops-any-method-drive)).
Above all, the drive is a figure of all that reaches the limiter, and where the highest peaks are sibilants
above 3 kHz the splatter filter takes away just what was clipped: such talkers are read much too low. The
second table below sorts the overs by that (`outband.py`)."""
DRIVE = """\
A hard limiter and no noise; a known splatter filter is undone below 3.6 kHz. {overs} overs of
{seconds:.0f} s by {talkers} talkers, none of whom the methods were fitted to; drives as in the set. Errors in
dB RMS (`told.py`, `bound.py`). This is evidence and no proof: methods that
learn from more talkers than there are here, or for longer, may do better. The model as shipped serves every
receiver, limiter and noise; the network trained anew knows overs of this kind alone, and part of its lead
may be that."""
IN_BAND = """\
The same from 3 to 24 dB, by the method that errs least, by where the limiter's peaks lie: those below 3.6 kHz
re all."""
PATH = """\
Aimed at was 1.5 dB. Errors in learning the path are not what stops it: with the path known exactly and
undone, and no noise, the best of {relative_n} methods errs by {relative_db:.1f} dB over these drives; told
the threshold besides, the best of {splatter_n} by {splatter_db:.1f} dB
([above](#what-stops-any-method-drive))."""
ADVICE = """\
What the tool's own table says of the mic gain when it is told nothing but the drive, by the method above that
leads to the most right answers, with an interval as wide as such readings erred on the tune split's talkers
(the network states its own); drives as in the set. Right were {splatter_right:.0f} of 100 with filter and
threshold known, and {relative_right:.0f} with the filter alone. (Before the tool says "raise" it looks at the
peaks too.)"""


FAMILIAR = """\
How much of the error is the talkers' own that the model did not meet? In fresh overs of the {talkers}
talkers it learnt from it errs by {heard_db:.1f} dB RMS from 3 to 24 dB, with the path known by {path_db:.1f},
with the limiter's ceiling known as well by {ceiling_db:.1f}; of those with a carrier 18 dB and more over the
noise and 5 s of active speech by {heard_clear_db:.1f}, {path_clear_db:.1f} and {ceiling_clear_db:.1f} dB
(`familiar.py`). More talkers to learn from would not take that away."""


def filled(said: str) -> str:
    """Words on lines of the page's width."""
    return textwrap.fill(said, WIDTH, break_long_words=False, break_on_hyphens=False)


def familiar(found: Found) -> str:
    """What the model errs by on talkers that it learnt from, in words."""
    figures = {"talkers": found["talkers"]}
    for name in ("heard", "path", "ceiling"):
        figures |= {
            f"{name}_db": found[name]["all"]["rms_db"],
            f"{name}_clear_db": found[name]["clear"]["rms_db"],
        }
    return filled(FAMILIAR.format(**figures))


def methods_at(found: Found, view: str) -> dict[str, Found]:
    """What each method came to in one view, in the order of `METHODS`."""
    return {
        name: found["methods"][f"{view}_{name}"] for name in METHODS if f"{view}_{name}" in found["methods"]
    }


def best_at(found: Found, view: str) -> Found:
    """What the method came to that errs least in one view."""
    return min(methods_at(found, view).values(), key=lambda row: float(row["all"]["rms_db"]))


def surest_at(found: Found, view: str) -> Found:
    """What the method's advice came to that is right most often in one view."""
    rows: list[Found] = [row["advice"] for row in methods_at(found, view).values()]
    return max(rows, key=lambda row: int(row["all"]["right"]))


def words(found: Found, form: str) -> str:
    """`form` with the figures of the best methods in it, on lines of the page's width."""
    counts = {1: "one", 2: "two", 3: "three", 4: "four"}
    figures = {key: found[key] for key in ("overs", "talkers", "seconds")}
    for view in VIEWS:
        right = surest_at(found, view)["all"]
        figures |= {
            f"{view}_n": counts[len(methods_at(found, view))],
            f"{view}_db": best_at(found, view)["all"]["rms_db"],
            f"{view}_right": 100.0 * right["right"] / right["n"],
        }
    behind = best_at(found, "splatter")
    said = form.format(**figures, best_db=behind["best_talker_db"], worst_db=behind["worst_talker_db"])
    return filled(said)


def drive_bound(found: Found) -> str:
    """The drive's error by view and method."""
    shown = [k for k, (lo, _) in enumerate(score.BINS_DB) if lo >= SHOWN_FROM_DB]
    bins = [f"{score.BINS_DB[k][0]:.0f} … {score.BINS_DB[k][1]:.0f}" for k in shown]
    head = ["told from", "method", "**3 … 24 dB**", *bins, "bias", "best talker", "worst talker"]
    body = []
    for view, place in VIEWS.items():
        for name, row in methods_at(found, view).items():
            figures = [row["all"]["rms_db"], *(row["bins"][k] for k in shown), row["all"]["bias_db"]]
            figures += [row["best_talker_db"], row["worst_talker_db"]]
            body.append([place, METHODS[name], *map(cell, figures), cell(row["all"]["coverage"], 2)])
    sorted_by = [[place, *map(cell, best_at(found, view)["in_band"])] for view, place in VIEWS.items()]
    return "\n\n".join(
        [
            words(found, DRIVE),
            table([*head, "in interval"], body),
            words(found, IN_BAND),
            table(["told from", *score.in_band_names()], sorted_by),
        ]
    )


def advice_bound(found: Found) -> str:
    """The advice on the mic gain that the best method of each view leads to, in clear cases."""
    body = []
    for view, place in VIEWS.items():
        rows = surest_at(found, view)
        body += [
            [place, f"**{wanted}**" if wanted == "all" else wanted, *(str(row[k]) for k in OUTCOMES)]
            for wanted, row in rows.items()
        ]
    return words(found, ADVICE) + "\n\n" + table(["told from", "the truth wants", *OUTCOMES], body)


DEVIATION_STEPS = {
    "sent": "what is sent, below 3.6 kHz",
    "if": "behind the IF filter, no noise",
    "told": "recording, the receiver's audio filters known",
}


def deviation_bound(heard: Found) -> str:
    """How well the deviation could be told at each step on its way, as `heard.py` found it."""
    body = []
    for step, name in DEVIATION_STEPS.items():
        for key, figure in FIGURES.items():
            found = heard[f"{step}_{key.removesuffix('_khz')}"]
            figures = [cell(found[k], 2) for k in ("bias_db", "median_db", "e95_db")]
            body.append([name, figure, str(heard["n"]), *figures])
    return table(["told from", "figure", "n", "bias dB", "median error dB", "95 % within dB"], body)
