"""The tables of the accuracy page as Markdown, from what was measured."""

from collections.abc import Callable
from typing import Any

from tests.benchmarks.accuracy import score, stops
from tests.benchmarks.accuracy.draw import CONFOUNDERS
from tests.benchmarks.accuracy.named import any_named, named_table
from tests.benchmarks.accuracy.overs import Measured
from tests.benchmarks.accuracy.score import Prediction, Record
from tests.benchmarks.accuracy.stops import FIGURES, OUTCOMES
from tests.benchmarks.accuracy.tables import cell, table
from tests.benchmarks.accuracy.unrecognised import unrecognised

Row = tuple[str, list[Record]]
STOPS = "What stops any method"
OVERLOADED_N = 3
"""Samples at full scale while somebody speaks from which on an over counts as overloaded."""


def plain_overs(records: list[Record]) -> list[Record]:
    """Overs without a confounder, drawn or by chance: a few overload the sound card on noise clicks."""
    return [r for r in records if r["kind"] == "plain" and r["full_scale_n"] < OVERLOADED_N]


def drives_aimed_at(records: list[Record]) -> list[Record]:
    """Overs of the drives that the accuracy aimed at is stated for."""
    lowest_db, highest_db = score.BETWEEN_DB
    return [r for r in records if lowest_db <= r["truth"]["drive_db"] < highest_db]


CLEARLY_HEARD_DB, CLEARLY_HEARD_S = 18.0, 7.0
"""Carrier over the noise, and speech, from which on an over is one that a technician would judge by."""
CLEARLY = f"CNR {CLEARLY_HEARD_DB:.0f} dB and up and {CLEARLY_HEARD_S:.0f} s of speech and more"


def clearly_heard(records: list[Record]) -> list[Record]:
    """Overs that are neither faint nor short."""
    return [
        r
        for r in records
        if r["receiver"]["cnr_db"] >= CLEARLY_HEARD_DB and r["mouth"]["seconds"] >= CLEARLY_HEARD_S
    ]


def drive_rows(records: list[Record]) -> list[Row]:
    """The overs by true drive, then all of them by what may matter."""
    plain = plain_overs(records)

    def those(keep: Callable[[Record], bool]) -> list[Record]:
        return [r for r in plain if keep(r)]

    def drive_from(lo: float, hi: float) -> list[Record]:
        return those(lambda r: lo <= r["truth"]["drive_db"] < hi)

    def limited_by(limiter: str) -> list[Record]:
        return those(lambda r: r["transmitter"]["limiter"] == limiter)

    rows: list[Row] = []
    for lo, hi in score.BINS_DB:
        name = f"below {hi:.0f} dB" if lo == -15.0 else f"{lo:.0f} … {hi:.0f} dB"
        rows.append((name, drive_from(lo, hi)))
    aimed_at = drives_aimed_at(plain)
    rows.append(("**3 … 24 dB**", aimed_at))
    rows.append((f"3 … 24 dB, {CLEARLY}", clearly_heard(aimed_at)))
    rows.append(("**all**", plain))
    rows.append(("natural voices", those(lambda r: r["natural"])))
    rows.append(("synthesised voices", those(lambda r: not r["natural"])))
    rows.append(("held-out filters or limiter", those(lambda r: r["held_out"])))
    rows.append(("filters and limiters as in training", those(lambda r: not r["held_out"])))
    for limiter in sorted({r["transmitter"]["limiter"] for r in plain}):
        rows.append((f"limiter: {limiter}", limited_by(limiter)))
    rows.append(("CNR below 18 dB", those(lambda r: r["receiver"]["cnr_db"] < 18.0)))
    rows.append(("CNR 18 dB and up", those(lambda r: r["receiver"]["cnr_db"] >= 18.0)))
    rows.append(("8 kHz recordings", those(lambda r: r["sample_rate_hz"] == 8000)))
    rows.append(("under 7 s of speech", those(lambda r: r["mouth"]["seconds"] < 7.0)))
    rows.append(("12 s of speech and more", those(lambda r: r["mouth"]["seconds"] >= 12.0)))
    return rows


