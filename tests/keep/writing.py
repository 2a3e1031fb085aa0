"""A process that writes to the sheets until it is killed, and says on standard output what is safe.

``python -m tests.keep.writing FILE NAME`` types one reading after another; a line is printed once the
call has returned, so every printed reading is promised to be there.
"""

import sys
from itertools import count
from pathlib import Path

from audiotest.keep.sheets import Sheets


def main() -> None:
    name = sys.argv[2]
    rounds = range(int(sys.argv[3])) if len(sys.argv) > 3 else count()
    with Sheets(Path(sys.argv[1])) as sheets:
        set_id = sheets.add_set("Invented", "Model", name, service="uk-27fm")
        visit_id = sheets.open_visit(set_id, channel=20)
        print(f"visit {visit_id}", flush=True)
        for number in rounds:
            reading = sheets.type_reading(visit_id, "found", "power", f"{100 + number} mW")
            print(f"reading {reading.id} {reading.value!r}", flush=True)


if __name__ == "__main__":
    main()
