"""What was looked for in the sound and not found well enough to be named, and what codecs do to the drive."""

from typing import Any

from tests.benchmarks.accuracy.named import level_controls, turns_table
from tests.benchmarks.accuracy.score import Prediction, Record
from tests.benchmarks.accuracy.tables import cell, table

SEARCHED = """\
A **level control in the transmitter** instead of a clipper, and a **voice that was compressed or clipped
before the mic gain**, are not told from others by how speech looks behind them. Asked for at most one false
alarm in a hundred plain overs, on talkers that had no part in the fitting (found once by hand; no script
repeats it):

| looked for in | level control, held down by 3 dB and more | compressed voice |
| --- | --- | --- |
| the drive model's own odds | 3 of 19 | 2 of 23 |
| spreads, onsets and slopes of the envelope, flat tops behind twelve inverses | 3 of 19 | 1 of 23 |
| everything the drive model looks at, averaged | 6 of 19 | 0 of 23 |
| all of it together | 4 of 19 | 0 of 23 |

The second to fourth are classifiers (shrunken logistic regression and random trees, the better of the two)
of 158 and 262 such overs against 777 and 833 others by other talkers; the area under the ROC curve was 0.78
to 0.87.

What is named is told by other means. A level control in the set holds down the room's noise with the voice,
and lets it rise again between the words: `level_control` in the table above. Where the room is quieter than
the carrier's noise, the talker leaves no pause, or speaks as soon as he keys, it has nothing to go by, and
most level controls are not named. Of 144 further overs without one, in rooms with babble, with fluttering or
swelling noise or with a passing car (rendered once by hand), one was taken for one; of the train and tune
splits' overs held down by more than 8 dB, with their key-up known, 18 of 81 were seen, and none of 1553 plain
ones (by hand as well).
"""

LEVELLED = """\
Of the {n} overs whose level control holds down by more than 8 dB, {raise_n} are told to raise the mic gain,
{keep} to leave it, {lower} to lower it, and {unknown} nothing.
"""

TURNS = """\
A voice that is cut before the mic gain shows when the gain is turned: the peaks fall and the drive stays
(`turns.py`, {n} pairs of overs out of the voices in `fixtures/speech`). A deviation control turned down looks
the same, so it is said only after an advice that asked for less mic gain alone, and with "if the mic gain was
turned". The last three columns count among those pairs.
"""

COSTS = """\
**Codecs** move the drive less than they spoil the sound. Plain overs of the train split's talkers as heard
and through libsndfile's codecs (`coded.py`); "found whole" is the over from the same key-up to the same end,
and the drive is compared of those. The link is looked for in recordings that do not end at 4 kHz themselves:
"""


def unrecognised(records: list[Record], tool: dict[str, Prediction], further: dict[str, Any]) -> str:
    """The section's text and tables, as Markdown."""
    told = level_controls(records, tool)
    made = [SEARCHED, LEVELLED.format(raise_n=told["raise"], **told)]
    if "turns" in further:
        turns = further["turns"]
        made += [TURNS.format(n=sum(part["n"] for part in turns.values())), turns_table(turns) + "\n"]
    if "coded" in further:
        body = [
            [
                name, f"{part['whole_n']} of {part['n']}", cell(part["moved_db"]), cell(part["median_db"]),
                f"{part['named']} of {part['wide_n']}",
            ]
            for name, part in further["coded"].items()
        ]  # fmt: skip
        head = ["codec", "found whole", "drive moved, dB RMS", "median dB", "narrow link named"]
        made += [COSTS, table(head, body)]
    return "\n".join(made).rstrip("\n")
