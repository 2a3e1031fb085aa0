"""A process that fills sheets until it is killed, and says what is safe and when; for `test_power_cut`.

``python -m tests.benchmarks.reliability.sheetwork FOLDER`` makes ``FOLDER/sheets.sqlite``, says one line when
that is there, and then types readings and attaches files.
"""

import sys
import time
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

from audiotest.keep.sheets import Sheets

FILE_EVERY = 10


def say(kind: str, number: int, value: float = 0.0) -> None:
    print(f"{time.monotonic():.6f} {kind} {number} {value!r}", flush=True)


def main() -> None:
    with TemporaryDirectory() as elsewhere, Sheets(Path(sys.argv[1]) / "sheets.sqlite") as sheets:
        visit_id = sheets.open_visit(sheets.add_set("Invented", "Model", service="uk-27fm"), channel=20)
        say("visit", visit_id)
        for number in count():
            if number % FILE_EVERY == 0:
                clip = Path(elsewhere) / "over.flac"
                clip.write_bytes(number.to_bytes(4, "little") * 20000)
                kept = sheets.attach(visit_id, "found", "clip", clip)
                say("file", kept)
            reading = sheets.type_reading(visit_id, "found", "power", f"{100 + number} mW")
            say("reading", reading.id, reading.value)


if __name__ == "__main__":
    main()