def drive_table(records: list[Record], tool: dict[str, Prediction], base: dict[str, Prediction]) -> str:
    """Drive: the tool beside the baseline."""
    head = [
        "true drive", "n", "measured", "RMS dB", "median error dB", "bias dB",
        "90 % within dB", "in interval", "interval dB", "crest: RMS dB", "crest: bias dB",
        "crest: 90 % within dB",
    ]  # fmt: skip
    body = []
    for name, part in drive_rows(records):
        ours, theirs = score.drive_row(part, tool), score.drive_row(part, base)
        keys = ("n", "measured", "rms_db", "median_db", "bias_db", "e90_db")
        body.append(
            [name, *(cell(ours[k]) for k in keys), cell(ours["coverage"], 2), cell(ours["width_db"])]
            + [cell(theirs[k]) for k in ("rms_db", "bias_db", "e90_db")]
        )
    return table(head, body)


def detection_table(records: list[Record], tool: dict[str, Prediction], base: dict[str, Prediction]) -> str:
    """How well limiting is told from none: area under the ROC curve."""
    plain = plain_overs(records)
    body = []
    for lo, hi in ((0.0, 3.0), (3.0, 6.0), (6.0, 9.0), (9.0, 12.0), (12.0, 25.1)):
        values = [score.area_under_curve(plain, p, lo, hi) for p in (tool, base)]
        body.append([f"{lo:.0f} … {hi:.0f} dB", *(cell(v, 3) for v in values)])
    return table(["drive, against below −1 dB", "tool", "crest"], body)


def deviation_table(records: list[Record], tool: dict[str, Prediction]) -> str:
    """Peak and 99.9 % deviation with a feed whose scale is known."""
    plain = plain_overs(records)
    body = []
    for name, part in (
        ("CNR 18 dB and up", [r for r in plain if r["receiver"]["cnr_db"] >= 18.0]),
        ("CNR 12 … 18 dB", [r for r in plain if 12.0 <= r["receiver"]["cnr_db"] < 18.0]),
        ("CNR below 12 dB", [r for r in plain if r["receiver"]["cnr_db"] < 12.0]),
    ):
        for key, figure in FIGURES.items():
            row = score.deviation_row(part, tool, key)
            figures = [cell(row[k], 2) for k in ("bias_db", "median_db", "e95_db")]
            body.append([name, figure, cell(row["n"]), cell(row["measured"]), *figures])
    return table(["overs", "figure", "n", "measured", "bias dB", "median error dB", "95 % within dB"], body)


def advice_table(records: list[Record], tool: dict[str, Prediction]) -> str:
    """Advice in the clear cases: right, abstained, wrong, opposite."""
    plain = plain_overs(records)
    body = []
    for control, wants in (
        ("mic_gain", ("raise", "keep", "lower", "keep or lower")),
        ("deviation", ("raise", "keep", "lower", "unknown")),
    ):
        rows = [(wanted, score.advice_row(plain, tool, control, wanted)) for wanted in wants]
        rows.append(("**all**", score.advice_row(plain, tool, control)))
        rows.append((f"all, {CLEARLY}", score.advice_row(clearly_heard(plain), tool, control)))
        body += [[control, name, *(str(row[k]) for k in OUTCOMES)] for name, row in rows]
    return table(["control", "the truth wants", *OUTCOMES], body)


def confounder_table(records: list[Record], tool: dict[str, Prediction]) -> str:
    """What passes for clipping and is none: only overs that do not reach the limiter."""
    plain = plain_overs(records)
    hot = [r for r in plain if -4.0 <= r["truth"]["drive_db"] < -1.0]
    groups: list[Row] = [("plain", plain), ("plain, −4 … −1 dB", hot)]
    groups += [(kind, [r for r in records if r["kind"] == kind]) for kind in CONFOUNDERS]
    body = []
    for name, part in groups:
        row = score.confounder_row(part, tool)
        body.append([name, *(str(row[k]) for k in ("n", "said_clipping", "told_lower", "not_judged"))])
    return table(
        ["overs under the limiter", "n", "drive said > 3 dB", "told to lower mic gain", "not judged"], body
    )


