"""What was looked for in the sound and not found well enough to be named, and what codecs do to the drive.

Found once, by hand, on the sets that `make_set.py` renders; `run.py` does not repeat it.
"""

CODECS = (
    ("none, 8 kHz alone", 37, 0.1, "-"),
    ("G.711, µ-law", 37, 0.3, "19 of 20"),
    ("G.711, A-law", 37, 0.5, "20 of 20"),
    ("G.721", 20, 0.6, "19 of 20"),
    ("MP3 at a low rate, 48 kHz", 20, 0.7, "0 of 20"),
    ("Opus at a low rate, 48 kHz", 20, 1.0, "0 of 20"),
    ("IMA ADPCM, 8 kHz", 20, 1.3, "19 of 20"),
    ("G.723, 24 kbit/s", 20, 1.3, "20 of 20"),
    ("Vorbis at its lowest rate, 48 kHz", 20, 1.7, "0 of 20"),
    ("Opus at its lowest rate, 16 kHz", 20, 3.1, "14 of 20"),
    ("Opus at its lowest rate, 48 kHz", 20, 3.3, "13 of 20"),
    ("GSM 06.10", 37, 3.4, "19 of 20"),
    ("Opus at its lowest rate, 8 kHz", 20, 4.2, "18 of 20"),
)
"""Codec, overs, RMS by which the drive moved in dB, how often the narrow link is named."""

SEARCHED = """\
A **level control in the transmitter** instead of a clipper, and a **voice that was compressed or clipped
before the mic gain**, are not told from others well enough to be named. Asked for at most one false alarm
in a hundred plain overs, on talkers that had no part in the fitting:

| looked for in | level control, held down by 3 dB and more | compressed voice |
| --- | --- | --- |
| the drive model's own odds | 3 of 19 | 2 of 23 |
| spreads, onsets and slopes of the envelope, flat tops behind twelve inverses | 3 of 19 | 1 of 23 |
| everything the drive model looks at, averaged | 6 of 19 | 0 of 23 |
| all of it together | 4 of 19 | 0 of 23 |
| noise between words below the noise before the first | 8 of 31 | - |

The second to fourth are classifiers (shrunken logistic regression and random trees, the better of the two)
of 158 and 262 such overs against 777 and 833 others by other talkers; the area under the ROC curve was 0.78
to 0.87. The last row is physics alone, and counts level controls before a clipper too: a level control
holds down the noise with the voice, and lets it rise again. Set on the other splits' talkers, it took 2 of
370 plain overs for one; among those held down by more than 8 dB it found 7 of 20 here, and 40 of 173 by
those talkers. Where the room is quieter than the carrier's noise it has nothing to go by, and a real room's
noise is less steady than a simulated one's. So neither is named, and the advice may be wrong for them: see
the table above. What tells a compressed voice is the next over: when the mic gain was turned down and only
the peaks fell, while the drive stayed, the voice was cut before the mic gain.
"""

COSTS = """\
**Codecs** cost less than they seem to. Plain overs of the train split's talkers as heard and through
libsndfile's codecs; as heard their drive was 2.6 dB RMS off:
"""


def unrecognised() -> str:
    """The section's text and tables, as Markdown."""
    lines = [f"| {name} | {n} | {moved_db:.1f} | {named} |" for name, n, moved_db, named in CODECS]
    head = ["| codec | overs | drive moved, dB RMS | narrow link named |", "| --- | --- | --- | --- |"]
    return "\n".join([SEARCHED, COSTS, *head, *lines])
