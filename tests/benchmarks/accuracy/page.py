"""Makes ``docs/accuracy.md`` and its two plots out of ``docs/accuracy-overs.json`` alone.

``python -m tests.benchmarks.accuracy.page`` (from the top of the repository). With ``--take SET/heard.json``
the figures of a further script are taken into that file first, under the script's name and in place of older
ones.
"""

import argparse
import json
from dataclasses import replace
from pathlib import Path

from tests.benchmarks.accuracy import overs, plots, stops
from tests.benchmarks.accuracy.overs import Measured
from tests.benchmarks.accuracy.report import report

DOCS = Path(__file__).parents[3] / "docs"
OVERS = "accuracy-overs.json"
PAGE = "accuracy.md"
DRIVE = "accuracy-drive.svg"
DEVIATION = "accuracy-deviation.svg"
FURTHER = ("bound", "heard", "turns", "coded", "outside", "ceiling", "familiar")
"""Scripts whose own figures the page shows as they wrote them; a further one has its table in `report.py`."""

INTRODUCTION = """# How accurate the judgement is

Measured on {n} simulated overs ({plain} plain, the rest each with one confounder) by {talkers} talkers;
{seen}
{held} overs have splatter filters or a limiter of kinds held out as well.
True complex-baseband FM; 4 to 20 s of speech; carrier 6 to 45 dB over the noise in the IF filter; the ranges
of everything else are in `tests/benchmarks/accuracy/draw.py`. The feed's scale and de-emphasis are known. No
real set is in it: take the figures as what the method can do where the simulation holds.

Drive below −3 dB counts as −3 dB on both sides: how far a limiter is out of reach cannot be seen. "In
interval" is the share of overs whose true drive lies between the stated bounds (about 0.9 is promised).
"Crest" is the baseline: the drive that training overs of the same crest factor had on average. A dot on a
plot's edge lies beyond it.

![Measured over true drive, the tool beside the crest factor alone]({drive})
![Error of the measured deviation over the carrier-to-noise ratio]({deviation})

{bound}Measured by `python -m tests.benchmarks.accuracy.run SET`, with the drive model whose SHA-256 begins
with `{model}`. What it found, over by over, is in [{overs}]({overs}); page and plots
are made of that file alone, by `python -m tests.benchmarks.accuracy.page`.

"""

SEEN = {
    "no": "none of them had a part in training the tool's drive model.",
    "yes": "**the drive model was trained on other recordings and cuts of the same talkers**, so new talkers "
    "will do somewhat worse.",
}


def bound(measured: Measured) -> str:
    """What `bound.py` found, in words; nothing where it was not run."""
    found = measured.further.get("bound")
    return "" if found is None else stops.words(found, stops.HEAD) + "\n\n"


def introduction(measured: Measured) -> str:
    """Head of the page with the set's size in it."""
    records = measured.records
    return INTRODUCTION.format(
        n=len(records),
        plain=sum(r["kind"] == "plain" for r in records),
        held=sum(r["held_out"] for r in records),
        seen=SEEN[measured.seen],
        talkers=len({r["mouth"]["talker"] for r in records}),
        bound=bound(measured),
        model=measured.model_sha256[:12],
        drive=DRIVE,
        deviation=DEVIATION,
        overs=OVERS,
    )


def made(measured: Measured) -> dict[str, str]:
    """The page and its plots, by file name."""
    return {
        PAGE: introduction(measured) + report(measured),
        DRIVE: plots.as_file(plots.drive_drawing(measured.records, measured.tool, measured.crest)),
        DEVIATION: plots.as_file(plots.deviation_drawing(measured.records, measured.tool)),
    }


def write(docs: Path) -> None:
    """Make page and plots of the file in a folder, into that folder."""
    for name, text in made(overs.read(docs / OVERS)).items():
        (docs / name).write_text(text, "utf-8")


def main() -> None:
    """Take in what is offered, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--docs", type=Path, default=DOCS)
    parser.add_argument("--take", type=Path, nargs="+", default=[], metavar="FILE")
    options = parser.parse_args()
    if options.take:
        measured = overs.read(options.docs / OVERS)
        taken = {file.stem: json.loads(file.read_text("utf-8")) for file in options.take}
        strangers = sorted(taken.keys() - set(FURTHER))
        if strangers:
            parser.error(f"{', '.join(strangers)}: the page shows nothing of that name; see FURTHER")
        overs.write(replace(measured, further=measured.further | taken), options.docs / OVERS)
    write(options.docs)


if __name__ == "__main__":
    main()