def in_band_table(records: list[Record], tool: dict[str, Prediction]) -> str:
    """The drive's error by how much of the limiter's peaks lies inside the band that is heard."""
    some = drives_aimed_at(plain_overs(records))
    body = []
    for name, (lo, hi) in zip(score.in_band_names(), score.IN_BAND_DB, strict=True):
        part = [r for r in some if lo <= r["in_band_db"] < hi]
        row = score.drive_row(part, tool)
        figures = [cell(row[k]) for k in ("n", "measured", "rms_db", "median_db", "bias_db", "e90_db")]
        body.append([name, *figures, cell(row["coverage"], 2)])
    head = ["peaks below 3 kHz re all", "n", "measured", "RMS dB", "median error dB", "bias dB"]
    return table([*head, "90 % within dB", "in interval"], body)


def path_table(records: list[Record], tool: dict[str, Prediction], with_path: dict[str, Prediction]) -> str:
    """The drive of the overs whose path was learnt, without and with it."""
    some = [r for r in plain_overs(records) if r["id"] in with_path]
    between = drives_aimed_at(some)
    body = []
    for name, part in (
        ("3 … 24 dB", between), (f"3 … 24 dB, {CLEARLY}", clearly_heard(between)), ("all", some),
    ):  # fmt: skip
        for label, said in (("not used", tool), ("used", with_path)):
            row = score.drive_row(part, said)
            figures = [cell(row[k]) for k in ("n", "measured", "rms_db", "median_db", "bias_db", "e90_db")]
            body.append([name, label, *figures, cell(row["coverage"], 2)])
    head = ["true drive", "learnt path", "n", "measured", "RMS dB", "median error dB", "bias dB"]
    return table([*head, "90 % within dB", "in interval"], body)


CEILING = """\
With `--keep-ceiling` the height at which the limiter holds is known besides the path, and so how far the
speech stands under it or reaches it. Where a control was turned since, the ceiling is left out once the drive
contradicts what the speech alone tells ("left out"). Limiters of diodes are not among these overs: they hold
at no height."""
CEILING_PARTS = {
    "set": "{overs} plain overs of the set by {talkers} talkers:",
    "outside": "{overs} overs of another model of the radio ([below](#with-another-model-of-the-radio)) that "
    "no choice saw, their paths learnt from tones through it:",
}


def ceiling_table(found: dict[str, Any]) -> str:
    """The drive by what was known, and how often the ceiling was left out."""
    body = []
    for name, row in found["rows"].items():
        some, clear = row["drive"], row["clear"]
        figures = [cell(some[key]) for key in ("n", "rms_db", "median_db", "bias_db")]
        figures += [cell(some["coverage"], 2), *(cell(clear[key]) for key in ("n", "rms_db", "median_db"))]
        body.append([name, *figures, cell(row["all"]["rms_db"]), str(row["void"])])
    head = ["known", "3 … 24 dB: n", "RMS dB", "median error dB", "bias dB", "in interval"]
    head += ["of these clearly heard: n", "RMS dB", "median error dB", "all drives: RMS dB", "left out"]
    return table(head, body)


def ceiling_advice_table(found: dict[str, Any]) -> str:
    """The mic gain advice in clear cases by what was known."""
    body = [
        [name, *(str(row[part][key]) for part in ("advice", "clear_advice") for key in OUTCOMES)]
        for name, row in found["rows"].items()
    ]
    return table(["mic gain", *OUTCOMES, "clearly heard: n", *OUTCOMES[1:]], body)


def ceiling_text(found: dict[str, Any]) -> str:
    """What the ceiling adds to a learnt path, as `ceiling.py` found it."""
    parts = [
        (words.format(**found[part]), found[part]) for part, words in CEILING_PARTS.items() if part in found
    ]
    made = [CEILING]
    for words, some in parts:
        made += [stops.filled(words), ceiling_table(some), ceiling_advice_table(some)]
    return "\n\n".join(made)


OUTSIDE = """\
{n} plain overs of {talkers} talkers of the test split through `otherradio.py`, a radio designed apart from
the one that made training set and test set, without any of its code: other emphasis networks, limiters and
splatter filters, phase modulators, other detectors, receivers without audio filters and with steep digital
ones. Drives of −15 to +30 dB, carriers from clean down to 12 dB over the noise (`outside.py`).

{deviation}

{advice}

Named, and not there: {named}. Not found as one over: {split}; not found at all: {missed}."""


def outside_text(found: dict[str, Any]) -> str:
    """What the judge from outside found, as `outside.py` left it: drive, deviation, advice, gates."""
    body = []
    for name, drive in found["drive"].items():
        p999, peak = (found["deviation"][name][key] for key in FIGURES)
        figures = [cell(drive[k]) for k in ("n", "measured", "rms_db", "median_db", "bias_db")]
        figures.append(cell(drive["coverage"], 2))
        for row in (p999, peak):
            figures += [cell(row[k], 2) for k in ("bias_db", "median_db", "e95_db")]
        body.append([name, *figures])
    head = ["overs", "n", "drive measured", "RMS dB", "median error dB", "bias dB", "in interval"]
    for figure in FIGURES.values():
        head += [f"{figure}: bias dB", "median error dB", "95 % within dB"]
    outcomes = [
        [feed, control.replace("_", " "), *(str(value) for value in row.values())]
        for feed, controls in (("scale known", found["scaled"]), ("no feed learnt", found["feedless"]))
        for control, row in controls.items()
    ]
    named = ", ".join(f"{name} {count}" for name, count in found["named"].items() if count)
    return OUTSIDE.format(
        n=found["n"], talkers=found["talkers"], named=named or "none", split=found["not_one_over"],
        missed=found["missed"], deviation=table(head, body),
        advice=table(["feed", "control", "clear cases", "right", "abstained", "wrong", "opposite"], outcomes),
    )  # fmt: skip


def sections(measured: Measured) -> list[tuple[str, str]]:
    """Every table under its heading, in the order of the page; without the figures for one it is left out."""
    records, tool = measured.records, measured.tool
    bound, heard, outside, ceiling = (
        measured.further.get(name) for name in ("bound", "heard", "outside", "ceiling")
    )
    made = [("Drive", drive_table(records, tool, measured.crest))]
    if any(r["in_band_db"] is not None for r in records):
        made.append(("Drive by where the limiter's peaks lie", in_band_table(records, tool)))
    if bound is not None:
        known = measured.further.get("familiar")
        more = "" if known is None else "\n\n" + stops.familiar(known)
        made.append((f"{STOPS}: drive", stops.drive_bound(bound) + more))
    if measured.path:
        why = "" if bound is None else "\n\n" + stops.words(bound, stops.PATH)
        made.append(("Drive with the path learnt", path_table(records, tool, measured.path) + why))
    if ceiling is not None:
        made.append(("Drive with the limiter's ceiling kept", ceiling_text(ceiling)))
    made += [
        ("Limiting against none: area under the ROC curve", detection_table(records, tool, measured.crest)),
        ("Deviation", deviation_table(records, tool)),
    ]
    if heard is not None:
        made.append((f"{STOPS}: deviation", stops.deviation_bound(heard)))
    made.append(("Advice in clear cases", advice_table(records, tool)))
    if bound is not None:
        made.append((f"{STOPS}: advice", stops.advice_bound(bound)))
    made.append(("What is taken for clipping and is none", confounder_table(records, tool)))
    if outside is not None:
        made.append(("With another model of the radio", outside_text(outside)))
    if any_named(tool):
        made.append(("What is named", named_table(records, plain_overs(records), tool)))
    return [*made, ("What is not recognised", unrecognised(records, tool, measured.further))]


def report(measured: Measured) -> str:
    """All tables under their headings."""
    return "\n\n".join(f"## {title}\n\n{body}" for title, body in sections(measured)) + "\n"
